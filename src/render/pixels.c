/* pixels.c: see pixels.h. */
#include "render/pixels.h"

#include "render/demosaic.h"

#include <string.h>

#define STRIP 64 /* even, so that every strip begins with the same phase of the pattern */
#define HELD (STRIP + 2 * DW_DEMOSAIC_MARGIN)

enum dw_status dw_pixels_open(struct dw_pixels *p, struct dw_samples *s, const float mul[3],
                              struct dw_error *err)
{
    p->s = s;
    memcpy(p->mul, mul, sizeof p->mul);
    p->good_from = p->good_to = 0;
    size_t floats = 5 * (size_t)HELD * (size_t)s->m->width + dw_demosaic_space(s->m->width);
    if (!dw_grow(&p->work, floats * sizeof(float)))
        return dw_fail(err, DW_ERR_MEMORY, "no memory for a strip %d pixels wide", s->m->width);
    return DW_OK;
}

void dw_pixels_free(struct dw_pixels *p)
{
    dw_grow_free(&p->work);
}

/* Plane i of the work space: 0 mosaic, 1..3 colours, 4 levels without balance. */
static float *plane(const struct dw_pixels *p, int i)
{
    return (float *)p->work.p + (size_t)i * HELD * (size_t)p->s->m->width;
}

/* One row as a balanced mosaic, and its unbalanced green levels (-1 elsewhere: only green is asked
 * whether it is saturated). */
static void level_row(struct dw_pixels *p, int y, float *mosaic, float *level)
{
    struct dw_samples *s = p->s;
    const uint16_t *row = dw_samples_row(s, y);
    float black[6], scale[6], mul[6];
    bool green[6];
    int period = s->m->period;
    for (int k = 0; k < period; k++) { /* looked up once, not at every pixel */
        int c = dw_samples_colour(s, k, y);
        black[k] = s->black[c];
        scale[k] = s->scale[c];
        mul[k] = p->mul[c];
        green[k] = c == 1;
    }
    for (int x = 0, k = 0; x < s->m->width; x++, k = k + 1 < period ? k + 1 : 0) {
        float v = ((float)row[x] - black[k]) * scale[k];
        mosaic[x] = v * mul[k];
        level[x] = green[k] ? v : -1.0f;
    }
}

/* X-Trans: each colour is the mean of its samples in the 5x5 surround, near ones counting more.
 * Plain, not sharp; `half` is what these mosaics are best used with. */
static void average_surround(struct dw_pixels *p, const float *mosaic, float *const rgb[3])
{
    int w = p->s->m->width;
    for (int y = 0; y < p->rows; y++)
        for (int x = 0; x < w; x++) {
            float sum[3] = {0}, weight[3] = {0};
            for (int v = y < 2 ? 0 : y - 2; v <= y + 2 && v < p->rows; v++)
                for (int u = x < 2 ? 0 : x - 2; u <= x + 2 && u < w; u++) {
                    int c = dw_samples_colour(p->s, u, p->first + v);
                    int d = (u - x) * (u - x) + (v - y) * (v - y);
                    float k = 1.0f / (float)(1 + d * d);
                    sum[c] += k * mosaic[(size_t)v * (size_t)w + (size_t)u];
                    weight[c] += k;
                }
            for (int c = 0; c < 3; c++)
                rgb[c][(size_t)y * (size_t)w + (size_t)x] =
                    weight[c] > 0 ? sum[c] / weight[c] : 0.0f;
        }
}

static void make_strip(struct dw_pixels *p, int y)
{
    const struct dw_mosaic *m = p->s->m;
    int start = y - y % STRIP;
    p->first = start > DW_DEMOSAIC_MARGIN ? start - DW_DEMOSAIC_MARGIN : 0;
    int end = start + STRIP + DW_DEMOSAIC_MARGIN;
    end = end < m->height ? end : m->height;
    p->rows = end - p->first;
    p->good_from = start;
    p->good_to = start + STRIP < m->height ? start + STRIP : m->height;
    size_t w = (size_t)m->width;
    float *mosaic = plane(p, 0), *level = plane(p, 4);
    float *const rgb[3] = {plane(p, 1), plane(p, 2), plane(p, 3)};
    for (int i = 0; i < p->rows; i++)
        level_row(p, p->first + i, mosaic + (size_t)i * w, level + (size_t)i * w);
    if (m->cfa == DW_CFA_BAYER)
        dw_demosaic_full(p->s->k->demosaic, mosaic, m->width, p->rows, m->pattern, plane(p, 5),
                         rgb);
    else
        average_surround(p, mosaic, rgb);
}

static void peak_row(const struct dw_pixels *p, int y, float *peak)
{
    int w = p->s->m->width;
    const float *level = plane(p, 4);
    for (int x = 0; x < w; x++)
        peak[x] = -1.0f;
    for (int v = y - 1; v <= y + 1; v++) {
        if (v < p->first || v >= p->first + p->rows)
            continue;
        const float *row = level + (size_t)(v - p->first) * (size_t)w;
        for (int x = 0; x < w; x++) {
            float a = row[x > 0 ? x - 1 : 0], b = row[x], c = row[x + 1 < w ? x + 1 : x];
            float most = a > b ? a : b;
            most = most > c ? most : c;
            peak[x] = most > peak[x] ? most : peak[x];
        }
    }
}

/* Mosaics that hold every colour at every pixel, or only one. */
static void direct_row(struct dw_pixels *p, int y, float *const rgb[3], float *peak)
{
    struct dw_samples *s = p->s;
    const uint16_t *row = dw_samples_row(s, y);
    bool full = s->m->cfa == DW_CFA_RGB;
    for (int x = 0; x < s->m->width; x++) {
        for (int c = 0; c < 3; c++) {
            int from = full ? c : 1;
            float v = ((float)row[full ? 3 * x + c : x] - s->black[from]) * s->scale[from];
            if (c == 1)
                peak[x] = v;
            rgb[c][x] = v * p->mul[c];
        }
    }
}

void dw_pixels_row(struct dw_pixels *p, int y, float *const rgb[3], float *peak)
{
    const struct dw_mosaic *m = p->s->m;
    if (m->cfa != DW_CFA_BAYER && m->cfa != DW_CFA_XTRANS) {
        direct_row(p, y, rgb, peak);
        return;
    }
    if (y < p->good_from || y >= p->good_to)
        make_strip(p, y);
    size_t w = (size_t)m->width, at = (size_t)(y - p->first) * w;
    for (int c = 0; c < 3; c++)
        memcpy(rgb[c], plane(p, 1 + c) + at, w * sizeof(float));
    peak_row(p, y, peak);
}
