/* kernels.h: the inner loops of views and blocks. Compiled twice, as they stand and for machines
 * with AVX2, with equal bits: filters work in whole numbers, and sums of real ones keep their order
 * with any length of vector. */
#ifndef DW_DECIDE_POSES_KERNELS_H
#define DW_DECIDE_POSES_KERNELS_H

#include "decide/poses/views.h"

#include <stddef.h>
#include <stdint.h>

#define DW_LOCAL_WIDE 6 /* the local mean is over 2*DW_LOCAL_WIDE+1 cells, at the border fewer */

/* Scratch for one patch. */
struct dw_band_work {
    uint16_t clipped[DW_PATCH_CELLS];
    uint16_t half[DW_PATCH_CELLS + 4];  /* half smoothed: down alone; rows are read on */
    int32_t smooth[DW_PATCH_CELLS + 4]; /* across too; rows are written on */
    int32_t three[DW_PATCH_CELLS], across[DW_PATCH_CELLS]; /* sums along rows */
};

/* Sums over a block. a: the earlier view, b: the later one where a is thought to
 * have gone, x, y: a's gradients. */
enum dw_block_sum {
    DW_SUM_AA,
    DW_SUM_AX,
    DW_SUM_AY,
    DW_SUM_XX,
    DW_SUM_XY,
    DW_SUM_YY,
    DW_SUM_BA,
    DW_SUM_BX,
    DW_SUM_BY,
    DW_SUM_BB,
    DW_BLOCK_SUMS
};

/* So many lines are transformed side by side: each step is then a loop over them, which a processor
 * takes several at a time, and they stay in the first cache throughout. */
#define DW_FOURIER_LINES 8

struct dw_pose_kernels {
    /* A patch's codes (DW_PATCH_CELLS, none above DW_PATCH_MOST) to its band, in units of the root:
     * spots clipped, smoothed, the mean of the surroundings off. */
    void (*band)(const uint16_t *code, struct dw_band_work *work, float *band);
    /* Sums down the columns of a row of blocks: of codes, and of squares of the band. */
    void (*columns)(const uint16_t *code, const float *band, uint32_t light[DW_PATCH_SIDE],
                    float square[DW_PATCH_SIDE]);
    /* `rows` rows of n cells (at most DW_BLOCK_SIDE). a: rows of DW_PATCH_SIDE, with a cell more on
     * every side; b: rows b_stride apart. */
    void (*sums)(const float *a, const float *b, size_t b_stride, int n, int rows,
                 double sum[DW_BLOCK_SUMS]);
    /* Fourier transforms of DW_FOURIER_LINES lines of n complex numbers: see fourier.c. */
    void (*lines)(const double *turn, size_t n, double *z, bool back);
};

/* The plain build, and the fastest that this machine runs (equal results, bit for bit). */
const struct dw_pose_kernels *dw_pose_kernels_plain(void);
const struct dw_pose_kernels *dw_pose_kernels_best(void);

#endif
