/*
 * dng.c - see dng.h. Little-endian TIFF 6.0 with the tags of DNG 1.4.
 */
#include "dng.h"

#include "astro.h"
#include "colour.h"
#include "exposure.h"
#include "ljpeg.h"

#include <errno.h>
#include <fcntl.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

enum type { BYTE = 1, ASCII, SHORT, LONG, RATIONAL, UNDEFINED = 7, SRATIONAL = 10 };

/* One directory under construction: entries in ascending order, long values behind it. */
struct directory {
    uint8_t entry[40][12];
    int n;
    uint8_t data[2048];
    uint32_t used, at; /* at: file offset of the directory */
};

static void le(uint8_t *o, uint32_t v, int bytes)
{
    for (int i = 0; i < bytes; i++)
        o[i] = (uint8_t)(v >> (8 * i));
}

/* Long values lie behind room for all entries, so that their place is known at once. */
static uint32_t data_start(const struct directory *d)
{
    return d->at + 2 + (uint32_t)sizeof d->entry + 4;
}

/* Adds an entry; the value is given in file byte order. */
static void add(struct directory *d, int tag, int type, uint32_t count, const void *bytes)
{
    static const int size[] = {0, 1, 1, 2, 4, 8, 1, 1, 2, 4, 8};
    uint32_t n = count * (uint32_t)size[type];
    uint8_t *e = d->entry[d->n++];
    le(e, (uint32_t)tag, 2);
    le(e + 2, (uint32_t)type, 2);
    le(e + 4, count, 4);
    memset(e + 8, 0, 4);
    if (n <= 4) {
        memcpy(e + 8, bytes, n);
        return;
    }
    d->used += d->used & 1;
    le(e + 8, data_start(d) + d->used, 4);
    memcpy(d->data + d->used, bytes, n);
    d->used += n;
}

static void add_short(struct directory *d, int tag, unsigned v)
{
    uint8_t b[2];
    le(b, v, 2);
    add(d, tag, SHORT, 1, b);
}

static void add_long(struct directory *d, int tag, uint32_t v)
{
    uint8_t b[4];
    le(b, v, 4);
    add(d, tag, LONG, 1, b);
}

static void add_text(struct directory *d, int tag, const char *s)
{
    add(d, tag, ASCII, (uint32_t)strlen(s) + 1, s);
}

static void add_ratios(struct directory *d, int tag, int type, int n, const double *num, double den)
{
    uint8_t b[9 * 8];
    for (int i = 0; i < n; i++) {
        le(b + 8 * i, (uint32_t)(int32_t)lround(num[i] * den), 4);
        le(b + 8 * i + 4, (uint32_t)den, 4);
    }
    add(d, tag, type, (uint32_t)n, b);
}

static void finish(const struct directory *d, uint8_t *file)
{
    uint8_t *o = file + d->at;
    le(o, (uint32_t)d->n, 2);
    memcpy(o + 2, d->entry, (size_t)d->n * 12);
    le(o + 2 + d->n * 12, 0, 4);
    memcpy(file + data_start(d), d->data, d->used);
}

static void camera_clock(const struct dwi_params *p, const struct dwi_shot *s, char when[20],
                         char sub[4], char offset[8])
{
    int c[6];
    double frac;
    dwi_time_calendar(s->start_utc + p->utc_offset_h * 3600 + p->clock_error_s, c, &frac);
    snprintf(when, 20, "%04u:%02u:%02u %02u:%02u:%02u", c[0] % 10000u, c[1] % 100u, c[2] % 100u,
             c[3] % 100u, c[4] % 100u, c[5] % 100u);
    snprintf(sub, 4, "%02u", (unsigned)(frac * 100) % 100u);
    unsigned m = (unsigned)lround(fabs(p->utc_offset_h) * 60);
    snprintf(offset, 8, "%c%02u:%02u", p->utc_offset_h < 0 ? '-' : '+', m / 60 % 100u, m % 60u);
}

