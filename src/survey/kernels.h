/* kernels.h: the inner loops of the survey's one pass over a mosaic. All work down the columns:
 * a row is added to arrays as long as the row, which are folded into tiles only where a tile
 * ends. So every loop is plain, vectorises as it stands, and gives the same bits with any
 * vector length (sums are integers, or float sums whose order is the order of the rows). */
#ifndef DW_SURVEY_KERNELS_H
#define DW_SURVEY_KERNELS_H

#include <stddef.h>
#include <stdint.h>

#define DW_BITS_BLOCK 16 /* cells of a packed block's side */
#define DW_HIT_RUN 32    /* samples that share one byte of `hit` */

/* Arrays of one function must not overlap. */
struct dw_survey_kernels {
    /* sum[i] += p[i]; high[i] += p[i] >= clip; low[i] += p[i] <= dark[i]. */
    void (*levels)(const uint16_t *p, size_t n, uint16_t clip, const uint16_t *dark, uint32_t *sum,
                   uint16_t *high, uint16_t *low);
    /* Small bright spots, roughly: marks in hit[i / DW_HIT_RUN] whether any sample of the run
     * stands more than limit[i] above the larger of min(up, down) and min(left, right), the
     * neighbours of equal colour `step` samples to the side. Edges and thin lines have a bright
     * neighbour on both sides and are not marked; the caller looks closer at what is. Small dark
     * ones too: so much below the smaller of max(up, down) and max(left, right), and nearer to
     * dark[i] than to that. Looks at step <= i < n - step only. */
    void (*spots)(const uint16_t *up, const uint16_t *p, const uint16_t *down, size_t n,
                  size_t step, const uint16_t *limit, const uint16_t *dark, uint8_t *hit);
    /* Two rows of a Bayer mosaic to n cells of 2x2: green[i] = mean of the two greens.
     * first: column (0 or 1) of the green in the upper row. */
    void (*cells_bayer)(const uint16_t *upper, const uint16_t *lower, size_t n, size_t first,
                        float *green);
    /* The same for a monochrome mosaic: mean of all four. */
    void (*cells_mono)(const uint16_t *upper, const uint16_t *lower, size_t n, float *green);
    /* energy[i] += (mid[i] - mean of its four neighbours)^2 for 1 <= i < n - 1. */
    void (*detail)(const float *up, const float *mid, const float *down, size_t n, float *energy);
    /* Undoes what patch_pack.c makes of a block: `bits` times DW_BITS_BLOCK words of 16 bits, of
     * any alignment, to rows of cells, `stride` apart. above: the row above the block. */
    void (*unpack_block)(const uint16_t *words, int bits, const uint16_t *above, uint16_t *code,
                         size_t stride);
    /* out[i] = a[i] + b[i] + c[i]. */
    void (*add3)(const float *a, const float *b, const float *c, size_t n, float *out);
};

/* The plain build, and the fastest that this machine runs (equal results, bit for bit). */
const struct dw_survey_kernels *dw_survey_kernels_plain(void);
const struct dw_survey_kernels *dw_survey_kernels_best(void);

#endif
