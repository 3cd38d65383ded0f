/* bspline.c: see bspline.h. */
#include "decide/solve/bspline.h"

#include <math.h>

struct dw_spline dw_spline_over(double lo, double hi, double step)
{
    double span = fmax(hi - lo, 0);
    double intervals = fmax(1, ceil(span / step - 1e-9));
    struct dw_spline s = {lo, span > 0 ? span / intervals : step, (int)intervals + 3};
    return s;
}

int dw_spline_basis(const struct dw_spline *s, double x, double basis[4])
{
    double u = (x - s->first) / s->step;
    int last = s->n - 4;
    if (!(u > 0))
        u = 0;
    if (u > last + 1)
        u = last + 1;
    int j = (int)u;
    if (j > last)
        j = last;
    u -= j;
    double v = 1 - u;
    basis[0] = v * v * v / 6;
    basis[1] = (3 * u * u * u - 6 * u * u + 4) / 6;
    basis[2] = (3 * v * v * v - 6 * v * v + 4) / 6;
    basis[3] = u * u * u / 6;
    return j;
}

double dw_spline_value(const struct dw_spline *s, const double *coef, double x)
{
    double b[4];
    int j = dw_spline_basis(s, x, b);
    return b[0] * coef[j] + b[1] * coef[j + 1] + b[2] * coef[j + 2] + b[3] * coef[j + 3];
}
