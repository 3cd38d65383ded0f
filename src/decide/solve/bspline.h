/* bspline.h: cubic B-splines on uniform knots, the curve behind the law of light and its drift.
 * Two continuous derivatives, so that nothing in a gain jumps, nor its slope. */
#ifndef DW_DECIDE_BSPLINE_H
#define DW_DECIDE_BSPLINE_H

/* Source: de Boor, A Practical Guide to Splines (1978); uniform cubic case. */
struct dw_spline {
    double first, step; /* start of the first knot interval, knot spacing (> 0) */
    int n;              /* coefficients, >= 4; the curve is defined over n-3 intervals */
};

/* A spline that covers lo..hi with intervals of at most `step`, at least one of them. */
struct dw_spline dw_spline_over(double lo, double hi, double step);
/* The four basis values at x, clamped into the spline's range; returns the index of the first
 * coefficient that they belong to. */
int dw_spline_basis(const struct dw_spline *s, double x, double basis[4]);
double dw_spline_value(const struct dw_spline *s, const double *coef, double x);

#endif
