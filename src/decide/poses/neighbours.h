/* neighbours.h: how far each shot is displaced against the one before it, and what of that is more
 * than chance and wind. */
#ifndef DW_DECIDE_NEIGHBOURS_H
#define DW_DECIDE_NEIGHBOURS_H

#include "decide/poses/ground.h"

/* Cells of 2x2 mosaic pixels: less than a fifth of a pixel is no more than air and wind do. */
#define DW_LEAST_STEP 0.09

struct dw_neighbours {
    struct dw_work *w;
    const struct dw_ground *ground;
    struct dw_shift *step; /* ground->shots + 1, zeroed: per listed shot, from the one before it */
    size_t *doubtful;      /* scratch of the comparing */
};

/* Whether a comparison can be believed. */
bool dw_shift_says(const struct dw_shift *s);
/* Cells; of the frame's middle. */
double dw_shift_length(const struct dw_shift *s);

/* Fills nb->step. One step of the iteration shows where nothing happened, which is nearly
 * everywhere; only the rest is compared in full. Errors: as of dw_ground_compare. */
enum dw_status dw_neighbours_compare(struct dw_neighbours *nb, struct dw_error *err);
/* Whether s, from a shot before it to listed shot i, is more than chance and wind. */
bool dw_neighbours_bumped(const struct dw_neighbours *nb, size_t i, const struct dw_shift *s);

#endif
