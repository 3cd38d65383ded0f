/* green.c: what green is beside red and blue in the light of each sun altitude. Where a glow is so
 * bright that its green is lost, render tells it from the other two. From the frame's own measured
 * light alone that is a guess, other in every frame: what is measured lies on the blue side of what
 * is lost, and how far it reaches changes with the exposure. But the same light was measured at
 * other exposures, in the other twilight, and at altitudes close by. With x = log2 red / blue and
 * y = log2 green / sqrt(red blue), balanced, y = at + slope x + bend x^2, each a cubic B-spline in
 * sun altitude, fitted to the brighter tiles of all shots. */
#include "decide/steps.h"
#include "base/robust.h"

#include <lapacke.h>
#include <math.h>
#include <string.h>

struct green_params {
    double low_deg, high_deg; /* sun altitudes: below there is no glow, above white things clip */
    double step_deg;          /* of knots */
    double fades_deg;         /* from here up it counts less and less */
    float most_clipped;       /* share of a tile's samples */
    double quantile;          /* of a shot's other tiles: at least this bright */
    double least_level;       /* share of the range: what is darker has noise and black in it */
    double smooth;            /* weight of second differences along the altitude, in tiles a knot */
    double pull;              /* of all coefficients to 0, in tiles of full level */
    double least_scale;       /* stops: other things than the sky lie farther off than this */
    size_t most_shots;
};
static const struct green_params GREEN = {-18, 8, 2, 0, 1e-3f, 0.8, 0.02, 0.1, 0.1, 0.01, 600};
enum { KINDS = 3, ROUNDS = 6 };

struct tile {
    double basis[4], x, y, weight;
    int knot;
};

/* Appends what the tiles of shot i show. work: w->tiles. */
static size_t add_shot(const struct dw_work *w, const struct dw_facts *facts, size_t i,
                       double *work, struct tile *tile, size_t n)
{
    const struct dw_measure *m = &w->survey->measure[i];
    const struct dw_levels *l = dw_facts_levels(facts, &w->shots->shot[i]);
    double range = (double)(l->white - l->black[1]);
    size_t known = 0;
    for (int k = 0; k < w->tiles; k++)
        if (isfinite(m->tile[k].mean[1]) && m->tile[k].clipped < GREEN.most_clipped)
            work[known++] = (double)(m->tile[k].mean[1] - l->black[1]) / range;
    double least = dw_quantile(work, known, GREEN.quantile);
    least = fmax(least, GREEN.least_level);
    double tint[3];
    for (int c = 0; c < 3; c++)
        tint[c] = exp2(w->tint[i][c]);
    for (int k = 0; k < w->tiles; k++) {
        double v[3], level = (double)(m->tile[k].mean[1] - l->black[1]) / range;
        if (!(m->tile[k].clipped < GREEN.most_clipped && level >= least) || w->lamp[k])
            continue; /* most tiles are far from the glow */
        for (int c = 0; c < 3; c++)
            v[c] = (double)((m->tile[k].mean[c] - l->black[c]) / (l->white - l->black[c]) *
                            facts->white_mul[c]) *
                   tint[c];
        if (!(v[0] > 0 && v[1] > 0 && v[2] > 0))
            continue;
        double r = log2(v[0]), b = log2(v[2]);
        tile[n] = (struct tile){.x = r - b, .y = log2(v[1]) - (r + b) / 2, .weight = level * level};
        tile[n].knot = dw_spline_basis(&w->green, w->alt[i], tile[n].basis);
        n++;
    }
    return n;
}

static double value_of(const struct dw_work *w, const struct tile *t)
{
    double v = 0;
    const double power[KINDS] = {1, t->x, t->x * t->x};
    for (int c = 0; c < KINDS; c++)
        for (int p = 0; p < 4; p++)
            v += w->green_coef[c * w->green.n + t->knot + p] * t->basis[p] * power[c];
    return v;
}

