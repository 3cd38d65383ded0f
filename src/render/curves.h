/* curves.h: the tone curves of the two renderings. One family, both pinned to the frame's key:
 *
 *     z(x) = x * ((x + toe) / (1 + toe))^(contrast - 1)      x in keys
 *     y(x) = z / (z + 1/key - 1)
 *
 * y(0) = 0, y(1) = key, y < 1 always, y rises everywhere. In deep shadow y goes straight through
 * zero with slope (toe / (1 + toe))^(contrast - 1) / (1/key - 1), so noise is not amplified and no
 * veil appears; about the key its slope in stops is contrast * (1 - key); high up it rolls off like
 * x / (x + 1) (Reinhard, Stark, Shirley & Ferwerda 2002, ACM Trans. Graphics 21(3) 267, eq. 3). */
#ifndef DW_RENDER_CURVES_H
#define DW_RENDER_CURVES_H

#include "render/kernels/kernels.h"

/* A curve with this contrast (above 1 it falls into shadow faster than light does), pinned to
 * `key`, which is held within 1e-4..0.98. toe, in keys: below it the curve straightens. */
struct dw_tone dw_tone_make(double contrast, double toe, double key, double hue_share);

/* The curve's value by the C library in double precision: what the kernels are tested against. */
double dw_tone_value(const struct dw_tone *t, double x);

#endif
