/*
 * trails.h - drawing stars.
 */
#ifndef DWI_TRAILS_H
#define DWI_TRAILS_H

#include "grid.h"

/** Adds one point source: flux (lux in camera red green blue) spread over the star image about
 *  (x, y), in shifted mosaic pixels, hidden by the ground. */
void dwi_draw_point(const struct dwi_stage *st, const struct dwi_shot *shot, float *light, double x,
                    double y, const double flux[3], double solid_angle);

/** Adds all stars of a shot, trailed from its beginning to its end. */
void dwi_draw_stars(const struct dwi_stage *st, const struct dwi_shot *shot,
                    const struct dwi_grid *g, float *light);

#endif
