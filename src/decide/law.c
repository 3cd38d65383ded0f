/* law.c: the law of light against sun altitude, from the light found so far. What it is for decides
 * how it is fitted: it takes off the bends of light that every dusk and dawn have, so it is fitted
 * to the bends (third differences, in their own weights, which weather has already lost). Fitted to
 * the light itself, one foggy morning would leave a dent that the next clear one pays for. The
 * light's level and slope, which no bend tells, come from the light, loosely. */
#include "decide/share.h"

#include <lapacke.h>
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

bool dw_law_of_light(const struct dw_law_of_light *l, const struct dw_spline *law, double *coef,
                     double *normal)
{
    int n = law->n;
    memset(normal, 0, (size_t)n * (size_t)n * sizeof(double));
    memset(coef, 0, (size_t)n * sizeof(double));
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
    const double d[4] = {-1, 3, -3, 1};
    double prior = 1e-3 * loose * (double)l->n / n;
    for (int i = 0; i + 3 < n; i++)
        for (int p = 0; p < 4; p++)
            for (int q = 0; q < 4; q++)
                normal[(i + p) * n + i + q] += prior * d[p] * d[q];
    for (int i = 0; i < n; i++)
        normal[i * n + i] += 1e-9 * loose * (double)l->n;
    return LAPACKE_dposv(LAPACK_ROW_MAJOR, 'L', n, 1, normal, n, coef, 1) == 0;
}
