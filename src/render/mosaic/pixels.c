/* pixels.c: see pixels.h. */
#include "render/mosaic/pixels.h"

#include "render/mosaic/pixels_xtrans.h"

#include <string.h>

/* The mosaic's row as the demosaic wants it, and its green peaks beside it. */
static void read_row(void *ctx, int y, float *even, float *odd)
{
    struct dw_pixels *p = ctx;
    struct dw_samples *s = p->s;
    int w = s->m->width, a = dw_samples_colour(s, 0, y), b = dw_samples_colour(s, 1, y);
    size_t n = (size_t)w / 2, cells = (size_t)(w + 1) / 2;
    const uint16_t *row = dw_samples_row(s, y);
    const float black[2] = {s->black[a], s->black[b]};
    const float scale[2] = {s->scale[a] * p->mul[a], s->scale[b] * p->mul[b]};
    s->k->mosaic->split(row, n, black, scale, even, odd);
    if (w % 2)
        even[n] = ((float)row[w - 1] - black[0]) * scale[0];

    int slot = y % DW_PIXELS_RING;
    if (p->held[slot] == y)
        return;
    p->held[slot] = y;
    /* A green sample has no green beside it, and every other sample has one on either side. */
    float *at_even = p->ring + (size_t)slot * p->stride, *at_odd = at_even + p->stride / 2;
    if (a == 1) {
        memcpy(at_even, even, cells * sizeof *even);
        s->k->mosaic->larger(even, even + 1, n, at_odd);
        if (w % 2 == 0)
            at_odd[n - 1] = even[n - 1];
    } else {
        memcpy(at_odd, odd, n * sizeof *odd);
        s->k->mosaic->larger(odd, odd + 1, n - 1, at_even + 1);
        at_even[0] = odd[0];
        if (w % 2)
            at_even[n] = odd[n - 1];
    }
}

static void start_window(struct dw_pixels *p)
{
    const struct dw_mosaic *m = p->s->m;
    struct dw_demosaic_source source = {
        .width = m->width, .height = m->height, .row = read_row, .ctx = p};
    memcpy(source.pattern, m->pattern, sizeof source.pattern);
    dw_demosaic_start(&p->window, p->s->k->demosaic, &source,
                      p->ring + (DW_PIXELS_RING + 1) * p->stride);
    p->next = 0;
}

enum dw_status dw_pixels_open(struct dw_pixels *p, struct dw_samples *s, const float mul[3],
                              struct dw_error *err)
{
    const struct dw_mosaic *m = s->m;
    p->s = s;
    memcpy(p->mul, mul, sizeof p->mul);
    for (int i = 0; i < DW_PIXELS_RING; i++)
        p->held[i] = -1;
    if (m->cfa != DW_CFA_BAYER && m->cfa != DW_CFA_XTRANS)
        return DW_OK;
    p->stride = 2 * (((size_t)m->width + 1) / 2);
    size_t floats = (DW_PIXELS_RING + 1) * p->stride + dw_demosaic_space(m->width);
    if (!dw_grow(&p->work, floats * sizeof(float)))
        return dw_fail(err, DW_ERR_MEMORY, "no memory for a window %d pixels wide", m->width);
    p->ring = p->work.p;
    if (m->cfa == DW_CFA_BAYER)
        start_window(p);
    return DW_OK;
}

void dw_pixels_free(struct dw_pixels *p)
{
    dw_grow_free(&p->work);
}

/* The largest of the rows above, at and below y, of even or odd columns. */
static void peak_columns(const struct dw_pixels *p, int y, int odd, float *out)
{
    int above = y > 0 ? y - 1 : y, below = y + 1 < p->s->m->height ? y + 1 : y;
    const int rows[3] = {above, y, below};
    const float *at[3];
    for (int i = 0; i < 3; i++)
        at[i] =
            p->ring + (size_t)(rows[i] % DW_PIXELS_RING) * p->stride + (odd ? p->stride / 2 : 0);
    p->s->k->mosaic->largest(at[0], at[1], at[2], (size_t)(p->s->m->width + !odd) / 2, out);
}

static void bayer_row(struct dw_pixels *p, int y, float *const rgb[3], float *peak)
{
    if (y < p->next)
        start_window(p);
    while (p->next <= y) {
        dw_demosaic_next(&p->window, rgb);
        p->next++;
    }
    int w = p->s->m->width;
    float *even = p->ring + DW_PIXELS_RING * p->stride, *odd = even + p->stride / 2;
    peak_columns(p, y, 0, even);
    peak_columns(p, y, 1, odd);
    p->s->k->demosaic->join(even, odd, (size_t)w / 2, peak);
    if (w % 2)
        peak[w - 1] = even[w / 2];
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
            rgb[c][x] = v * p->mul[c];
        }
        peak[x] = rgb[1][x];
    }
}

void dw_pixels_row(struct dw_pixels *p, int y, float *const rgb[3], float *peak)
{
    if (p->s->m->cfa == DW_CFA_BAYER)
        bayer_row(p, y, rgb, peak);
    else if (p->s->m->cfa == DW_CFA_XTRANS)
        dw_pixels_xtrans_row(p, y, rgb, peak);
    else
        direct_row(p, y, rgb, peak);
}
