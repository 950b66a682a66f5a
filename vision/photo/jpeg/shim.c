#include "shim.h"

#include <setjmp.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <jpeglib.h>

typedef struct {
    struct jpeg_error_mgr base;
    jmp_buf out;
    char *why;
    int why_size;
} trouble;

static void give_up(j_common_ptr c) {
    trouble *t = (trouble *)c->err;
    char text[JMSG_LENGTH_MAX];
    c->err->format_message(c, text);
    snprintf(t->why, t->why_size, "%s", text);
    longjmp(t->out, 1);
}

static void keep_quiet(j_common_ptr c) { (void)c; }

enum { TALL = 16 }; // the most rows that libjpeg gives at a time

// The rows that are worked on: three planes as libjpeg gives them, and the
// colours of half as many rows.
typedef struct {
    JSAMPROW rows[3][TALL];
    unsigned char *colour[TALL / 2];
    unsigned char *mean[3];
    unsigned char *memory;
} band;

static int make_band(band *b, const struct jpeg_decompress_struct *c) {
    size_t wide[3] = {0, 0, 0}, half = c->image_width / 2, room = TALL / 2 * 3 * half + 3 * half + 1;
    for (int i = 0; i < c->num_components; i++) {
        wide[i] = (size_t)c->comp_info[i].width_in_blocks * DCTSIZE + 2 * DCTSIZE;
        room += TALL * wide[i];
    }
    unsigned char *p = b->memory = malloc(room);
    if (!p) return 0;
    for (int i = 0; i < c->num_components; i++)
        for (int r = 0; r < TALL; r++, p += wide[i]) b->rows[i][r] = p;
    for (int r = 0; r < TALL / 2; r++, p += 3 * half) b->colour[r] = p;
    for (int i = 0; i < 3; i++, p += half) b->mean[i] = p;
    return 1;
}

// Loops over rows are made twice on x86, the second time for AVX2.
#ifdef __x86_64__
#define ROWS __attribute__((target_clones("avx2", "default")))
#else
#define ROWS
#endif

typedef unsigned char v16 __attribute__((vector_size(16)));

static v16 load(const unsigned char *p) {
    v16 v;
    memcpy(&v, p, 16);
    return v;
}

#define LOW(a, b) __builtin_shufflevector(a, b, 0, 16, 1, 17, 2, 18, 3, 19, 4, 20, 5, 21, 6, 22, 7, 23)
#define HIGH(a, b) __builtin_shufflevector(a, b, 8, 24, 9, 25, 10, 26, 11, 27, 12, 28, 13, 29, 14, 30, 15, 31)

// Eight rows of sixteen samples, stood on end: out holds the columns, two in each.
static void stand(unsigned char *const *rows, int x, v16 out[8]) {
    v16 a[8], b[8];
    for (int i = 0; i < 4; i++) {
        v16 p = load(rows[i] + x), q = load(rows[i + 4] + x);
        a[2 * i] = LOW(p, q), a[2 * i + 1] = HIGH(p, q);
    }
    // a[2i+h]: rows i and i+4 of half h, in turns
    for (int h = 0; h < 2; h++) {
        for (int i = 0; i < 2; i++) {
            b[4 * h + 2 * i] = LOW(a[2 * i + h], a[2 * (i + 2) + h]);
            b[4 * h + 2 * i + 1] = HIGH(a[2 * i + h], a[2 * (i + 2) + h]);
        }
        for (int k = 0; k < 2; k++) {
            out[4 * h + 2 * k] = LOW(b[4 * h + k], b[4 * h + 2 + k]);
            out[4 * h + 2 * k + 1] = HIGH(b[4 * h + k], b[4 * h + 2 + k]);
        }
    }
}

// A row from its last sample to its first.
ROWS static void mirror(unsigned char *restrict to, const unsigned char *restrict from, int width) {
    for (int x = 0; x < width; x++) to[x] = from[width - 1 - x];
}

// Puts rows of a plane, the first of them row y of the stored picture, where they go.
static void put(unsigned char *to, jpeg_way w, unsigned char *const *rows, int y, int count, int width) {
    to += w.at + y * w.down;
    if (w.right == 1 || w.right == -1) {
        for (int r = 0; r < count; r++) {
            if (w.right == 1)
                memcpy(to + r * w.down, rows[r], width);
            else
                mirror(to + r * w.down - (width - 1), rows[r], width);
        }
        return;
    }
    int x = 0, tall = count / 8 * 8;
    for (; tall > 0 && x + 16 <= width; x += 16) // all rows of some columns, while the lines written to are at hand
        for (int r = 0; r < tall; r += 8) {
            unsigned char *eight[8], *at = to + x * w.right + (w.down == 1 ? r : -r - 7);
            v16 columns[8];
            for (int i = 0; i < 8; i++) eight[i] = rows[r + (w.down == 1 ? i : 7 - i)];
            stand(eight, x, columns);
            for (int i = 0; i < 16; i++) memcpy(at + i * w.right, (unsigned char *)&columns[i / 2] + 8 * (i % 2), 8);
        }
    for (int r = 0; r < count; r++)
        for (int k = r < tall ? x : 0; k < width; k++) to[k * w.right + r * w.down] = rows[r][k];
}

