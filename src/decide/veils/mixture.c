/* mixture.c: see mixture.h. */
#include "decide/veils/mixture.h"

#include <lapacke.h>
#include <math.h>
#include <string.h>

#define LN2 0.69314718055994530942
#define MOST_CHANGE 4.0 /* times, of 1 / light in one go */
#define ROUNDS 30       /* of a first guess, */
#define SETTLED 1e-3    /* or until no factor moves by more */

double dw_mixture_share(const struct dw_mixture *m, size_t i)
{
    size_t before = i, after = m->n - 2 - i, near = before < after ? before : after;
    if (near >= DW_MIXTURE_TAPER)
        return 1;
    return 0.5 - 0.5 * cos(3.14159265358979323846 * ((double)near + 0.5) / DW_MIXTURE_TAPER);
}

/* 1 / light at shot i of the spell. */
static double inverse(const struct dw_mixture *m, const double factor[DW_MIXTURE_PARTS], size_t i)
{
    double sum = 1;
    for (int p = 0; p < DW_MIXTURE_PARTS; p++)
        sum += LN2 * factor[p] * m->part[p][i];
    return sum;
}

/* From values that go on from shot to shot to such whose steps count by their share. */
static void fade_steps(const struct dw_mixture *m, double *x)
{
    double was = x[0];
    x[0] = 0;
    for (size_t i = 1; i < m->n; i++) {
        double step = x[i] - was;
        was = x[i];
        x[i] = x[i - 1] + dw_mixture_share(m, i - 1) * step;
    }
}

void dw_mixture_at(const struct dw_mixture *m, const double factor[DW_MIXTURE_PARTS], double *fixed,
                   double *const course[DW_MIXTURE_PARTS])
{
    for (size_t i = 0; i < m->n; i++) {
        double u = inverse(m, factor, i);
        fixed[i] = -log2(u);
        for (int p = 0; p < DW_MIXTURE_PARTS; p++) {
            course[p][i] = -m->part[p][i] / u;
            fixed[i] -= factor[p] * course[p][i];
        }
    }
    fade_steps(m, fixed);
    for (int p = 0; p < DW_MIXTURE_PARTS; p++)
        fade_steps(m, course[p]);
}

double dw_mixture_way(const struct dw_mixture *m, const double from[DW_MIXTURE_PARTS],
                      const double to[DW_MIXTURE_PARTS])
{
    double way = 1;
    for (size_t i = 0; i < m->n; i++) {
        double here = inverse(m, from, i), there = inverse(m, to, i);
        if (there < here / MOST_CHANGE)
            way = fmin(way, here * (1 - 1 / MOST_CHANGE) / (here - there));
    }
    return way;
}

/* Gauss's and Newton's steps, each as far as light stays finite. */
bool dw_mixture_guess(const struct dw_mixture *m, const double *light, const double *time,
                      double *work, double factor[DW_MIXTURE_PARTS])
{
    enum { PARTS = DW_MIXTURE_PARTS, UNKNOWNS = PARTS + 3 };
    size_t n = m->n;
    double *a = work, *right = work + n * UNKNOWNS, moved = INFINITY;
    memset(factor, 0, PARTS * sizeof *factor);
    for (int round = 0; round < ROUNDS && moved > SETTLED; round++) {
        for (size_t i = 0; i < n; i++) {
            double u = inverse(m, factor, i);
            double t = (time[i] - time[0]) / (time[n - 1] - time[0]) - 0.5;
            right[i] = light[i] + log2(u);
            for (size_t p = 0; p < PARTS; p++)
                a[p * n + i] = -m->part[p][i] / u;
            a[PARTS * n + i] = 1;
            a[(PARTS + 1) * n + i] = t;
            a[(PARTS + 2) * n + i] = t * t;
        }
        if (LAPACKE_dgels(LAPACK_COL_MAJOR, 'N', (int)n, UNKNOWNS, 1, a, (int)n, right, (int)n) !=
            0)
            return false;
        double to[PARTS], way;
        for (int p = 0; p < PARTS; p++)
            to[p] = factor[p] + right[p];
        way = dw_mixture_way(m, factor, to);
        moved = 0;
        for (int p = 0; p < PARTS; p++) {
            moved = fmax(moved, fabs(way * right[p]));
            factor[p] += way * right[p];
        }
    }
    return isfinite(moved);
}
