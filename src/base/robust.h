/* robust.h: medians and robust means, the statistics that several stages share. */
#ifndef DW_BASE_ROBUST_H
#define DW_BASE_ROBUST_H

#include <stddef.h>

/* sigma of a normal distribution = this * its median absolute deviation: 1/Phi^-1(3/4). */
#define DW_MAD_TO_SIGMA 1.482602218505602

/* The q-quantile (0..1) of n values, linear between ranks (type 7 of Hyndman & Fan 1996, The
 * American Statistician 50, 361); reorders v. NAN for n = 0. Expected time O(n). */
double dw_quantile(double *v, size_t n, double q);
/* dw_quantile at one half: the middle value, or the mean of the two. */
double dw_median(double *v, size_t n);
/* The lower quartile of those of n values that are finite; 0 of none. work: n doubles. */
double dw_lower_quartile(const double *v, size_t n, double *work);
/* Median absolute deviation about `centre`, times DW_MAD_TO_SIGMA. work: n doubles. */
double dw_mad_sigma(const double *v, size_t n, double centre, double *work);
/* Tukey's biweight of x with tuning constant c (4.685 for 95 % efficiency at the normal;
 * Beaton & Tukey 1974): (1-(x/c)^2)^2 inside, 0 outside. */
static inline double dw_tukey_weight(double x, double c)
{
    double u = x / c, w = 1 - u * u;
    return u > -1 && u < 1 ? w * w : 0;
}

#endif
