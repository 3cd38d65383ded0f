/* tiny_dng.h: writes small DNG files with any record we like, for the tests of reading. Tags after
 * TIFF 6.0, Exif 2.31 and DNG 1.4. The pictures are invented. */
#ifndef DW_TESTS_TINY_DNG_H
#define DW_TESTS_TINY_DNG_H

#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct tiny_dng {
    const char *make, *model, *serial; /* NULL: left out */
    int width, height, orientation;
    int cfa_period;        /* 2 or 6; 0: no mosaic */
    const uint8_t *cfa;    /* NULL: RGGB */
    int samples;           /* a pixel: 1, or 3 without a mosaic */
    const uint16_t *px;    /* NULL: an invented noisy picture */
    const uint8_t *packed; /* lossless JPEG instead of px */
    size_t packed_n;
    uint32_t black_num, black_den; /* one level, as a rational */
    uint32_t black4[4];            /* four levels of a 2x2 pattern, when the first is not 0 */
    uint32_t white;
    int active[4]; /* top left bottom right; all 0: whole */
    const char *original, *modified, *subsec, *offset_original, *offset_modified;
    uint32_t shutter[2], f[2]; /* rationals; both 0: no tag; {0, 0} cannot be told from none: */
    bool f_zero_by_zero;       /* FNumber 0/0 */
    int32_t tv[2];
    uint32_t iso, rei;
    bool gps;
    uint32_t lat[6], lon[6]; /* rationals */
    char lat_ref, lon_ref;
    const char *gps_date;
    uint32_t gps_time[3];
    uint32_t seed; /* of the invented picture */
};
#define TINY_DNG                                                                                   \
    {                                                                                              \
        .make = "Invented", .model = "Testcam", .width = 64, .height = 48, .orientation = 1,       \
        .cfa_period = 2, .samples = 1, .black_num = 512, .black_den = 1, .white = 15000,           \
        .original = "2025:03:28 20:00:00", .shutter = {1, 60}, .f = {28, 10}, .iso = 100,          \
        .seed = 1                                                                                  \
    }

/* Growing file with three directories under way. */
struct tiny_file {
    uint8_t head[8192];
    size_t n;
};
struct tiny_ifd {
    uint8_t entry[64][12];
    int n;
};

static inline void tiny_u16(uint8_t *b, uint32_t v)
{
    b[0] = (uint8_t)v;
    b[1] = (uint8_t)(v >> 8);
}
static inline void tiny_u32(uint8_t *b, uint32_t v)
{
    tiny_u16(b, v & 0xffff);
    tiny_u16(b + 2, v >> 16);
}

/* Adds a tag whose value has `bytes` bytes; long ones go into the file at once. */
static inline void tiny_add(struct tiny_file *f, struct tiny_ifd *d, int tag, int type,
                            uint32_t count, const void *value, size_t bytes)
{
    uint8_t *e = d->entry[d->n++];
    memset(e, 0, 12);
    tiny_u16(e, (uint32_t)tag);
    tiny_u16(e + 2, (uint32_t)type);
    tiny_u32(e + 4, count);
    if (bytes <= 4) {
        memcpy(e + 8, value, bytes);
        return;
    }
    tiny_u32(e + 8, (uint32_t)f->n);
    memcpy(f->head + f->n, value, bytes);
    f->n += bytes + (bytes & 1);
}
static inline void tiny_number(struct tiny_file *f, struct tiny_ifd *d, int tag, uint32_t v)
{
    uint8_t b[4];
    tiny_u32(b, v);
    tiny_add(f, d, tag, 4, 1, b, 4);
}
static inline void tiny_numbers(struct tiny_file *f, struct tiny_ifd *d, int tag, int type,
                                const uint32_t *v, uint32_t count)
{
    uint8_t b[256];
    uint32_t words = type == 5 || type == 10 ? 2 * count : count;
    for (uint32_t i = 0; i < words; i++) {
        if (type == 3)
            tiny_u16(b + 2 * i, v[i]);
        else
            tiny_u32(b + 4 * i, v[i]);
    }
    tiny_add(f, d, tag, type, count, b, (type == 3 ? 2 : 4) * (size_t)words);
}
static inline void tiny_text(struct tiny_file *f, struct tiny_ifd *d, int tag, const char *text)
{
    if (text)
        tiny_add(f, d, tag, 2, (uint32_t)strlen(text) + 1, text, strlen(text) + 1);
}

