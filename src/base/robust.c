/* robust.c: see robust.h. */
#include "base/robust.h"

#include <math.h>

/* A value that about as many as k of the n values lie below: of a small, sorted sample. */
static double pivot_for(const double *v, size_t n, size_t k)
{
    enum { MOST = 9 };
    size_t m = n > 64 ? MOST : 3;
    double sample[MOST] = {0};
    for (size_t i = 0; i < m; i++) {
        double x = v[(2 * i + 1) * n / (2 * m)];
        size_t at = i;
        for (; at > 0 && sample[at - 1] > x; at--)
            sample[at] = sample[at - 1];
        sample[at] = x;
    }
    return sample[m * k / n];
}

/* Selection: afterwards v[k] is the k-th smallest, smaller ones before it. Returns where the search
 * for the next one behind it can end: what stands from there on is no smaller. The partition does
 * not branch on what it compares (Lomuto's scheme, every element moved): the order of data is
 * chance, and a branch on chance costs more than a move. */
static size_t select_kth(double *v, size_t n, size_t k)
{
    size_t lo = 0, hi = n, end = n; /* v[k] lies in lo..hi-1 */
    while (hi - lo > 1) {
        double pivot = pivot_for(v + lo, hi - lo, k - lo);
        if (isnan(pivot)) /* has no place in any order, and must not be sought for ever */
            return end;
        size_t first = lo; /* of those that are not smaller than the pivot */
        for (size_t i = lo; i < hi; i++) {
            double x = v[i];
            v[i] = v[first];
            v[first] = x;
            first += x < pivot;
        }
        if (k < first) {
            hi = first;
            end = hi > k + 1 ? hi : end;
            continue;
        }
        if (first > lo) {
            lo = first;
            continue;
        }
        /* the pivot is the smallest: what equals it goes to the front */
        for (size_t i = lo; i < hi; i++) {
            double x = v[i];
            v[i] = v[first];
            v[first] = x;
            first += x <= pivot;
        }
        if (k < first)
            return end;
        lo = first;
    }
    return end;
}

double dw_quantile(double *v, size_t n, double q)
{
    if (n == 0)
        return (double)NAN;
    double h = (double)(n - 1) * fmin(fmax(q, 0), 1);
    size_t k = (size_t)h;
    double part = h - (double)k;
    size_t end = select_kth(v, n, k);
    double low = v[k];
    if (part <= 0 || k + 1 >= n)
        return low;
    double next = v[k + 1];
    for (size_t i = k + 2; i < end; i++)
        next = v[i] < next ? v[i] : next; /* fmin would be a call for each */
    return low + part * (next - low);
}

double dw_median(double *v, size_t n)
{
    return dw_quantile(v, n, 0.5);
}

double dw_lower_quartile(const double *v, size_t n, double *work)
{
    size_t known = 0;
    for (size_t i = 0; i < n; i++)
        if (isfinite(v[i]))
            work[known++] = v[i];
    return known ? dw_quantile(work, known, 0.25) : 0;
}

double dw_mad_sigma(const double *v, size_t n, double centre, double *work)
{
    for (size_t i = 0; i < n; i++)
        work[i] = fabs(v[i] - centre);
    return DW_MAD_TO_SIGMA * dw_median(work, n);
}
