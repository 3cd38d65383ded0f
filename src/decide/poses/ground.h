/* ground.h: which blocks of the shots are ground, and comparing two shots by those. */
#ifndef DW_DECIDE_GROUND_H
#define DW_DECIDE_GROUND_H

#include "decide/poses/viewer.h"

/* What registering needs of one shoot. */
struct dw_ground {
    int n; /* blocks; 0: the shoot has no patches */
    struct dw_block_place at[DW_MAX_BLOCKS];
    float weight[DW_MAX_BLOCKS]; /* 0..1: how surely a block is ground */
    bool patch[DW_PATCHES];      /* whether any of its blocks is ground */
    /* A first look is by a few patches, those with the most ground: */
    bool first_patch[DW_PATCHES];
    float first_weight[DW_MAX_BLOCKS]; /* of blocks in others 0 */
    size_t *shot, shots;               /* shots with patches, in order */
};

/* Learns the blocks that look the same a quarter of an hour later: ground does; stars, clouds and
 * people have gone. Leaves n = 0 when fewer than a handful are ground. */
enum dw_status dw_ground_learn(struct dw_work *w, struct dw_ground *g, struct dw_error *err);
/* Displacement from shot a to shot b, from nothing. Errors: DW_ERR_MEMORY, DW_ERR_IO,
 * DW_ERR_FORMAT. */
enum dw_status dw_ground_compare(const struct dw_work *w, const struct dw_ground *g,
                                 struct dw_viewer *v, size_t a, size_t b, struct dw_shift *out,
                                 struct dw_error *err);

#endif