/* Writes the directory into the file and returns its offset. */
static inline uint32_t tiny_close(struct tiny_file *f, const struct tiny_ifd *d)
{
    uint32_t at = (uint32_t)f->n;
    tiny_u16(f->head + f->n, (uint32_t)d->n);
    f->n += 2;
    for (int i = 0; i < d->n; i++, f->n += 12)
        memcpy(f->head + f->n, d->entry[i], 12);
    tiny_u32(f->head + f->n, 0);
    f->n += 4;
    return at;
}

static inline uint32_t tiny_exif(struct tiny_file *f, const struct tiny_dng *t)
{
    struct tiny_ifd d = {.n = 0};
    if (t->shutter[0] || t->shutter[1])
        tiny_numbers(f, &d, 0x829a, 5, t->shutter, 1);
    if (t->f[0] || t->f[1] || t->f_zero_by_zero)
        tiny_numbers(f, &d, 0x829d, 5, t->f, 1);
    if (t->iso)
        tiny_numbers(f, &d, 0x8827, 3, &t->iso, 1);
    if (t->rei)
        tiny_number(f, &d, 0x8832, t->rei);
    tiny_text(f, &d, 0x9003, t->original);
    tiny_text(f, &d, 0x9010, t->offset_modified);
    tiny_text(f, &d, 0x9011, t->offset_original);
    if (t->tv[1]) {
        uint32_t v[2] = {(uint32_t)t->tv[0], (uint32_t)t->tv[1]};
        tiny_numbers(f, &d, 0x9201, 10, v, 1);
    }
    tiny_text(f, &d, 0x9291, t->subsec);
    tiny_text(f, &d, 0xa431, t->serial);
    return d.n ? tiny_close(f, &d) : 0;
}

static inline uint32_t tiny_gps(struct tiny_file *f, const struct tiny_dng *t)
{
    struct tiny_ifd d = {.n = 0};
    char ref[2] = "";
    uint8_t version[4] = {2, 3, 0, 0};
    if (!t->gps)
        return 0;
    tiny_add(f, &d, 0, 1, 4, version, 4);
    if (t->lat_ref) {
        ref[0] = t->lat_ref;
        tiny_text(f, &d, 1, ref);
        tiny_numbers(f, &d, 2, 5, t->lat, 3);
        ref[0] = t->lon_ref;
        tiny_text(f, &d, 3, ref);
        tiny_numbers(f, &d, 4, 5, t->lon, 3);
    }
    if (t->gps_date) {
        uint32_t v[6] = {t->gps_time[0], 1, t->gps_time[1], 1, t->gps_time[2], 1};
        tiny_numbers(f, &d, 7, 5, v, 3);
        tiny_text(f, &d, 0x1d, t->gps_date);
    }
    return tiny_close(f, &d);
}

/* An invented picture: a slope of light with noise, deterministic in its seed. */
static inline void tiny_picture(uint16_t *px, size_t w, size_t h, double black, double top,
                                double noise, uint32_t seed)
{
    for (size_t y = 0; y < h; y++)
        for (size_t x = 0; x < w; x++) {
            double v = black + (top - black) * (0.2 + 0.6 * (double)(x + y) / (double)(w + h));
            double sum = 0;
            for (int i = 0; i < 4; i++) {
                seed = seed * 1664525u + 1013904223u;
                sum += (double)(seed >> 8) / 16777216.0 - 0.5;
            }
            v += noise * sum * 1.732; /* four uniform numbers: sigma 0.577 */
            px[y * w + x] = (uint16_t)(v < 0 ? 0 : v > 65535 ? 65535 : v + 0.5);
        }
}

