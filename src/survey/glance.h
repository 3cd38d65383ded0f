/* glance.h: a look at a few hundred places of every tile, before the whole pass: how light it is
 * and how much a sample scatters there. */
#ifndef DW_SURVEY_GLANCE_H
#define DW_SURVEY_GLANCE_H

#include "survey/layout.h"

struct dw_glance {
    double mean[3];   /* DN, per colour; NAN without samples */
    double noise_var; /* DN^2 of one green sample, from differences of neighbouring greens; NAN
                         where there are too few */
    double noise_rel; /* its relative standard deviation */
    double light;   /* DN, median of the greens: what the noise belongs to where a tile is mixed */
    double scatter; /* DN, of the greens themselves: noise and structure of most of the tile */
    double high;    /* share of the samples looked at that reach `clip` */
};

/* Fills out[rows * cols]. */
void dw_glance(const struct dw_layout *l, const struct dw_mosaic *m, uint16_t clip,
               struct dw_glance *out);

/* Median and standard deviation of whole numbers from their quartiles (half the distance /
 * 0.6745), each number k spread evenly over k - 1/2 to k + 1/2 so that a scatter of one count is
 * still told (6 % too large there). Nearly half the numbers may be anything, as long as they fall
 * to both sides. about: a number not far from the median, for speed. False for n = 0. */
bool dw_quartiles(const int32_t *v, size_t n, int32_t about, double *median, double *sigma);

#endif
