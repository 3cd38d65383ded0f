/* region_light.h: the light of the picture's regions while fog or cloud passes. */
#ifndef DW_DECIDE_REGION_LIGHT_H
#define DW_DECIDE_REGION_LIGHT_H

#include "decide/compare/pairs.h"

/* Light of each region over shots first .. first+n-1 (more than three), times a number of its own
 * that brings its logarithms' mean to 0: 2^common[i] * light of shot first + i, exposure errors in
 * the former alone (the mean logarithm of all tiles that are known all through). Linear means over
 * such tiles, so that what is a mixture stays one; a tile that leaps for a shot or two (a bird)
 * shows the middle of the five about instead, and what a lamp did in one step is taken off. None is
 * known where many leap at once, as headlights pass.
 * black: how far that of every shot of grids is off, DN. light: n values a region that is known, of
 * which there are as many as returned; var: of its logarithm by noise, stops^2. work: n values for
 * each region of the picture, three at least. */
size_t dw_region_light(const struct dw_grids *grids, const double *black, size_t first, size_t n,
                       double *common, double *light, double *var, double *work);

#endif
