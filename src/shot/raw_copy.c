/* raw_copy.c: from LibRaw's buffers to ours: visible area, one black level a colour, white. */
#include "base/text.h"
#include "shot/raw_private.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Black of one position as integers (what LibRaw subtracts itself) and exactly (what a DNG says):
 * LibRaw cuts the fractions of DNG black levels off. */
static double black_at(const libraw_data_t *lr, int row, int col, int colour)
{
    const libraw_colordata_t *c = &lr->rawdata.color;
    double whole = (double)c->black + (double)c->cblack[colour];
    if (c->cblack[4] > 0 && c->cblack[5] > 0)
        whole += (double)c->cblack[6 + ((unsigned)row % c->cblack[4]) * c->cblack[5] +
                                   (unsigned)col % c->cblack[5]];
    if (lr->idata.dng_version == 0)
        return whole;
    const libraw_dng_levels_t *d = &c->dng_levels;
    double exact = (double)d->dng_fblack + (double)d->dng_fcblack[colour];
    unsigned rows = (unsigned)d->dng_fcblack[4], cols = (unsigned)d->dng_fcblack[5];
    if (rows > 0 && cols > 0 && rows * cols <= LIBRAW_CBLACK_SIZE - 6)
        exact += (double)d->dng_fcblack[6 + ((unsigned)row % rows) * cols + (unsigned)col % cols];
    /* where the two tell different things (deltas, another scale) the decoder's own is right */
    return exact >= whole - 0.01 && exact < whole + 1.5 ? exact : whole;
}

/* A lossy DNG states its black in codes of 8 bits, while the decoder has already mapped the codes
 * to 16 bits of light through the file's polynomial: the level goes the same way. */
static void map_lossy_black(const struct dw_raw *r, float black[3])
{
    const libraw_data_t *lr = r->lr;
    if (lr->idata.dng_version == 0 || lr->rawdata.color.maximum != 65535)
        return;
    for (int c = 0; c < 3; c++) {
        const struct dw_exif_map *map = &r->map[c];
        if (map->degree < 0)
            continue;
        double code = (double)black[c] / 255, light = 0;
        for (int k = map->degree; k >= 0; k--)
            light = light * code + map->c[k];
        if (code >= 0 && code <= 1 && light >= 0 && light < 0.5)
            black[c] = (float)(65535 * light);
    }
}

/* The three levels, and by how much each position of the pattern differs from its colour's. */
static void take_levels(const struct dw_raw *r, struct dw_mosaic *out, int shift[36])
{
    const libraw_data_t *lr = r->lr;
    double sum[3] = {0}, level[36];
    int n[3] = {0}, positions = out->period * out->period;
    for (int i = 0; i < positions; i++) {
        int row = i / out->period, col = i % out->period;
        int colour = lr->idata.filters ? libraw_COLOR(r->lr, row, col) : 0;
        if (colour < 0 || colour > 3)
            colour = 1;
        level[i] = black_at(lr, row, col, colour);
        sum[out->pattern[i]] += level[i];
        n[out->pattern[i]]++;
    }
    for (int c = 0; c < 3; c++)
        out->black[c] = n[c] ? (float)(sum[c] / n[c]) : (float)black_at(lr, 0, 0, c);
    for (int i = 0; i < positions; i++)
        shift[i] = (int)lround((double)out->black[out->pattern[i]] - level[i]);
    if (out->cfa == DW_CFA_MONO)
        out->black[1] = out->black[2] = out->black[0];
    if (out->cfa == DW_CFA_RGB)
        map_lossy_black(r, out->black);
    out->white = (float)lr->rawdata.color.maximum;
}

static bool fit(struct dw_mosaic *out, size_t samples)
{
    if (samples > out->room) {
        free(out->px);
        out->room = 0;
        out->px = malloc(samples * sizeof *out->px);
        if (!out->px)
            return false;
        out->room = samples;
    }
    out->samples = samples;
    return true;
}

static void copy_mosaic(const libraw_data_t *lr, struct dw_mosaic *out, const int shift[36])
{
    size_t pitch = lr->sizes.raw_pitch / 2, w = (size_t)out->width;
    const uint16_t *from =
        lr->rawdata.raw_image + lr->sizes.top_margin * pitch + lr->sizes.left_margin;
    bool even = true;
    for (int i = 0; i < out->period * out->period; i++)
        even = even && shift[i] == 0;
    for (int y = 0; y < out->height; y++, from += pitch) {
        uint16_t *to = out->px + (size_t)y * w;
        memcpy(to, from, w * sizeof *to);
        for (size_t x = 0; !even && x < w; x++) {
            int v = to[x] + shift[y % out->period * out->period + (int)(x % (size_t)out->period)];
            to[x] = (uint16_t)(v < 0 ? 0 : v > 65535 ? 65535 : v);
        }
    }
}

/* n samples a pixel in the source, 3 in ours. */
static void copy_colours(const libraw_data_t *lr, struct dw_mosaic *out, const uint16_t *from,
                         size_t n)
{
    size_t pitch = lr->sizes.raw_pitch / 2;
    from += lr->sizes.top_margin * pitch + lr->sizes.left_margin * n;
    for (int y = 0; y < out->height; y++, from += pitch) {
        uint16_t *to = out->px + (size_t)y * (size_t)out->width * 3;
        for (size_t x = 0; x < (size_t)out->width; x++)
            for (size_t c = 0; c < 3; c++)
                to[3 * x + c] = from[n * x + c];
    }
}

enum dw_status dw_raw_copy(struct dw_raw *r, struct dw_mosaic *out, struct dw_error *err)
{
    const libraw_data_t *lr = r->lr;
    char why[160] = "";
    int shift[36] = {0};
    out->width = lr->sizes.width;
    out->height = lr->sizes.height;
    if (out->width < 2 || out->height < 2 ||
        lr->sizes.left_margin + out->width > lr->sizes.raw_width ||
        lr->sizes.top_margin + out->height > lr->sizes.raw_height)
        return dw_fail(err, DW_ERR_FORMAT, "claims %dx%d pixels, which makes no sense", out->width,
                       out->height);
    if (!dw_raw_take_pattern(r, &out->cfa, &out->period, out->pattern, why, sizeof why))
        return dw_fail(err, DW_ERR_FORMAT, "%s", why);
    if (lr->rawdata.ioparams.fuji_width)
        return dw_fail(err, DW_ERR_FORMAT,
                       "has a sensor turned by 45 degrees, which this program "
                       "cannot use");
    bool mosaic = out->cfa != DW_CFA_RGB;
    const uint16_t *colours = lr->rawdata.color4_image   ? &lr->rawdata.color4_image[0][0]
                              : lr->rawdata.color3_image ? &lr->rawdata.color3_image[0][0]
                                                         : NULL;
    if (mosaic ? !lr->rawdata.raw_image : !colours)
        return dw_fail(err, DW_ERR_FORMAT,
                       "has pixels of a kind that this program cannot use "
                       "(floating point, or several shots in one)");
    if (!fit(out, (size_t)out->width * (size_t)out->height * (mosaic ? 1 : 3)))
        return dw_fail(err, DW_ERR_MEMORY, "no memory for %dx%d pixels", out->width, out->height);
    take_levels(r, out, shift);
    if (mosaic)
        copy_mosaic(lr, out, shift);
    else
        copy_colours(lr, out, colours, lr->rawdata.color4_image ? 4 : 3);
    return DW_OK;
}

void dw_mosaic_free(struct dw_mosaic *m)
{
    free(m->px);
    memset(m, 0, sizeof *m);
}
