/* gaps.c: a first look at which tiles are open in which shots: they have the light, or the contrast
 * with the tiles beside them, that most shots about have. */
#include "decide/cloud/returns_state.h"

#include <math.h>
#include <string.h>

#define NEAR 24    /* shots on either side that a first look takes in, */
#define LITTLE 0.3 /* and how many of them share a tile's light, beside the most that do: */
#define MUCH 0.7   /* covered, open */

/* How many of the shots about shot i have the value that it has, as a share of them. */
static double support(const struct dw_returns *r, const double *x, const double *var, size_t i)
{
    size_t first = r->from[i] + NEAR > i ? r->from[i] : i - NEAR;
    size_t end = r->to[i] < i + NEAR + 1 ? r->to[i] : i + NEAR + 1;
    double alike = 0, known = 0;
    for (size_t j = first; j < end; j++) {
        if (j == i || !isfinite(x[j]))
            continue;
        alike += dw_returns_tukey((x[j] - x[i]) * (x[j] - x[i]) / (var[i] + var[j]));
        known++;
    }
    return known > 0 ? alike / known : 0;
}

/* How much a value x of variance var is the one that most shots about have, 0..1. work: n. */
static void look(const struct dw_returns *r, const double *x, const double *var, double *work,
                 float *out)
{
    for (size_t i = 0; i < r->n; i++)
        work[i] = isfinite(x[i]) ? support(r, x, var, i) : 0;
    for (size_t i = 0; i < r->n; i++) {
        double most = 0;
        for (size_t j = r->from[i]; j < r->to[i]; j++)
            most = work[j] > most ? work[j] : most;
        double part = most > r->p->least_share ? work[i] / most : 0;
        out[i] = (float)fmin(1, fmax(0, (part - LITTLE) / (MUCH - LITTLE)));
    }
}

/* Whether a tile has the contrast with the next one, across or down, that it mostly has. */
static void look_beside(const struct dw_returns *r, size_t k, size_t other, double *work,
                        float *out)
{
    double *x = work, *var = work + r->n;
    for (size_t i = 0; i < r->n; i++) {
        x[i] = (double)r->beside[k * r->n + i] - (double)r->beside[other * r->n + i];
        var[i] = dw_returns_noise(r, i, k) + dw_returns_noise(r, i, other);
    }
    look(r, x, var, work + 2 * r->n, out);
}

/* The second largest of what a tile's four sides say: one may be covered. */
static float two_sides(const struct dw_returns *r, size_t k, size_t i)
{
    size_t cols = (size_t)r->g->cols, n = r->n;
    float side[4] = {r->off[k * n + i], r->var[k * n + i], k % cols ? r->off[(k - 1) * n + i] : 0,
                     k >= cols ? r->var[(k - cols) * n + i] : 0};
    float most = 0, second = 0;
    for (int s = 0; s < 4; s++) {
        second = fmaxf(second, fminf(most, side[s]));
        most = fmaxf(most, side[s]);
    }
    return second;
}

/* Whether a tile is open is told by its contrasts with those beside it, which come back as well and
 * hold no exposure error; or by its own light, where errors are already known more closely than it
 * is: by night a contrast has twice the noise. */
void dw_returns_find_open(struct dw_returns *r, double *work)
{
    size_t cols = (size_t)r->g->cols, n = r->n;
    memset(r->off, 0, r->tiles * n * sizeof *r->off);
    memset(r->var, 0, r->tiles * n * sizeof *r->var);
    for (size_t k = 0; k < r->tiles; k++) {
        if ((k + 1) % cols)
            look_beside(r, k, k + 1, work, r->off + k * n);
        if (k + cols < r->tiles)
            look_beside(r, k, k + cols, work, r->var + k * n);
    }
    double *x = work, *var = work + n;
    for (size_t k = 0; k < r->tiles; k++) {
        for (size_t i = 0; i < n; i++) {
            x[i] = (double)r->beside[k * n + i];
            var[i] = dw_returns_noise(r, i, k) + r->spread[i];
        }
        look(r, x, var, work + 2 * n, r->weight + k * n);
        for (size_t i = 0; i < n; i++) {
            r->open[k * n + i] = two_sides(r, k, i);
            if (r->spread[i] > dw_returns_noise(r, i, k))
                r->weight[k * n + i] = r->open[k * n + i];
        }
    }
}
