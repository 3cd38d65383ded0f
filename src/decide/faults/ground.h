/* ground.h: which tiles show ground: where detail stands still, as it does in no sky. */
#ifndef DW_DECIDE_FAULTS_GROUND_H
#define DW_DECIDE_FAULTS_GROUND_H

#include "decide/steps.h"

/* log2 of a tile's middle detail over its light; NAN where it is lost in noise or clipped.
 * A tile without light counts as one count. */
float dw_contrast(const struct dw_work *w, size_t shot, int tile);
/* The light that dw_contrast divides by, DN. */
double dw_contrast_light(const struct dw_work *w, size_t shot, int tile);

/* Writes for every tile whether it is ground; contrast: dw_contrast of all, n*tiles. Shots that
 * are not decoded do not count. Returns the number of ground tiles. work: n doubles. */
int dw_find_ground(const struct dw_work *w, const float *contrast, bool *ground, double *work);

#endif