static inline void tiny_main_tags(struct tiny_file *f, struct tiny_ifd *d, const struct tiny_dng *t,
                                  uint32_t pixels_at, uint32_t pixel_bytes, uint32_t exif,
                                  uint32_t gps)
{
    static const uint8_t rggb[4] = {0, 1, 1, 2}, dng[4] = {1, 4, 0, 0}, back[4] = {1, 1, 0, 0};
    uint32_t bits[3] = {16, 16, 16}, matrix[18], neutral[6] = {1, 2, 1, 1, 2, 3};
    static const double m[9] = {0.8, -0.2, -0.1, -0.4, 1.2, 0.2, -0.1, 0.2, 0.6};
    for (int i = 0; i < 9; i++) {
        matrix[2 * i] = (uint32_t)(int32_t)(m[i] * 10000 + (m[i] < 0 ? -0.5 : 0.5));
        matrix[2 * i + 1] = 10000;
    }
    tiny_number(f, d, 254, 0);
    tiny_number(f, d, 256, (uint32_t)t->width);
    tiny_number(f, d, 257, (uint32_t)t->height);
    tiny_numbers(f, d, 258, 3, bits, (uint32_t)t->samples);
    tiny_number(f, d, 259, t->packed ? 7 : 1);
    tiny_number(f, d, 262, t->cfa_period ? 32803 : 34892);
    tiny_text(f, d, 271, t->make);
    tiny_text(f, d, 272, t->model);
    tiny_number(f, d, 273, pixels_at);
    tiny_number(f, d, 274, (uint32_t)t->orientation);
    tiny_number(f, d, 277, (uint32_t)t->samples);
    tiny_number(f, d, 278, (uint32_t)t->height);
    tiny_number(f, d, 279, pixel_bytes);
    tiny_number(f, d, 284, 1);
    tiny_text(f, d, 306, t->modified);
    if (t->cfa_period) {
        uint32_t dim[2] = {(uint32_t)t->cfa_period, (uint32_t)t->cfa_period};
        uint32_t n = dim[0] * dim[1];
        tiny_numbers(f, d, 33421, 3, dim, 2);
        tiny_add(f, d, 33422, 1, n, t->cfa ? t->cfa : rggb, n);
    }
    if (exif)
        tiny_number(f, d, 34665, exif);
    if (gps)
        tiny_number(f, d, 34853, gps);
    tiny_add(f, d, 50706, 1, 4, dng, 4);
    tiny_add(f, d, 50707, 1, 4, back, 4);
    tiny_text(f, d, 50708, t->model);
    if (t->black4[0]) {
        uint32_t dim[2] = {2, 2};
        tiny_numbers(f, d, 50713, 3, dim, 2);
        tiny_numbers(f, d, 50714, 4, t->black4, 4);
    } else {
        uint32_t black[2] = {t->black_num, t->black_den};
        tiny_numbers(f, d, 50714, 5, black, 1);
    }
    tiny_number(f, d, 50717, t->white);
    tiny_numbers(f, d, 50721, 10, matrix, 9);
    tiny_numbers(f, d, 50728, 5, neutral, 3);
    tiny_number(f, d, 50778, 21);
    if (t->active[2]) {
        uint32_t a[4];
        for (int i = 0; i < 4; i++)
            a[i] = (uint32_t)t->active[i];
        tiny_numbers(f, d, 50829, 4, a, 4);
    }
}

/* Writes the file; stops the test on failure. */
static inline void tiny_write(const char *path, const struct tiny_dng *t)
{
    struct tiny_file f = {.n = 8};
    struct tiny_ifd d = {.n = 0};
    size_t samples = (size_t)t->width * (size_t)t->height * (size_t)t->samples;
    uint16_t *own = NULL;
    const uint16_t *px = t->px;
    if (!px && !t->packed) {
        own = malloc(samples * sizeof *own);
        tiny_picture(own, (size_t)t->width * (size_t)t->samples, (size_t)t->height,
                     (double)t->black_num / t->black_den, t->white, 40, t->seed);
        px = own;
    }
    size_t bytes = t->packed ? t->packed_n : samples * 2;
    uint32_t exif = tiny_exif(&f, t), gps = tiny_gps(&f, t);
    uint32_t pixels_at = sizeof f.head;
    tiny_main_tags(&f, &d, t, pixels_at, (uint32_t)bytes, exif, gps);
    uint32_t first = tiny_close(&f, &d);
    memcpy(f.head, "II*\0", 4);
    tiny_u32(f.head + 4, first);
    FILE *out = fopen(path, "wb");
    ck_assert_ptr_nonnull(out);
    ck_assert_uint_eq(fwrite(f.head, 1, sizeof f.head, out), sizeof f.head);
    if (t->packed) {
        ck_assert_uint_eq(fwrite(t->packed, 1, bytes, out), bytes);
    } else {
        for (size_t i = 0; i < samples; i++) {
            uint8_t b[2];
            tiny_u16(b, px[i]);
            fwrite(b, 1, 2, out);
        }
    }
    ck_assert_int_eq(fclose(out), 0);
    free(own);
}

/* A folder of its own under /tmp, removed by tiny_remove. */
static inline char *tiny_folder(void)
{
    char *dir = strdup("/tmp/dw-shot-XXXXXX");
    ck_assert_ptr_nonnull(mkdtemp(dir));
    return dir;
}
static inline void tiny_remove(char *dir)
{
    char command[128];
    if (strncmp(dir, "/tmp/dw-shot-", 13) != 0)
        return;
    snprintf(command, sizeof command, "chmod -R u+rwx %s; rm -rf %s", dir, dir);
    if (system(command) != 0)
        fprintf(stderr, "left behind: %s\n", dir);
    free(dir);
}
#endif
