/* robust.c: see robust.h. */
#include "base/robust.h"

#include <math.h>

/* Hoare's selection: afterwards v[k] is the k-th smallest, smaller ones before it. */
static void select_kth(double *v, size_t n, size_t k)
{
    size_t lo = 0, hi = n - 1;
    while (lo < hi) {
        double a = v[lo], b = v[lo + (hi - lo) / 2], c = v[hi];
        double pivot = fmax(fmin(a, b), fmin(fmax(a, b), c));
        size_t i = lo, j = hi;
        for (;;) {
            while (v[i] < pivot)
                i++;
            while (v[j] > pivot)
                j--;
            if (i >= j)
                break;
            double t = v[i];
            v[i] = v[j];
            v[j] = t;
            i++;
            j--;
        }
        /* v[lo..j] <= pivot <= v[j+1..hi] */
        if (k <= j)
            hi = j;
        else
            lo = j + 1;
    }
}

double dw_quantile(double *v, size_t n, double q)
{
    if (n == 0)
        return (double)NAN;
    double h = (double)(n - 1) * fmin(fmax(q, 0), 1);
    size_t k = (size_t)h;
    double part = h - (double)k;
    select_kth(v, n, k);
    double low = v[k];
    if (part <= 0 || k + 1 >= n)
        return low;
    double next = v[k + 1];
    for (size_t i = k + 2; i < n; i++)
        next = v[i] < next ? v[i] : next; /* fmin would be a call for each */
    return low + part * (next - low);
}

double dw_median(double *v, size_t n)
{
    return dw_quantile(v, n, 0.5);
}

double dw_mad_sigma(const double *v, size_t n, double centre, double *work)
{
    for (size_t i = 0; i < n; i++)
        work[i] = fabs(v[i] - centre);
    return DW_MAD_TO_SIGMA * dw_median(work, n);
}

double dw_tukey_weight(double x, double c)
{
    double u = x / c;
    if (!(fabs(u) < 1))
        return 0;
    double w = 1 - u * u;
    return w * w;
}
