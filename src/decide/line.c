/* line.c: the brightness line. Key light K of all usable shots is fitted by K~ = C(h) + d(t): a
 * law of light against sun altitude that dusk and dawn share, and a slow drift in time (moon,
 * weather). Both are cubic splines, so the line has two continuous derivatives: with knots joined
 * by straight pieces the twilight flickers. What is shown follows the light itself, softened, so
 * white and polar nights are ordinary cases. */
#include "decide/steps.h"
#include "base/robust.h"

#include <lapacke.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define LAW_KNOT_DEG 1.5
#define DRIFT_KNOT_S 2400.0
/* Half gain at 4 h = 6 knots: 1/(2 sin(pi/6))^4 = 1 in units of the data's weight per knot. */
#define DRIFT_STIFFNESS 1.0
#define ROUNDS 8
#define REFERENCE_DEG 20.0

/* The normal equations of both splines together, dense: some hundred unknowns. */
struct system {
    int n, n_law;
    double *a, *b; /* lower triangle in row-major n*n; right-hand side */
};

static void add_row(struct system *s, const int *index, const double *value, int n, double y,
                    double weight)
{
    for (int p = 0; p < n; p++) {
        for (int q = 0; q < n; q++)
            s->a[(size_t)index[p] * (size_t)s->n + (size_t)index[q]] += weight * value[p] * value[q];
        s->b[index[p]] += weight * value[p] * y;
    }
}

/* Prior: d-th differences of the coefficients first..first+n-1 are small; a faint pull to zero
 * settles what neither data nor smoothness tell. */
static void add_prior(struct system *s, int first, int n, int d, double weight, double pull)
{
    static const double difference[4][4] = {{1}, {-1, 1}, {1, -2, 1}, {-1, 3, -3, 1}};
    for (int i = 0; i + d < n; i++) {
        int index[4];
        for (int p = 0; p <= d; p++)
            index[p] = first + i + p;
        add_row(s, index, difference[d], d + 1, 0, weight);
    }
    for (int i = first; i < first + n; i++)
        s->a[(size_t)i * (size_t)s->n + (size_t)i] += pull;
}

static void add_shot(struct system *s, const struct dw_work *w, size_t i, double y, double weight)
{
    int index[8];
    double value[8];
    int law = dw_spline_basis(&w->law, w->alt[i], value);
    int drift = dw_spline_basis(&w->drift, w->utc[i], value + 4);
    for (int p = 0; p < 4; p++) {
        index[p] = law + p;
        index[4 + p] = s->n_law + drift + p;
    }
    add_row(s, index, value, 8, y, weight);
}

static double middle_of(const struct dw_work *w, const double *y, double *work)
{
    size_t n = 0;
    for (size_t i = 0; i < w->n; i++)
        if (isfinite(y[i]))
            work[n++] = y[i];
    return n ? dw_median(work, n) : 0;
}

/* One weighted fit; y is measured from `middle`, which goes into the law afterwards. */
static enum dw_status fit(struct dw_work *w, struct system *s, const double *y,
                          const double *weight, double middle, struct dw_error *err)
{
    size_t n = (size_t)s->n;
    memset(s->a, 0, n * n * sizeof(double));
    memset(s->b, 0, n * sizeof(double));
    double total = 0;
    for (size_t i = 0; i < w->n; i++)
        if (weight[i] > 0) {
            add_shot(s, w, i, y[i] - middle, weight[i]);
            total += weight[i];
        }
    double per_law = total / s->n_law, per_drift = total / (s->n - s->n_law);
    add_prior(s, 0, s->n_law, 3, 1e-3 * per_law, 1e-9 * total);
    add_prior(s, s->n_law, s->n - s->n_law, 2, DRIFT_STIFFNESS * per_drift, 1e-3 * per_drift);
    if (LAPACKE_dposv(LAPACK_ROW_MAJOR, 'L', s->n, 1, s->a, s->n, s->b, 1) != 0)
        return dw_fail(err, DW_ERR_NUMERIC,
                       "the brightness line could not be fitted to %zu frames", w->n);
    for (int i = 0; i < s->n_law; i++)
        w->law_coef[i] = s->b[i] + middle;
    for (int i = s->n_law; i < s->n; i++)
        w->drift_coef[i - s->n_law] = s->b[i];
    return DW_OK;
}

double dw_line_at(const struct dw_work *w, double utc, double alt)
{
    return dw_spline_value(&w->law, w->law_coef, alt) +
           dw_spline_value(&w->drift, w->drift_coef, utc);
}

