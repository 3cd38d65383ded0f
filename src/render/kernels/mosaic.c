/* mosaic.c: from the numbers of a sensor to scene-linear light. */
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

static void level(const uint16_t *restrict row, size_t n, float black, float scale,
                  float *restrict out)
{
    for (size_t i = 0; i < n; i++)
        out[i] = ((float)row[i] - black) * scale;
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
        peak[i] = dwk_max(dwk_max(r0[i], b0[i]), dwk_max(g0[i], g1[i]));
    }
}

static void develop(const struct dw_develop *d, const float *restrict peak, size_t n,
                    float *restrict r, float *restrict g, float *restrict b)
{
    const struct dw_develop p = *d;
    for (size_t i = 0; i < n; i++) {
        /* Where a channel saturates the others are worth no more than the white that they would
         * make: first nothing above the level at which green saturates, then neutral. */
        float c = (peak[i] - p.clip_start) * p.clip_scale;
        c = dwk_min(dwk_max(c, 0.0f), 1.0f);
        float x = r[i] * p.mul[0], y = g[i] * p.mul[1], z = b[i] * p.mul[2];
        x += c * (dwk_min(x, p.limit) - x);
        y += c * (dwk_min(y, p.limit) - y);
        z += c * (dwk_min(z, p.limit) - z);
        float top = dwk_max(dwk_max(x, y), z);
        x += c * (top - x);
        y += c * (top - y);
        z += c * (top - z);
        r[i] = p.matrix[0] * x + p.matrix[1] * y + p.matrix[2] * z;
        g[i] = p.matrix[3] * x + p.matrix[4] * y + p.matrix[5] * z;
        b[i] = p.matrix[6] * x + p.matrix[7] * y + p.matrix[8] * z;
    }
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

const struct dw_mosaic_kernels DW_KERNEL(mosaic) = {split, level, cell, develop, accumulate,
                                                    scale_row};
