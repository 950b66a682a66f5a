// What the package needs of libjpeg: a JPEG's own planes, turned upright on the
// way, without the colours being worked out pixel by pixel.
#pragma once
#include <stddef.h>

enum { jpeg_done = 0, jpeg_failed = 1, jpeg_other_size = 2, jpeg_other_kind = 3 };

// Where a sample of the stored picture goes: at + x * right + y * down, in
// samples of a plane (in pixels of three bytes, blue first, for the colours).
typedef struct {
    long at, right, down;
} jpeg_way;

// Decodes file, which is to hold width x height pixels, both even: gray takes the
// luma of every pixel, colour the mean of each block of 2 x 2. jpeg_other_kind:
// the file has no luma and two planes of colour, or these no finer than half as
// fine. jpeg_other_size: it holds another size, which then stands in width and
// height. jpeg_failed leaves one line of text in why.
int jpeg_planes(const unsigned char *file, size_t size, int *width, int *height, unsigned char *gray, jpeg_way gray_way,
                unsigned char *colour, jpeg_way colour_way, char *why, int why_size);
