/* whittaker.h: the Whittaker-Eilers smoother on equally spaced values. */
#ifndef DW_DECIDE_WHITTAKER_H
#define DW_DECIDE_WHITTAKER_H

#include <daywheel/base.h>

/* z minimises sum w_i (y_i - z_i)^2 + lambda sum (D^d z)^2, d = 1, 2 or 3; w NULL: all 1; y of
 * weight 0 is not looked at, so it may be NAN. z may be y. Time and memory O(n).
 * Source: Eilers 2003, A Perfect Smoother, Anal. Chem. 75, 3631.
 * Errors: DW_ERR_USAGE (d outside 1..3, lambda < 0), DW_ERR_MEMORY, DW_ERR_NUMERIC (fewer than d
 * values with weight leave the curve undetermined). */
enum dw_status dw_whittaker(const double *y, const double *w, int n, double lambda, int d,
                            double *z);
/* The lambda at which a wave of `period` samples keeps half its height, for order d. */
double dw_whittaker_lambda(double period, int d);

#endif
