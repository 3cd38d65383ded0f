/* star_width.h: how wide the bright stars of a shot are, from each one's height and that of the
 * pixels of the same colour about it. */
#ifndef DW_DECIDE_FAULTS_STAR_WIDTH_H
#define DW_DECIDE_FAULTS_STAR_WIDTH_H

#include <daywheel/survey.h>

enum { DW_PHASES = 36 }; /* places in a mosaic's pattern, whose period is 1, 2 or 6 */

struct dw_pattern {
    int colour[DW_PHASES]; /* 0 red, 1 green, 2 blue */
};

/* How far one shot's tile means lie from what surrounds its spots, by place and colour, DN. */
struct dw_pattern_sums {
    double off[DW_PHASES][3];
};
/* Adds a shot's bright spots. */
void dw_pattern_add(const struct dw_survey *survey, size_t shot, const struct dw_spike *spike,
                    struct dw_pattern_sums *sums);
/* Which colour the pixels of each place have: the one whose tile means lie nearest in all n shots.
 * Where two colours are as bright as each other it does not matter. */
struct dw_pattern dw_pattern_of(const struct dw_pattern_sums *sums, size_t n);

/* Middle variance of the shape of shot i's bright stars, as of a Gaussian, mosaic px^2; NAN if they
 * are too few. star: all n that were seen; work: room for n. */
double dw_star_variance(const struct dw_pattern *pattern, const struct dw_survey *survey, size_t i,
                        const struct dw_spike *const *star, size_t n, double *work);

#endif
