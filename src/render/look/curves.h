/* curves.h: the tone curves of the two renderings. One family, both pinned to the frame's key:
 *
 *     z(x) = x * ((x + toe) / (1 + toe))^(contrast - 1) * o(x)      x in keys
 *     o(x) = (x + (1 + opened) * below) / (x + below), divided by o(1)
 *     y(x) = z / (z + 1/key - 1)
 *
 * y(0) = 0, y(1) = key, y < 1 always, y rises everywhere. In deep shadow y goes straight through
 * zero with slope (toe / (1 + toe))^(contrast - 1) * o(0) / (1/key - 1): shadows keep their
 * contrast and no veil appears; about the key its slope in stops is contrast * (1 - key); high up
 * it rolls off like x / (x + 1) (Reinhard, Stark, Shirley & Ferwerda 2002, ACM Trans. Graphics
 * 21(3) 267, eq. 3). */
#ifndef DW_RENDER_CURVES_H
#define DW_RENDER_CURVES_H

#include "render/kernels/kernels.h"

/* How shadows come out. */
struct dw_shadows {
    double toe;    /* keys: below it the curve straightens */
    double opened; /* by so much more the darkest are shown, as a share of what they would be */
    double below;  /* keys: half of that at about this */
};

/* A curve with this contrast (above 1 it falls into shadow faster than light does), pinned to
 * `key`, which is held within 1e-4..0.98. */
struct dw_tone dw_tone_make(double contrast, const struct dw_shadows *shadows, double key,
                            double hue_share);

/* The curve's value by the C library in double precision: what the kernels are tested against. */
double dw_tone_value(const struct dw_tone *t, double x);

#endif