static enum dw_status fit_robustly(struct dw_work *w, struct system *s, struct dw_error *err)
{
    double *y = DW_TAKE(&w->arena, w->n, double), *weight = DW_TAKE(&w->arena, w->n, double);
    double *work = DW_TAKE(&w->arena, w->n, double), *rest = DW_TAKE(&w->arena, w->n, double);
    if (!y || !weight || !work || !rest)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for the brightness line");
    for (size_t i = 0; i < w->n; i++) {
        y[i] = w->usable[i] ? w->key[i] - w->error[i] : (double)NAN;
        weight[i] = isfinite(y[i]);
    }
    double middle = middle_of(w, y, work);
    for (int round = 0; round < ROUNDS; round++) {
        enum dw_status status = fit(w, s, y, weight, middle, err);
        if (status < 0)
            return status;
        size_t n = 0;
        for (size_t i = 0; i < w->n; i++)
            if (isfinite(y[i]))
                rest[n++] = fabs(y[i] - dw_line_at(w, w->utc[i], w->alt[i]));
        double scale = 1.5 * fmax(DW_MAD_TO_SIGMA * dw_median(rest, n), 0.05);
        /* the first rounds are gentle: the fit must first find the light before it rejects */
        scale *= round < 3 ? 8 >> round : 1;
        for (size_t i = 0; i < w->n; i++)
            if (isfinite(y[i]))
                /* never quite nothing: a shoot of ten frames must stay solvable */
                weight[i] = 1e-6 + dw_tukey_weight(y[i] - dw_line_at(w, w->utc[i], w->alt[i]),
                                                   3 * scale);
    }
    return DW_OK;
}

/* Light at the reference altitude; if the sun stays low, carried up along a clear sky's law. */
static double reference_light(const struct dw_work *w, double highest)
{
    double top = fmin(highest, REFERENCE_DEG);
    double light = dw_spline_value(&w->law, w->law_coef, top);
    if (highest < 12)
        light += log2(dw_sun_illuminance_lx(REFERENCE_DEG) / dw_sun_illuminance_lx(top));
    return light;
}

enum dw_status dw_line(struct dw_work *w, struct dw_facts *facts, struct dw_error *err)
{
    double low = INFINITY, high = -INFINITY, first = INFINITY, last = -INFINITY, highest = -90;
    for (size_t i = 0; i < w->n; i++) {
        low = fmin(low, w->alt[i]);
        high = fmax(high, w->alt[i]);
        first = fmin(first, w->utc[i]);
        last = fmax(last, w->utc[i]);
        if (w->usable[i])
            highest = fmax(highest, w->alt[i]);
    }
    w->law = dw_spline_over(low, high, LAW_KNOT_DEG);
    /* very long shoots: the drift's knots stay below a thousand */
    w->drift = dw_spline_over(first, last, fmax(DRIFT_KNOT_S, (last - first) / 1000));
    struct system s = {w->law.n + w->drift.n, w->law.n, NULL, NULL};
    s.a = DW_TAKE(&w->arena, (size_t)s.n * (size_t)s.n, double);
    s.b = DW_TAKE(&w->arena, (size_t)s.n, double);
    w->law_coef = DW_TAKE(&w->arena, (size_t)w->law.n, double);
    w->drift_coef = DW_TAKE(&w->arena, (size_t)w->drift.n, double);
    w->line = DW_TAKE(&w->arena, w->n, double);
    if (!s.a || !s.b || !w->law_coef || !w->drift_coef || !w->line)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for the brightness line");
    enum dw_status status = fit_robustly(w, &s, err);
    if (status < 0)
        return status;
    for (size_t i = 0; i < w->n; i++)
        w->line[i] = dw_line_at(w, w->utc[i], w->alt[i]);
    w->reference = facts->day_light_stops = reference_light(w, highest);
    facts->law.first_deg = w->law.first;
    facts->law.step_deg = w->law.step;
    facts->law.n = w->law.n;
    facts->law.coef = malloc((size_t)w->law.n * sizeof(double));
    if (!facts->law.coef)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for the law of light");
    memcpy(facts->law.coef, w->law_coef, (size_t)w->law.n * sizeof(double));
    return DW_OK;
}

double dw_line_key(const struct dw_work *w, double light)
{
    const struct dw_line_params *p = &w->params->line;
    const double soft = p->softness_stops, above = 0.8;
    double v = light - w->reference;
    /* softplus on both sides, written so that neither exponent can overflow */
    double low = (v + p->depth_stops) / soft;
    v = -p->depth_stops + soft * (fmax(low, 0) + log1p(exp(-fabs(low))));
    double high = (above - v) / soft;
    v = above - soft * (fmax(high, 0) + log1p(exp(-fabs(high))));
    double a = log2(p->key_day / p->key_night) / p->depth_stops;
    return p->key_day * exp2(a * v);
}