static void exif(struct directory *d, const struct dwi_params *p, const struct dwi_shot *s)
{
    char when[20], sub[4], offset[8];
    int known = !s->fault.no_exposure, num, den;
    uint8_t b[8];
    camera_clock(p, s, when, sub, offset);
    dwi_shutter_marked(s->shutter_k, &num, &den);
    le(b, (uint32_t)num, 4);
    le(b + 4, (uint32_t)den, 4);
    if (known)
        add(d, 33434, RATIONAL, 1, b);
    /* a lens without contacts: 0, as cameras write it */
    add_ratios(d, 33437, RATIONAL, 1,
               (double[]){p->contacts ? dwi_aperture_closed(p->f_number, s->closed_k) : 0}, 10);
    if (known) {
        add_short(d, 34855, (unsigned)dwi_iso_marked(s->iso_k));
        add_short(d, 34864, 2); /* recommended exposure index */
    }
    add(d, 36864, UNDEFINED, 4, "0231");
    add_text(d, 36867, when);
    if (p->offset_tag)
        add_text(d, 36881, offset);
    if (p->apex && known)
        add_ratios(d, 37377, SRATIONAL, 1, (double[]){-log2(dwi_shutter_true(s->shutter_k))}, 1e6);
    add_ratios(d, 37386, RATIONAL, 1, (double[]){p->contacts ? p->focal_mm : 0}, 10);
    if (p->subsec)
        add_text(d, 37521, sub);
    add_text(d, 42033, "0042017"); /* serial number of the body */
}

static void gps(struct directory *d, const struct dwi_params *p)
{
    uint8_t b[24];
    const double v[2] = {p->lat_deg, p->lon_deg};
    add(d, 0, BYTE, 4, (uint8_t[]){2, 3, 0, 0});
    for (int i = 0; i < 2; i++) {
        uint32_t ms = (uint32_t)lround(fabs(v[i]) * 3600000); /* of arc */
        le(b, ms / 3600000, 4);
        le(b + 4, 1, 4);
        le(b + 8, ms / 60000 % 60, 4);
        le(b + 12, 1, 4);
        le(b + 16, ms % 60000, 4);
        le(b + 20, 1000, 4);
        add(d, 1 + 2 * i, ASCII, 2, i ? (v[i] < 0 ? "W" : "E") : (v[i] < 0 ? "S" : "N"));
        add(d, 2 + 2 * i, RATIONAL, 3, b);
    }
}

/* Writes headers into file (zeroed); returns the offset of the pixels. */
static uint32_t headers(uint8_t *file, const struct dwi_params *p, const struct dwi_shot *s,
                        const uint8_t cfa[4], uint32_t pixel_bytes)
{
    struct directory main = {.at = 8}, sub = {.at = 2048}, place = {.at = 3072};
    const uint32_t pixels = 4096;
    char when[20], frac[4], off[8];
    uint8_t dim[4] = {2, 0, 2, 0};
    double neutral[3], matrix[9];
    camera_clock(p, s, when, frac, off);
    dwi_camera_neutral(neutral);
    for (int i = 0; i < 3; i++)
        for (int j = 0; j < 3; j++)
            matrix[3 * i + j] = dwi_color_matrix[i][j];
    double green = neutral[1]; /* the largest */
    for (int i = 0; i < 3; i++)
        neutral[i] /= green;
    exif(&sub, p, s);
    gps(&place, p);
    add_long(&main, 254, 0);
    add_long(&main, 256, (uint32_t)p->width);
    add_long(&main, 257, (uint32_t)p->height);
    add_short(&main, 258, 16);
    add_short(&main, 259, p->compress == DWI_LJPEG ? 7 : 1);
    add_short(&main, 262, 32803);
    add_text(&main, 271, "Invented Optics");
    add_text(&main, 272, "Polar One");
    add_long(&main, 273, pixels);
    add_short(&main, 274, (unsigned)p->orientation);
    add_short(&main, 277, 1);
    add_long(&main, 278, (uint32_t)p->height);
    add_long(&main, 279, pixel_bytes);
    add_short(&main, 284, 1);
    add_text(&main, 306, when);
    add(&main, 33421, SHORT, 2, dim);
    add(&main, 33422, BYTE, 4, cfa);
    add_long(&main, 34665, sub.at);
    if (p->gps)
        add_long(&main, 34853, place.at);
    add(&main, 50706, BYTE, 4, (uint8_t[]){1, 4, 0, 0});
    add(&main, 50707, BYTE, 4, (uint8_t[]){1, 1, 0, 0});
    add_text(&main, 50708, "Invented Optics Polar One");
    add_short(&main, 50711, 1);
    add_short(&main, 50714, (unsigned)p->black);
    add_short(&main, 50717, (unsigned)p->white);
    add_ratios(&main, 50721, SRATIONAL, 9, matrix, 10000);
    add_ratios(&main, 50728, RATIONAL, 3, neutral, 1000000);
    add_text(&main, 50735, "0042017");
    add_short(&main, 50778, 21);
    add(&main, 50936, ASCII, 9, "Invented");
    le(file, 0x002a4949, 4);
    le(file + 4, main.at, 4);
    finish(&main, file);
    finish(&sub, file);
    if (p->gps)
        finish(&place, file);
    return pixels;
}

