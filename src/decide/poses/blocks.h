/* blocks.h: how far the content of one block moved between two views, by least squares on
 * gradients (Lucas & Kanade 1981, IJCAI, 674-679), with the change of brightness left free. */
#ifndef DW_DECIDE_BLOCKS_H
#define DW_DECIDE_BLOCKS_H

#include "decide/poses/views.h"

struct dw_block {
    double x, y;          /* displacement from a to b, cells; x right, y down */
    double ixx, ixy, iyy; /* its information: inverse of the covariance, cells^-2, photon noise
                           * and misfit alike; 0 when nothing can be said */
    double alike;         /* correlation of the block in a and where the start says it is in b */
    double left;          /* the share of b's variance that a does not explain there */
};

/* Starts from displacement (x, y) and makes one step of the iteration. block: index in the patch,
 * row by row. a, b: band of the same patch in two shots. */
void dw_block_step(const float *a, const float *b, int block, double x, double y,
                   struct dw_block *out);

#endif
