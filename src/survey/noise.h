/* noise.h: the noise of one frame, learnt from the frame itself: variance of a sample against
 * the light that fell on it, a straight line (read noise, then photon noise). */
#ifndef DW_SURVEY_NOISE_H
#define DW_SURVEY_NOISE_H

#include <stddef.h>

struct dw_noise {
    double read_var; /* DN^2 at no light (the stated black), >= 0; can be far off where no
                        tile of the frame is dark, the line is right where its tiles are */
    double photon;   /* DN^2 per DN of light, >= 0 */
    double floor;    /* DN^2: least variance, that of rounding to whole counts */
    double rel;      /* relative standard deviation of the line where the tiles are */
};

/* One tile: its light (mean - black, DN), the variance of a sample there (DN^2), and how well
 * that is known (relative standard deviation). Texture can only make the variance larger. */
struct dw_noise_point {
    double light, var, rel;
};

/* Finds the line that most tiles lie on and hardly any lies below: tiles with texture lie above
 * it and do not count. Deterministic; reorders the points. Without points: the floor. */
struct dw_noise dw_noise_fit(struct dw_noise_point *points, size_t n);

/* Variance of one sample at this much light, DN^2. */
double dw_noise_var(const struct dw_noise *noise, double light);

#endif
