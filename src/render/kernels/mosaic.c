/* mosaic.c: from the numbers of a sensor to rows of colours. */
#include "render/kernels/kernel.h"

#include "render/kernels/fastmath.h"

static void split(const uint16_t *restrict row, size_t n, const float black[2],
                  const float scale[2], float *restrict even, float *restrict odd)
{
    float b0 = black[0], b1 = black[1], s0 = scale[0], s1 = scale[1];
    for (size_t i = 0; i < n; i++) {
        even[i] = ((float)row[2 * i] - b0) * s0;
        odd[i] = ((float)row[2 * i + 1] - b1) * s1;
    }
}

static uint16_t highest(const uint16_t *restrict row, size_t n)
{
    uint16_t most = 0;
    for (size_t i = 0; i < n; i++)
        most = row[i] > most ? row[i] : most;
    return most;
}

static void cell(const struct dw_cell_rows *rows, size_t n, float *restrict r, float *restrict g,
                 float *restrict b, float *restrict peak)
{
    const float *restrict r0 = rows->red[0], *restrict r1 = rows->red[1];
    const float *restrict r2 = rows->red[2], *restrict r3 = rows->red[3];
    const float *restrict b0 = rows->blue[0], *restrict b1 = rows->blue[1];
    const float *restrict b2 = rows->blue[2], *restrict b3 = rows->blue[3];
    const float *restrict g0 = rows->green[0], *restrict g1 = rows->green[1];
    for (size_t i = 0; i < n; i++) {
        r[i] = 0.5625f * r0[i] + 0.1875f * (r1[i] + r2[i]) + 0.0625f * r3[i];
        b[i] = 0.5625f * b0[i] + 0.1875f * (b1[i] + b2[i]) + 0.0625f * b3[i];
        g[i] = 0.5f * (g0[i] + g1[i]);
        peak[i] = dwk_max(g0[i], g1[i]);
    }
}

static void larger(const float *a, const float *b, size_t n, float *restrict out)
{
    for (size_t i = 0; i < n; i++)
        out[i] = dwk_max(a[i], b[i]);
}

static void largest(const float *a, const float *b, const float *c, size_t n, float *restrict out)
{
    for (size_t i = 0; i < n; i++)
        out[i] = dwk_max(dwk_max(a[i], b[i]), c[i]);
}

static void accumulate(const float *restrict in, size_t n, float weight, float *restrict out)
{
    for (size_t i = 0; i < n; i++)
        out[i] += weight * in[i];
}

static void scale_row(const float *restrict in, size_t n, float weight, float *restrict out)
{
    for (size_t i = 0; i < n; i++)
        out[i] = weight * in[i];
}

static float smaller(float a, float b)
{
    return a < b ? a : b;
}

static void between(const float *const in[6], size_t n, const float weight[6], float *restrict out)
{
    const float *restrict a = in[0], *restrict b = in[1], *restrict c = in[2];
    const float *restrict d = in[3], *restrict e = in[4], *restrict f = in[5];
    float wa = weight[0], wb = weight[1], wc = weight[2];
    float wd = weight[3], we = weight[4], wf = weight[5];
    for (size_t i = 0; i < n; i++) {
        float v = (wa * a[i] + wf * f[i]) + (wb * b[i] + we * e[i]) + (wc * c[i] + wd * d[i]);
        float least =
            smaller(smaller(smaller(a[i], b[i]), smaller(c[i], d[i])), smaller(e[i], f[i]));
        out[i] = v < least ? least : v;
    }
}

const struct dw_mosaic_kernels DW_KERNEL(mosaic) = {split,   cell,       highest,   larger,
                                                    largest, accumulate, scale_row, between};
