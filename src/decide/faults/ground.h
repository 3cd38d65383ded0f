/* ground.h: which tiles show ground: where detail stands still, as it does in no sky. */
#ifndef DW_DECIDE_FAULTS_GROUND_H
#define DW_DECIDE_FAULTS_GROUND_H

#include "decide/steps.h"

/* Fills w->contrast, if it is not: log2 of each tile's middle detail over its light; NAN where it
 * is lost in noise or clipped. A tile without light counts as one count. Errors: DW_ERR_MEMORY,
 * DW_ERR_INTERRUPTED. */
enum dw_status dw_contrasts(struct dw_work *w, struct dw_error *err);
/* The light that these divide by, DN. */
double dw_contrast_light(const struct dw_work *w, size_t shot, int tile);

/* Writes for every tile whether it is ground, by w->contrast. Shots that are not decoded do not
 * count. Returns the number of ground tiles. work: n doubles. */
int dw_find_ground(const struct dw_work *w, bool *ground, double *work);

#endif
