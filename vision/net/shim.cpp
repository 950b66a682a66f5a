#include "shim.h"

#include <cstdio>
#include <memory>
#include <new>
#include <opencv2/core.hpp>
#include <opencv2/core/utils/logger.hpp>
#include <opencv2/dnn.hpp>

namespace {

struct Net {
    cv::dnn::Net net;
    std::vector<cv::String> names;
    std::vector<cv::Mat> outputs;
    std::vector<float> input; // kept, so that its memory is not asked for anew
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
        std::snprintf(why, why_size, "unknown failure in OpenCV");
    }
    return fail;
}

// Four dimensions with one image, or fewer, read from the right.
bool describe(const cv::Mat &m, net_tensor *t) {
    if (m.type() != CV_32F || !m.isContinuous() || m.dims > 4 || (m.dims == 4 && m.size[0] != 1)) return false;
    int shape[3] = {1, 1, 1};
    for (int i = 0; i < 3 && i < m.dims; i++) shape[2 - i] = m.size[m.dims - 1 - i];
    t->channels = shape[0], t->height = shape[1], t->width = shape[2];
    t->data = m.ptr<float>();
    return true;
}

int run(Net &n, const cv::Mat &input, net_tensor *out, char *why, int why_size) {
    n.net.setInput(input);
    n.outputs.clear();
    n.net.forward(n.outputs, n.names);
    if (n.outputs.size() > NET_MAX_OUTPUTS) {
        std::snprintf(why, why_size, "%zu outputs: at most %d are taken", n.outputs.size(), NET_MAX_OUTPUTS);
        return -1;
    }
    for (size_t i = 0; i < n.outputs.size(); i++) {
        if (!describe(n.outputs[i], out + i)) {
            std::snprintf(why, why_size, "output %zu is not one image of 32-bit floats", i);
            return -1;
        }
    }
    return int(n.outputs.size());
}

} // namespace

void *net_load(const void *onnx, int size, char *why, int why_size) {
    return guarded<void *>(why, why_size, nullptr, [&]() -> void * {
        // The reason comes back as an error; the same text on stderr is noise.
        cv::utils::logging::setLogLevel(cv::utils::logging::LOG_LEVEL_SILENT);
        auto made = std::make_unique<Net>();
        made->net = cv::dnn::readNetFromONNX(static_cast<const char *>(onnx), size_t(size));
        if (made->net.empty()) {
            std::snprintf(why, why_size, "the file holds no layers");
            return nullptr;
        }
        made->net.setPreferableBackend(cv::dnn::DNN_BACKEND_OPENCV);
        made->net.setPreferableTarget(cv::dnn::DNN_TARGET_CPU);
        made->names = made->net.getUnconnectedOutLayersNames();
        return made.release();
    });
}

void net_close(void *net) { delete static_cast<Net *>(net); }

int net_forward(void *net, const float *in, int channels, int height, int width, net_tensor *out, char *why,
                int why_size) {
    return guarded(why, why_size, -1, [&]() -> int {
        const int shape[] = {1, channels, height, width};
        return run(*static_cast<Net *>(net), cv::Mat(4, shape, CV_32F, const_cast<float *>(in)), out, why, why_size);
    });
}

int net_forward_bgr(void *net, const unsigned char *bgr, int height, int width, int stride, const float *tones,
                    net_tensor *out, char *why, int why_size) {
    return guarded(why, why_size, -1, [&]() -> int {
        Net &n = *static_cast<Net *>(net);
        const size_t area = size_t(height) * width;
        n.input.resize(3 * area);
        float *plane = n.input.data();
        for (int y = 0; y < height; y++, plane += width) {
            const unsigned char *p = bgr + size_t(y) * stride;
            for (int x = 0; x < width; x++, p += 3) {
                const bool seen = p[0] | p[1] | p[2];
                plane[x] = seen ? tones[p[0]] : 0;
                plane[x + area] = seen ? tones[p[1]] : 0;
                plane[x + 2 * area] = seen ? tones[p[2]] : 0;
            }
        }
        const int shape[] = {1, 3, height, width};
        return run(n, cv::Mat(4, shape, CV_32F, n.input.data()), out, why, why_size);
    });
}
