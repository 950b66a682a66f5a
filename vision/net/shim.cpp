#include "shim.h"
#include "plan.h"

#include <algorithm>
#include <cstdio>
#include <cstring>
#include <new>
#include <omp.h>

namespace {

struct Net {
    Layers layers;
    Arena arena;
    std::unique_ptr<Plan> plan;
    dims size; // that the plan is for

    Plan &ready(const dims &d) {
        omp_set_num_threads(1); // of this thread, for making and running: the photos are what runs side by side
        if (!plan || size != d) {
            plan.reset();
            plan = std::make_unique<Plan>(layers, d, arena);
            size = d;
        }
        return *plan;
    }
};

// Runs f; an exception becomes the value fail and its text.
template <typename T, typename F> T guarded(char *why, int why_size, T fail, F f) {
    try {
        return f();
    } catch (const cv::Exception &e) {
        std::snprintf(why, why_size, "%s", e.err.c_str());
    } catch (const std::bad_alloc &) {
        std::snprintf(why, why_size, "out of memory");
    } catch (const std::exception &e) {
        std::snprintf(why, why_size, "%s", e.what());
    } catch (...) {
        std::snprintf(why, why_size, "unknown failure");
    }
    return fail;
}

// A row of pixels as three rows of numbers.
void spread_row(const unsigned char *__restrict bgr, int width, float mean, float scale, bool blank, float *__restrict b,
                float *__restrict g, float *__restrict r) {
    for (int x = 0; x < width; x++, bgr += 3) {
        const float seen = !blank | (bgr[0] | bgr[1] | bgr[2]) ? scale : 0;
        b[x] = (bgr[0] - mean) * seen, g[x] = (bgr[1] - mean) * seen, r[x] = (bgr[2] - mean) * seen;
    }
}

int run(Plan &p, net_tensor *out, char *why, int why_size) {
    p.run();
    const std::vector<Plan::Output> got = p.outputs();
    if (got.size() > NET_MAX_OUTPUTS) {
        std::snprintf(why, why_size, "%zu outputs: at most %d are taken", got.size(), NET_MAX_OUTPUTS);
        return -1;
    }
    for (size_t i = 0; i < got.size(); i++) {
        const dims &d = got[i].size; // of one image: its numbers are the last dimension of two
        const bool flat = d.size() == 2;
        out[i] = {flat ? 1 : int(d[1]), flat ? 1 : int(d[2]), int(d.back()), got[i].data};
    }
    return int(got.size());
}

} // namespace

void *net_load(const void *onnx, int size, char *why, int why_size) {
    return guarded<void *>(why, why_size, nullptr, [&]() -> void * {
        auto made = std::make_unique<Net>();
        made->layers = read_layers(static_cast<const char *>(onnx), size_t(size));
        return made.release();
    });
}

void net_close(void *net) { delete static_cast<Net *>(net); }

int net_forward(void *net, const float *in, int channels, int height, int width, net_tensor *out, char *why,
                int why_size) {
    return guarded(why, why_size, -1, [&]() -> int {
        Plan &p = static_cast<Net *>(net)->ready({1, channels, height, width});
        std::memcpy(p.input(), in, sizeof(float) * channels * height * width);
        return run(p, out, why, why_size);
    });
}

int net_forward_bgr(void *net, const unsigned char *bgr, int height, int width, int stride, float mean, float scale,
                    int blank, const double *further, int count, net_tensor *out, char *why, int why_size) {
    return guarded(why, why_size, -1, [&]() -> int {
        Plan &p = static_cast<Net *>(net)->ready({1, 3 + count, height, width});
        const size_t area = size_t(height) * width;
        float *to = p.input();
        for (int y = 0; y < height; y++, to += width) spread_row(bgr + size_t(y) * stride, width, mean, scale, blank, to, to + area, to + 2 * area);
        for (int i = 0; i < count; i++) std::fill_n(p.input() + (3 + i) * area, area, float(further[i]));
        return run(p, out, why, why_size);
    });
}
