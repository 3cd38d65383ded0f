/* kernels.c: see kernels.h. Compiled twice: plainly, and with DW_WIDE for machines with AVX2. */
#include "survey/kernels.h"

#include <stdbool.h>

static void levels(const uint16_t *restrict p, size_t n, uint16_t clip,
                   const uint16_t *restrict dark, uint32_t *restrict sum, uint16_t *restrict high,
                   uint16_t *restrict low)
{
    for (size_t i = 0; i < n; i++)
        sum[i] += p[i];
    for (size_t i = 0; i < n; i++) {
        high[i] = (uint16_t)(high[i] + (p[i] >= clip));
        low[i] = (uint16_t)(low[i] + (p[i] <= dark[i]));
    }
}

static inline uint16_t smaller(uint16_t a, uint16_t b)
{
    return a < b ? a : b;
}

static inline uint16_t larger(uint16_t a, uint16_t b)
{
    return a > b ? a : b;
}

/* Nonzero if sample i stands out; written without a branch. */
static inline uint16_t stands_out(const uint16_t *up, const uint16_t *p, const uint16_t *down,
                                  size_t i, size_t step, uint16_t limit, uint16_t dark)
{
    uint16_t base = larger(smaller(up[i], down[i]), smaller(p[i - step], p[i + step]));
    uint16_t over = (uint16_t)(larger(p[i], base) - base);
    uint16_t top = smaller(larger(up[i], down[i]), larger(p[i - step], p[i + step]));
    uint16_t below = (uint16_t)(larger(p[i], top) - p[i]),
             left = (uint16_t)(larger(p[i], dark) - dark);
    return (uint16_t)((over > limit) | ((below > limit) & (below > left)));
}

static void spots(const uint16_t *restrict up, const uint16_t *restrict p,
                  const uint16_t *restrict down, size_t n, size_t step,
                  const uint16_t *restrict limit, const uint16_t *restrict dark,
                  uint8_t *restrict hit)
{
    for (size_t start = 0; start < n; start += DW_HIT_RUN) {
        size_t end = start + DW_HIT_RUN;
        uint16_t any = 0;
        if (start >= step && end + step <= n) {
            for (size_t k = 0; k < DW_HIT_RUN; k++) /* the common run: a fixed length */
                any |= stands_out(up, p, down, start + k, step, limit[start + k], dark[start + k]);
        } else {
            size_t from = start > step ? start : step, to = end + step < n ? end : n - step;
            for (size_t i = from; n > step && i < to; i++)
                any |= stands_out(up, p, down, i, step, limit[i], dark[i]);
        }
        hit[start / DW_HIT_RUN] = (uint8_t)any;
    }
}

static void cells_bayer(const uint16_t *restrict upper, const uint16_t *restrict lower, size_t n,
                        size_t first, float *restrict green)
{
    const uint16_t *a = upper + first, *b = lower + (1 - first);
    for (size_t i = 0; i < n; i++)
        green[i] = 0.5f * (float)((int32_t)a[2 * i] + (int32_t)b[2 * i]);
}

static void cells_mono(const uint16_t *restrict upper, const uint16_t *restrict lower, size_t n,
                       float *restrict green)
{
    for (size_t i = 0; i < n; i++) {
        int32_t above = upper[2 * i] + upper[2 * i + 1], below = lower[2 * i] + lower[2 * i + 1];
        green[i] = 0.25f * (float)(above + below);
    }
}

static void detail(const float *restrict up, const float *restrict mid, const float *restrict down,
                   size_t n, float *restrict energy)
{
    for (size_t i = 1; i + 1 < n; i++) {
        float e = mid[i] - 0.25f * ((up[i] + down[i]) + (mid[i - 1] + mid[i + 1]));
        energy[i] += e * e;
    }
}

/* Folded differences of one row, added to the row above. */
static inline uint16_t unfold(uint16_t above, uint16_t v)
{
    return (uint16_t)(above + ((v >> 1) ^ (0 - (v & 1))));
}

/* A row that begins with its words. */
static inline void unpack_first(const uint16_t *restrict low, uint16_t mask,
                                const uint16_t *restrict above, uint16_t *restrict code)
{
    for (int x = 0; x < DW_BITS_BLOCK; x++)
        code[x] = unfold(above[x], low[x] & mask);
}

/* One that begins at bit `shift` > 0 of them, and may go on in the words of `high`. Shifts as
 * products with 2^(16-shift), one for each cell: so they stay words of 16 bits for a processor. */
static inline void unpack_row(const uint16_t *restrict low, const uint16_t *restrict high,
                              unsigned shift, uint16_t mask, const uint16_t *restrict above,
                              uint16_t *restrict code)
{
    uint16_t up[DW_BITS_BLOCK];
    for (int x = 0; x < DW_BITS_BLOCK; x++)
        up[x] = (uint16_t)(1u << (DW_BITS_BLOCK - shift));
    for (int x = 0; x < DW_BITS_BLOCK; x++) {
        uint16_t begin = (uint16_t)((uint32_t)low[x] * up[x] >> 16);
        uint16_t rest = (uint16_t)((uint32_t)high[x] * up[x]);
        code[x] = unfold(above[x], (begin | rest) & mask);
    }
}

static void unpack_block(const uint16_t *words, int bits, const uint16_t *above, uint16_t *code,
                         size_t stride)
{
    static const uint16_t nothing[DW_BITS_BLOCK] = {0};
    const unsigned side = DW_BITS_BLOCK, each = (unsigned)bits;
    const uint16_t mask = (uint16_t)((1u << each) - 1);
    for (unsigned y = 0; y < side; y++, above = code, code += stride) {
        unsigned shift = y * each % side;
        const uint16_t *low = words + (size_t)(y * each / side) * side;
        if (shift == 0)
            unpack_first(bits > 0 ? low : nothing, mask, above, code);
        else
            unpack_row(low, shift + each > side ? low + side : nothing, shift, mask, above, code);
    }
}

static void add3(const float *restrict a, const float *restrict b, const float *restrict c,
                 size_t n, float *restrict out)
{
    for (size_t i = 0; i < n; i++)
        out[i] = (a[i] + b[i]) + c[i];
}

#ifdef DW_WIDE
const struct dw_survey_kernels dw_survey_kernels_wide;
const struct dw_survey_kernels dw_survey_kernels_wide = {
    levels, spots, cells_bayer, cells_mono, detail, unpack_block, add3};
#else
#ifdef DW_HAVE_WIDE
extern const struct dw_survey_kernels dw_survey_kernels_wide;
#endif

static const struct dw_survey_kernels plain = {levels, spots,        cells_bayer, cells_mono,
                                               detail, unpack_block, add3};

const struct dw_survey_kernels *dw_survey_kernels_plain(void)
{
    return &plain;
}

const struct dw_survey_kernels *dw_survey_kernels_best(void)
{
#ifdef DW_HAVE_WIDE
    if (__builtin_cpu_supports("avx2"))
        return &dw_survey_kernels_wide;
#endif
    return &plain;
}
#endif