// The same for pixels of three bytes, which are moved as four: the one too many is
// written over by the next pixel. Each row has a byte behind its last.
static void put_colour(unsigned char *to, jpeg_way w, unsigned char *const *rows, int y, int count, int width) {
    to += 3 * (w.at + y * w.down);
    if (w.right == 1 || w.right == -1) {
        for (int r = 0; r < count; r++) {
            unsigned char *at = to + 3 * r * w.down;
            if (w.right == 1)
                memcpy(at, rows[r], 3 * (size_t)width);
            else
                for (int x = 0; x < width; x++, at -= 3) memcpy(at, rows[r] + 3 * x, 3);
        }
        return;
    }
    for (int x = 0; x < width; x++) {
        unsigned char *at = to + 3 * (x * w.right - (w.down == 1 ? 0 : count - 1));
        for (int i = 0; i + 1 < count; i++, at += 3) memcpy(at, rows[w.down == 1 ? i : count - 1 - i] + 3 * x, 4);
        memcpy(at, rows[w.down == 1 ? count - 1 : 0] + 3 * x, 3);
    }
}

// The mean of blocks of a plane, which are one or two samples wide and high.
ROWS static void means(unsigned char *restrict to, const unsigned char *restrict a, const unsigned char *restrict b, int wide,
                  int count) {
    if (wide == 1)
        for (int x = 0; x < count; x++) to[x] = (a[x] + b[x] + 1) >> 1;
    else
        for (int x = 0; x < count; x++) to[x] = (a[2 * x] + a[2 * x + 1] + b[2 * x] + b[2 * x + 1] + 2) >> 2;
}

static inline unsigned char tone(int v) { return v < 0 ? 0 : v > 255 ? 255 : v; }

// Colours by JFIF 1.02, page 4, in parts of 2^14.
ROWS static void mix(unsigned char *restrict bgr, const unsigned char *restrict y, const unsigned char *restrict cb,
                const unsigned char *restrict cr, int count) {
    for (int x = 0; x < count; x++) {
        int v = (y[x] << 14) + (1 << 13), b = cb[x] - 128, r = cr[x] - 128;
        bgr[3 * x] = tone((v + 29032 * b) >> 14);
        bgr[3 * x + 1] = tone((v - 5638 * b - 11700 * r) >> 14);
        bgr[3 * x + 2] = tone((v + 22970 * r) >> 14);
    }
}

// Works out the colours of half the rows; sx and sy are how many times finer luma is.
static void colours(band *b, int planes, int sx, int sy, int rows, int half) {
    for (int r = 0; r < rows; r++) {
        means(b->mean[0], b->rows[0][2 * r], b->rows[0][2 * r + 1], 2, half);
        for (int i = 1; i < 3; i++) {
            if (planes == 1)
                memset(b->mean[i], 128, half);
            else if (sy == 2)
                means(b->mean[i], b->rows[i][r], b->rows[i][r], 3 - sx, half);
            else
                means(b->mean[i], b->rows[i][2 * r], b->rows[i][2 * r + 1], 3 - sx, half);
        }
        mix(b->colour[r], b->mean[0], b->mean[1], b->mean[2], half);
    }
}

// Whether the planes are those that the rest can work with.
static int fits(const struct jpeg_decompress_struct *c) {
    const jpeg_component_info *i = c->comp_info;
    if (c->image_width % 2 || c->image_height % 2) return 0;
    if (c->num_components == 1 && c->jpeg_color_space == JCS_GRAYSCALE) return i[0].h_samp_factor == 1 && i[0].v_samp_factor == 1;
    return c->num_components == 3 && c->jpeg_color_space == JCS_YCbCr && i[0].h_samp_factor <= 2 && i[0].v_samp_factor <= 2 &&
           i[1].h_samp_factor == 1 && i[1].v_samp_factor == 1 && i[2].h_samp_factor == 1 && i[2].v_samp_factor == 1;
}

static int decode(struct jpeg_decompress_struct *c, band *b, unsigned char *gray, jpeg_way gray_way, unsigned char *colour,
                  jpeg_way colour_way) {
    c->raw_data_out = TRUE;
    c->out_color_space = c->jpeg_color_space;
    jpeg_start_decompress(c);
    if (!make_band(b, c)) return jpeg_failed;
    JSAMPARRAY planes[3] = {b->rows[0], b->rows[1], b->rows[2]};
    int tall = c->max_v_samp_factor * DCTSIZE, width = c->image_width, height = c->image_height;
    for (int y = 0; y < height; y += tall) {
        int count = height - y < tall ? height - y : tall;
        if (jpeg_read_raw_data(c, planes, tall) == 0) return jpeg_failed;
        put(gray, gray_way, b->rows[0], y, count, width);
        colours(b, c->num_components, c->max_h_samp_factor, c->max_v_samp_factor, count / 2, width / 2);
        put_colour(colour, colour_way, b->colour, y / 2, count / 2, width / 2);
    }
    return jpeg_done;
}

int jpeg_planes(const unsigned char *file, size_t size, int *width, int *height, unsigned char *gray, jpeg_way gray_way,
                unsigned char *colour, jpeg_way colour_way, char *why, int why_size) {
    struct jpeg_decompress_struct c;
    trouble t = {.why = why, .why_size = why_size};
    band *volatile b = calloc(1, sizeof *b);
    volatile int rc = jpeg_failed;
    snprintf(why, why_size, "out of memory");
    if (!b) return rc;
    c.err = jpeg_std_error(&t.base);
    t.base.error_exit = give_up;
    t.base.output_message = keep_quiet;
    if (!setjmp(t.out)) {
        jpeg_create_decompress(&c);
        jpeg_mem_src(&c, file, size);
        jpeg_read_header(&c, TRUE);
        if ((int)c.image_width != *width || (int)c.image_height != *height) {
            *width = c.image_width, *height = c.image_height;
            rc = jpeg_other_size;
        } else if (!fits(&c)) {
            rc = jpeg_other_kind;
        } else {
            rc = decode(&c, b, gray, gray_way, colour, colour_way);
        }
    } else {
        rc = jpeg_failed;
    }
    jpeg_destroy_decompress(&c);
    free(b->memory);
    free(b);
    return rc;
}
