// The few calls of libheif that the package needs, found in libheif.so.1 when
// they are first needed, so that a machine without it reads everything else.
// No C++ exception crosses: a call that fails returns non-zero and leaves one
// line of text in why.
#pragma once
#include <stddef.h>
#ifdef __cplusplus
extern "C" {
#endif

enum { heif_ok = 0, heif_failed = 1, heif_missing = 2, heif_other_size = 3, heif_no_codec = 4 };

// Loads the library once. version is the library's own text, valid for ever.
int heif_load(const char **version, char *why, int why_size);

// Decodes the image item into bgr: width x height pixels of 3 bytes, rows
// stride bytes apart. The picture is as it was coded: rotation, mirroring and
// cropping of the container are not applied. heif_other_size: the data
// hold another size, which width and height then tell.
int heif_pixels(const void *file, size_t size, unsigned item, unsigned char *bgr, size_t stride,
                int *width, int *height, char *why, int why_size);

#ifdef __cplusplus
}
#endif
