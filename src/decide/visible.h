/* visible.h: how much flicker the eye sees in a sequence that is played at a steady rate. */
#ifndef DW_DECIDE_VISIBLE_H
#define DW_DECIDE_VISIBLE_H

/* Sensitivity of the eye (1 / amplitude of the contrast that is just seen) to a large bright field
 * that flickers at `hz` > 0. area_deg: side of the field; luminance: cd/m^2.
 *
 * Barten 1999, "Contrast sensitivity of the human eye and its effects on image quality" (SPIE
 * Press), the spatio-temporal formula at spatial frequency 0, binocular eyes; constants from
 * memory. */
double dw_flicker_sensitivity(double hz, double area_deg, double luminance);

/* The standard deviation, in stops, of independent errors from frame to frame that is just seen
 * when so many frames a second are shown: 0.002 at 30, which was reckoned with a model for large
 * fields (elaTCSF, Cai et al. 2024, SIGGRAPH Asia; the value is taken over, not reckoned again).
 * Other rates follow by the formula above: independent errors hold equal power at all frequencies
 * from 0 to half the rate, and power weighted by sensitivity squared adds up. */
double dw_flicker_threshold(double fps);

#endif