/* Spoils a finished file as a card or a cable would. Returns the bytes to write. */
static size_t damage(uint8_t *file, size_t n, const struct dwi_shot *s)
{
    switch (s->fault.damage) {
    case DWI_TRUNCATED:
        return 4096 + (n - 4096) * 55 / 100;
    case DWI_EMPTY:
        return 0;
    case DWI_ZEROED:
        memset(file + n / 2, 0, n - n / 2);
        return n;
    case DWI_WRONG_MAGIC:
        memcpy(file, "XX", 2);
        return n;
    case DWI_FLIPPED: /* a burst of 4 KiB blocks with their bits turned, as a failing card gives */
        for (int k = 0; k < 6; k++) {
            size_t from = 4096 + (n - 4096) / 7 * (size_t)(k + 1);
            for (size_t i = from; i < from + 4096 && i < n; i++)
                file[i] ^= (uint8_t)(0x55 + i * 37);
        }
        return n;
    default:
        return n;
    }
}

static int write_whole(const char *path, const uint8_t *data, size_t n)
{
    char temp[1200];
    snprintf(temp, sizeof temp, "%s.part", path);
    int fd = open(temp, O_WRONLY | O_CREAT | O_TRUNC, 0666), bad = fd < 0, why = errno;
    while (!bad && n) {
        ssize_t w = write(fd, data, n);
        if (w < 0 && errno == EINTR)
            continue;
        bad = w < 0;
        why = errno;
        data += bad ? 0 : w;
        n -= bad ? 0 : (size_t)w;
    }
    if (fd >= 0 && close(fd) && !bad)
        bad = 1, why = errno;
    if (!bad && rename(temp, path))
        bad = 1, why = errno;
    if (bad) {
        unlink(temp);
        errno = why;
    }
    return bad ? -1 : 0;
}

int dwi_dng_write(const char *path, const struct dwi_params *p, const struct dwi_shot *s,
                  const uint8_t cfa[4], const uint16_t *raw)
{
    size_t pixels = (size_t)p->width * (size_t)p->height;
    size_t room =
        4096 + (p->compress == DWI_LJPEG ? dwi_ljpeg_bound(p->width, p->height) : 2 * pixels);
    uint8_t *file = malloc(room);
    if (!file)
        return -1;
    size_t n = 2 * pixels;
    memset(file, 0, 4096);
    if (p->compress == DWI_LJPEG)
        n = dwi_ljpeg_encode(raw, p->width, p->height, p->bits, file + 4096);
    else
        for (size_t i = 0; i < pixels; i++)
            le(file + 4096 + 2 * i, raw[i], 2);
    headers(file, p, s, cfa, (uint32_t)n);
    n = damage(file, n + 4096, s);
    int bad = write_whole(path, file, n);
    free(file);
    return bad;
}
