/* law.c: the law of light against sun altitude, from the light found so far. What it is for decides
 * how it is fitted: it takes off the bends of light that every dusk and dawn have, so it is fitted
 * to the bends (third differences, in their own weights, which weather has already lost). Fitted to
 * the light itself, one foggy morning would leave a dent that the next clear one pays for. The
 * light's level and slope, which no bend tells, come from the light, loosely. */
#include "decide/share.h"

#include <lapacke.h>
#include <math.h>
#include <string.h>

/* One row of the fit: which coefficients it meets, and how much. */
struct row {
    int n, at[16];
    double value[16];
};

static void add_to_row(struct row *r, const struct dw_spline *law, double alt, double factor)
{
    double b[4];
    int first = dw_spline_basis(law, alt, b);
    for (int p = 0; p < 4; p++) {
        r->at[r->n] = first + p;
        r->value[r->n++] = factor * b[p];
    }
}

static void add_row(const struct row *r, double weight, double value, int n, double *normal,
                    double *rhs)
{
    for (int p = 0; p < r->n; p++) {
        for (int q = 0; q < r->n; q++)
            normal[r->at[p] * n + r->at[q]] += weight * r->value[p] * r->value[q];
        rhs[r->at[p]] += weight * r->value[p] * value;
    }
}

/* Stops per degree. A law that slopes by less bends by less: by day and by night what looks like
 * its bend is weather, or a wave between light and the settings' offsets. */
#define FULL_SLOPE 0.3
#define LEAST_PART 0.05 /* of the bend of a law that slopes so, on flat light */

/* What is believed of the law before the light is looked at: its third derivative is about
 * l->bend where it slopes, less where it hardly does. coef: of the law as known so far; NULL:
 * nothing is known, it may slope everywhere. */
static void add_prior(const struct dw_law_of_light *l, const struct dw_spline *law,
                      const double *coef, double *normal)
{
    const double d[4] = {-1, 3, -3, 1};
    for (int i = 0; i + 3 < law->n; i++) {
        double slope = coef ? fabs(coef[i + 2] - coef[i + 1]) / law->step : FULL_SLOPE;
        double part = fmin(fmax(slope / FULL_SLOPE, LEAST_PART), 1);
        double bend = l->bend * part * pow(law->step, 3);
        for (int p = 0; p < 4; p++)
            for (int q = 0; q < 4; q++)
                normal[(i + p) * law->n + i + q] += d[p] * d[q] / (bend * bend);
    }
}

static void add_light(const struct dw_law_of_light *l, const struct dw_spline *law, double *coef,
                      double *normal)
{
    int n = law->n;
    double loose = 1 / (l->level * l->level);
    for (size_t i = 0; i < l->n; i++) {
        struct row level = {0}, bend = {0};
        add_to_row(&level, law, l->alt[i], 1);
        add_row(&level, loose, l->light[i], n, normal, coef);
        if (i + 3 >= l->n)
            continue;
        double w[4], value = 0;
        dw_third_difference(l->time + i, l->unit_s, w);
        for (size_t p = 0; p < 4; p++) {
            add_to_row(&bend, law, l->alt[i + p], w[p]);
            value += w[p] * l->light[i + p];
        }
        add_row(&bend, l->stiff[i], value, n, normal, coef);
    }
    for (int i = 0; i < n; i++)
        normal[i * n + i] += 1e-6 * loose * (double)l->n; /* where no shot was */
}

bool dw_law_of_light(const struct dw_law_of_light *l, const struct dw_spline *law, double *coef,
                     double *room)
{
    size_t n = (size_t)law->n, square = n * n;
    double *normal = room, *with_prior = room + square, *right = with_prior + square;
    memset(room, 0, (2 * square + n) * sizeof *room);
    add_light(l, law, right, normal);
    for (int round = 0; round < 2; round++) {
        memcpy(with_prior, normal, square * sizeof *normal);
        add_prior(l, law, round ? coef : NULL, with_prior);
        memcpy(coef, right, n * sizeof *coef);
        if (LAPACKE_dposv(LAPACK_ROW_MAJOR, 'L', law->n, 1, with_prior, law->n, coef, 1))
            return false;
    }
    return true;
}