/* One weighted fit; a: size^2. */
static bool fit(struct dw_work *w, const struct tile *tile, const double *weight, size_t n,
                double *a)
{
    int knots = w->green.n, size = KINDS * knots;
    double *b = w->green_coef, total = 0;
    memset(a, 0, (size_t)size * (size_t)size * sizeof *a);
    memset(b, 0, (size_t)size * sizeof *b);
    for (size_t i = 0; i < n; i++) {
        const struct tile *t = &tile[i];
        double row[KINDS * 4];
        int at[KINDS * 4];
        for (int k = 0; k < KINDS * 4; k++) {
            row[k] = t->basis[k % 4] * (k < 4 ? 1 : k < 8 ? t->x : t->x * t->x);
            at[k] = k / 4 * knots + t->knot + k % 4;
        }
        for (int p = 0; p < KINDS * 4; p++) {
            b[at[p]] += weight[i] * row[p] * t->y;
            for (int q = 0; q <= p; q++)
                a[at[p] * size + at[q]] += weight[i] * row[p] * row[q];
        }
        total += weight[i];
    }
    const double second[3] = {1, -2, 1};
    for (int c = 0; c < KINDS; c++)
        for (int i = 0; i < knots; i++) {
            int at = c * knots + i;
            a[at * size + at] += GREEN.pull;
            for (int p = 0; p < 3 && i + 2 < knots; p++)
                for (int q = 0; q <= p; q++)
                    a[(at + p) * size + at + q] +=
                        GREEN.smooth * total / knots * second[p] * second[q];
        }
    return LAPACKE_dposv(LAPACK_ROW_MAJOR, 'L', size, 1, a, size, b, 1) == 0;
}

static enum dw_status fit_robustly(struct dw_work *w, const struct tile *tile, size_t n,
                                   struct dw_error *err)
{
    size_t size = (size_t)(KINDS * w->green.n);
    double *weight = DW_TAKE(&w->arena, n, double), *rest = DW_TAKE(&w->arena, n, double);
    double *a = DW_TAKE(&w->arena, size * size, double);
    if (!weight || !rest || !a)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for the colours of %zu tiles", n);
    for (size_t i = 0; i < n; i++)
        weight[i] = tile[i].weight;
    for (int round = 0; round < ROUNDS; round++) {
        if (!fit(w, tile, weight, n, a))
            return dw_fail(err, DW_ERR_NUMERIC, "the colours of twilight could not be fitted");
        for (size_t i = 0; i < n; i++)
            rest[i] = fabs(tile[i].y - value_of(w, &tile[i]));
        double scale = fmax(DW_MAD_TO_SIGMA * dw_median(rest, n), GREEN.least_scale);
        for (size_t i = 0; i < n; i++)
            weight[i] =
                tile[i].weight * dw_tukey_weight(tile[i].y - value_of(w, &tile[i]), 4.685 * scale);
    }
    return DW_OK;
}

enum dw_status dw_green(struct dw_work *w, const struct dw_facts *facts, struct dw_error *err)
{
    w->green = dw_spline_over(GREEN.low_deg, GREEN.high_deg, GREEN.step_deg);
    w->green_coef = DW_TAKE(&w->arena, (size_t)(KINDS * w->green.n), double);
    size_t mark = w->arena.n, shots = 0, n = 0;
    if (!w->green_coef)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for the colours of twilight");
    w->green_known = false;
    for (size_t i = 0; i < w->n; i++)
        shots += w->usable[i] && w->alt[i] > GREEN.low_deg && w->alt[i] < GREEN.high_deg;
    size_t step = shots / GREEN.most_shots + 1, room = (shots / step + 1) * (size_t)w->tiles;
    struct tile *tile = DW_TAKE(&w->arena, room, struct tile);
    double *work = DW_TAKE(&w->arena, (size_t)w->tiles, double);
    if (!tile || !work)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for the colours of %zu shots", shots);
    shots = 0;
    for (size_t i = 0; i < w->n; i++)
        if (w->usable[i] && w->alt[i] > GREEN.low_deg && w->alt[i] < GREEN.high_deg &&
            shots++ % step == 0)
            n = add_shot(w, facts, i, work, tile, n);
    enum dw_status status = n > 0 ? fit_robustly(w, tile, n, err) : DW_OK;
    w->green_known = status >= 0 && n > 0 && w->shots->shot[0].cfa != DW_CFA_MONO;
    dw_arena_free_to(&w->arena, mark);
    return status;
}

void dw_green_at(const struct dw_work *w, double alt, double out[4])
{
    memset(out, 0, 4 * sizeof *out);
    if (!w->green_known || !(alt > GREEN.low_deg) || !(alt < GREEN.high_deg))
        return;
    out[0] = (1 - dw_crossover(alt, GREEN.fades_deg, GREEN.high_deg)) *
             dw_crossover(alt, GREEN.low_deg, GREEN.low_deg + GREEN.step_deg);
    for (int c = 0; c < KINDS; c++)
        out[c + 1] = dw_spline_value(&w->green, w->green_coef + c * w->green.n, alt);
}
