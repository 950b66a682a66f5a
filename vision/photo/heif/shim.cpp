#include "shim.h"

#include <cstdint>
#include <cstdio>
#include <dlfcn.h>
#include <exception>
#include <memory>
#include <mutex>

namespace {

// Declared by hand after libheif's public header, heif.h of 1.15: the names and
// layouts of the ABI of libheif.so.1, which later versions only add to.
struct Error {
    int code, subcode;
    const char *message;
};
struct Context;
struct Handle;
struct Image;
struct DecodingOptions {
    uint8_t version;
    uint8_t ignore_transformations;
    void (*start_progress)(int, int, void *);
    void (*on_progress)(int, int, void *);
    void (*end_progress)(int, void *);
    void *progress_user_data;
    uint8_t convert_hdr_to_8bit; // from version 2 on
};
constexpr int colorspace_rgb = 1, chroma_interleaved_rgb = 10, channel_interleaved = 10;
constexpr int unsupported_codec = 3000; // subcode: no plug-in decodes it

// Every function that is called, with its type.
struct Library {
    const char *(*get_version)();
    Error (*init)(void *); // from 1.13 on; reads the decoders that are plug-ins
    Context *(*context_alloc)();
    void (*context_free)(Context *);
    void (*context_set_max_decoding_threads)(Context *, int); // from 1.13 on
    Error (*context_read_from_memory_without_copy)(Context *, const void *, size_t, const void *);
    Error (*context_get_image_handle)(Context *, uint32_t, Handle **);
    void (*image_handle_release)(const Handle *);
    DecodingOptions *(*decoding_options_alloc)();
    void (*decoding_options_free)(DecodingOptions *);
    Error (*decode_image)(const Handle *, Image **, int, int, const DecodingOptions *);
    int (*image_get_width)(const Image *, int);
    int (*image_get_height)(const Image *, int);
    const uint8_t *(*image_get_plane_readonly)(const Image *, int, int *);
    void (*image_release)(const Image *);
};

Library lib;
std::once_flag loading;
char load_failure[256];

template <typename F> bool find(void *so, const char *name, F &f) {
    f = reinterpret_cast<F>(dlsym(so, name));
    return f != nullptr;
}

void load() {
    void *so = dlopen("libheif.so.1", RTLD_NOW | RTLD_LOCAL);
    if (!so) {
        std::snprintf(load_failure, sizeof load_failure, "libheif.so.1 is not here");
        return;
    }
    const bool all = find(so, "heif_get_version", lib.get_version) && find(so, "heif_context_alloc", lib.context_alloc) &&
                     find(so, "heif_context_free", lib.context_free) &&
                     find(so, "heif_context_read_from_memory_without_copy", lib.context_read_from_memory_without_copy) &&
                     find(so, "heif_context_get_image_handle", lib.context_get_image_handle) &&
                     find(so, "heif_image_handle_release", lib.image_handle_release) &&
                     find(so, "heif_decoding_options_alloc", lib.decoding_options_alloc) &&
                     find(so, "heif_decoding_options_free", lib.decoding_options_free) &&
                     find(so, "heif_decode_image", lib.decode_image) && find(so, "heif_image_get_width", lib.image_get_width) &&
                     find(so, "heif_image_get_height", lib.image_get_height) &&
                     find(so, "heif_image_get_plane_readonly", lib.image_get_plane_readonly) &&
                     find(so, "heif_image_release", lib.image_release);
    if (!all) {
        std::snprintf(load_failure, sizeof load_failure, "libheif.so.1 lacks a function; 1.9 or newer is needed");
        return;
    }
    find(so, "heif_context_set_max_decoding_threads", lib.context_set_max_decoding_threads);
    if (find(so, "heif_init", lib.init))
        lib.init(nullptr);
}

// What a call of the library took, given back on every way out.
template <typename T, typename F> std::unique_ptr<T, F> owned(T *p, F release) { return {p, release}; }

int failed(const Error &e, char *why, int why_size) {
    std::snprintf(why, why_size, "%s", e.message ? e.message : "no reason given");
    return e.subcode == unsupported_codec ? heif_no_codec : heif_failed;
}

void copy_bgr(const uint8_t *rgb, int from_stride, uint8_t *bgr, size_t to_stride, int width, int height) {
    for (int y = 0; y < height; y++, rgb += from_stride, bgr += to_stride)
        for (int x = 0; x < 3 * width; x += 3) {
            bgr[x] = rgb[x + 2];
            bgr[x + 1] = rgb[x + 1];
            bgr[x + 2] = rgb[x];
        }
}

int decode(const void *file, size_t size, uint32_t item, unsigned char *bgr, size_t stride, int *width, int *height,
           char *why, int why_size) {
    auto context = owned(lib.context_alloc(), lib.context_free);
    if (lib.context_set_max_decoding_threads)
        lib.context_set_max_decoding_threads(context.get(), 0); // in this thread: photos are what runs side by side
    Error e = lib.context_read_from_memory_without_copy(context.get(), file, size, nullptr);
    if (e.code)
        return failed(e, why, why_size);
    Handle *h = nullptr;
    e = lib.context_get_image_handle(context.get(), item, &h);
    auto handle = owned(h, lib.image_handle_release);
    if (e.code)
        return failed(e, why, why_size);

    auto options = owned(lib.decoding_options_alloc(), lib.decoding_options_free);
    options->ignore_transformations = 1;
    if (options->version >= 2)
        options->convert_hdr_to_8bit = 1;
    Image *i = nullptr;
    e = lib.decode_image(handle.get(), &i, colorspace_rgb, chroma_interleaved_rgb, options.get());
    auto image = owned(i, lib.image_release);
    if (e.code)
        return failed(e, why, why_size);

    const int w = lib.image_get_width(i, channel_interleaved), h_ = lib.image_get_height(i, channel_interleaved);
    if (w != *width || h_ != *height) {
        *width = w, *height = h_;
        return heif_other_size;
    }
    int from_stride = 0;
    const uint8_t *rgb = lib.image_get_plane_readonly(i, channel_interleaved, &from_stride);
    if (!rgb || from_stride < 3 * w) {
        std::snprintf(why, why_size, "the decoder gave no pixels");
        return heif_failed;
    }
    copy_bgr(rgb, from_stride, bgr, stride, w, h_);
    return heif_ok;
}

} // namespace

int heif_load(const char **version, char *why, int why_size) {
    std::call_once(loading, load);
    if (load_failure[0]) {
        std::snprintf(why, why_size, "%s", load_failure);
        return heif_missing;
    }
    *version = lib.get_version();
    return heif_ok;
}

int heif_pixels(const void *file, size_t size, unsigned item, unsigned char *bgr, size_t stride, int *width, int *height,
                char *why, int why_size) {
    const char *version = nullptr;
    if (int rc = heif_load(&version, why, why_size))
        return rc;
    try {
        return decode(file, size, item, bgr, stride, width, height, why, why_size);
    } catch (const std::exception &e) {
        std::snprintf(why, why_size, "%s", e.what());
    } catch (...) {
        std::snprintf(why, why_size, "unknown failure in libheif");
    }
    return heif_failed;
}
