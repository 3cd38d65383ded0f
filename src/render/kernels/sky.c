/* sky.c: what a row of tiles of the sky has for ground and grain, column by column. */
#include "render/kernels/kernel.h"

#include "render/kernels/fastmath.h"

#include <string.h>

#define COLUMNS 16 /* at a time */

/* Bit by bit from the highest: whole numbers are in the order of the floats that they are read as,
 * as long as none is negative. Slower by the number of operations than a selection that moves
 * values about, but none of its branches depends on them, and columns go side by side. */
static void rank_some(const float *restrict v, size_t stride, size_t n, const int32_t *restrict k,
                      float *restrict out)
{
    int32_t found[COLUMNS] = {0}, tried[COLUMNS], below[COLUMNS], any = 0;
    for (size_t i = 0; i < n; i++)
        for (size_t c = 0; c < COLUMNS; c++)
            any |= dwk_bits(v[i * stride + c]);
    for (int bit = 30; bit >= 0; bit--) {
        if (!(any >> bit & 1))
            continue; /* no value has it */
        for (size_t c = 0; c < COLUMNS; c++) {
            tried[c] = found[c] | (int32_t)1 << bit;
            below[c] = 0;
        }
        for (size_t i = 0; i < n; i++)
            for (size_t c = 0; c < COLUMNS; c++)
                below[c] += dwk_bits(v[i * stride + c]) < tried[c];
        for (size_t c = 0; c < COLUMNS; c++)
            found[c] = below[c] <= k[c] ? tried[c] : found[c];
    }
    for (size_t c = 0; c < COLUMNS; c++)
        out[c] = dwk_float(found[c]);
}

static void rank(const float *v, size_t columns, size_t n, const int32_t *k, float *out)
{
    for (size_t c = 0; c < columns; c += COLUMNS)
        rank_some(v + c, columns, n, k + c, out + c);
}

/* Adds one of the n values of each column. */
static void add_within(size_t columns, const float *restrict a, const float *restrict b,
                       const float *restrict c, const float *restrict d,
                       const float *restrict middle, const float *restrict most,
                       float *restrict of_a, float *restrict of_b, float *restrict of_c,
                       float *restrict of_d)
{
    for (size_t k = 0; k < columns; k++) {
        float off = a[k] - middle[k], in = dwk_max(off, -off) <= most[k] ? 1.0f : 0.0f;
        of_a[k] += in * a[k];
        of_b[k] += in * b[k];
        of_c[k] += in * c[k];
        of_d[k] += in * d[k];
    }
}

static void within(const float *const v[4], size_t columns, size_t n, const float *middle,
                   const float *most, float *const sum[4])
{
    for (size_t c = 0; c < 4; c++)
        memset(sum[c], 0, columns * sizeof *sum[c]);
    for (size_t i = 0; i < n * columns; i += columns)
        add_within(columns, v[0] + i, v[1] + i, v[2] + i, v[3] + i, middle, most, sum[0], sum[1],
                   sum[2], sum[3]);
}

const struct dw_sky_kernels DW_KERNEL(sky) = {rank, within};
