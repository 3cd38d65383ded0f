/* line.c: the brightness line. Key light K of all usable shots is fitted by C(h) + d(t): a law of
 * light against sun altitude that dusk and dawn share, and a slow drift in time (moon, weather).
 * That is lawful light; what stays away from it for long is given way to (give_way.c). All are
 * cubic splines, so the line has two continuous derivatives: with knots joined by straight pieces
 * the twilight flickers. What is shown follows the light itself, softened, so white and polar
 * nights are ordinary cases. */
#include "decide/solve/banded.h"
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
/* By day the law bends as a clear sky's light does, or it would take banks of cloud for its own
 * where they passed at the same altitudes twice. With the sun at DAY_FULL_DEG and above a bend is
 * held so many times as stiff as a shot of each knot holds its level. */
#define DAY_STIFFNESS 10.0
/* ... and so many times at last, when it is known which shots show lawful light: they say better
 * how it bends. */
#define DAY_LAST_STIFFNESS 0.01
#define DAY_FROM_DEG 0.0
#define DAY_FULL_DEG 15.0
/* Over which a clear sky's bend is taken: its formula's branches meet within 0.07 stop only. */
#define BEND_DEG 6.0
/* First rounds with weights of a Laplace distribution, whose fit is one whatever it begins with;
 * then Tukey's, who does not look at what lies far off. */
#define FIRST_ROUNDS 10
#define ROUNDS (FIRST_ROUNDS + 8)
#define USUAL_STOPS 0.05 /* rests below this are all alike */
#define REFERENCE_DEG 20.0

/* The normal equations of both splines. A long shoot has a thousand coefficients of drift, each
 * meeting its neighbours only, and some fifty of the law, which meet all: a band with a border, so
 * that the work grows with the length of the shoot and no faster. */
struct system {
    struct dw_banded drift;
    int n_law;
    double *border; /* n_law columns of drift.n: drift with law */
    double *corner; /* n_law*n_law: law with law */
    double *x, *y;  /* right-hand sides, then solutions: drift, law */
};

static void add_shot(struct system *s, const struct dw_work *w, size_t i, double value,
                     double weight)
{
    double law[4], drift[4];
    int l = dw_spline_basis(&w->law, w->alt[i], law);
    int d = dw_spline_basis(&w->drift, w->utc[i], drift);
    for (int p = 0; p < 4; p++) {
        for (int q = 0; q <= p; q++)
            dw_banded_add(&s->drift, d + p, d + q, weight * drift[p] * drift[q]);
        for (int q = 0; q < 4; q++) {
            s->border[(l + q) * s->drift.n + d + p] += weight * drift[p] * law[q];
            s->corner[(l + p) * s->n_law + l + q] += weight * law[p] * law[q];
        }
        s->x[d + p] += weight * drift[p] * value;
        s->y[l + p] += weight * law[p] * value;
    }
}

/* Second difference of a clear sky's light over `step` degrees to either side, stops. */
static double clear_bend(double alt, double step)
{
    double part = step / BEND_DEG;
    return part * part *
           (log2(dw_sun_illuminance_lx(alt + BEND_DEG)) - 2 * log2(dw_sun_illuminance_lx(alt)) +
            log2(dw_sun_illuminance_lx(alt - BEND_DEG)));
}

static void add_clear_day(struct system *s, const struct dw_spline *law, double stiffness)
{
    const double second[3] = {1, -2, 1};
    for (int i = 0; i + 2 < s->n_law; i++) {
        double alt = law->first + i * law->step; /* where coefficient i + 1 has its middle */
        double weight = stiffness * dw_crossover(alt, DAY_FROM_DEG, DAY_FULL_DEG);
        double bend = clear_bend(alt, law->step);
        for (int p = 0; p < 3; p++) {
            for (int q = 0; q < 3; q++)
                s->corner[(i + p) * s->n_law + i + q] += weight * second[p] * second[q];
            s->y[i + p] += weight * second[p] * bend;
        }
    }
}

/* Priors: third differences of the law and second differences of the drift are small; a faint pull
 * to zero settles what neither data nor smoothness tell. */
static void add_priors(struct system *s, double law, double law_pull, double drift,
                       double drift_pull)
{
    const double third[4] = {-1, 3, -3, 1}, second[3] = {1, -2, 1};
    for (int i = 0; i + 3 < s->n_law; i++)
        for (int p = 0; p < 4; p++)
            for (int q = 0; q < 4; q++)
                s->corner[(i + p) * s->n_law + i + q] += law * third[p] * third[q];
    for (int i = 0; i < s->n_law; i++)
        s->corner[i * s->n_law + i] += law_pull;
    for (int i = 0; i + 2 < s->drift.n; i++)
        for (int p = 0; p < 3; p++)
            for (int q = 0; q <= p; q++)
                dw_banded_add(&s->drift, i + p, i + q, drift * second[p] * second[q]);
    for (int i = 0; i < s->drift.n; i++)
        dw_banded_add(&s->drift, i, i, drift_pull);
}

/* Schur complement: x takes drift, y takes law. */
static bool solve(struct system *s, double *reduced)
{
    int n = s->drift.n, c = s->n_law;
    memcpy(reduced, s->border, (size_t)n * (size_t)c * sizeof(double));
    if (!dw_banded_factor(&s->drift) || !dw_banded_solve(&s->drift, s->x, 1) ||
        !dw_banded_solve(&s->drift, reduced, c))
        return false;
    for (int a = 0; a < c; a++)
        for (int i = 0; i < n; i++) {
            double v = s->border[a * n + i];
            if (v == 0)
                continue; /* an altitude that this time never saw */
            s->y[a] -= v * s->x[i];
            for (int b = 0; b <= a; b++)
                s->corner[a * c + b] -= v * reduced[b * n + i];
        }
    if (LAPACKE_dposv(LAPACK_ROW_MAJOR, 'L', c, 1, s->corner, c, s->y, 1) != 0)
        return false;
    for (int a = 0; a < c; a++)
        for (int i = 0; i < n; i++)
            s->x[i] -= reduced[a * n + i] * s->y[a];
    return true;
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
                          const double *weight, double middle, double day_stiffness, double *work,
                          struct dw_error *err)
{
    size_t n = (size_t)s->drift.n, c = (size_t)s->n_law;
    memset(s->drift.a, 0, n * (size_t)(s->drift.kd + 1) * sizeof(double));
    memset(s->border, 0, n * c * sizeof(double));
    memset(s->corner, 0, c * c * sizeof(double));
    memset(s->x, 0, n * sizeof(double));
    memset(s->y, 0, c * sizeof(double));
    double total = 0;
    for (size_t i = 0; i < w->n; i++)
        if (weight[i] > 0) {
            add_shot(s, w, i, y[i] - middle, weight[i]);
            total += weight[i];
        }
    double per_law = total / s->n_law, per_drift = total / s->drift.n;
    add_clear_day(s, &w->law, day_stiffness * per_law);
    add_priors(s, 1e-3 * per_law, 1e-9 * total, DRIFT_STIFFNESS * per_drift, 1e-3 * per_drift);
    if (!solve(s, work))
        return dw_fail(err, DW_ERR_NUMERIC, "the brightness line could not be fitted to %zu frames",
                       w->n);
    for (int i = 0; i < s->n_law; i++)
        w->law_coef[i] = s->y[i] + middle;
    memcpy(w->drift_coef, s->x, n * sizeof(double));
    return DW_OK;
}

static double lawful_at(const struct dw_work *w, double utc, double alt)
{
    return dw_spline_value(&w->law, w->law_coef, alt) +
           dw_spline_value(&w->drift, w->drift_coef, utc);
}

double dw_line_at(const struct dw_work *w, double utc, double alt)
{
    return lawful_at(w, utc, alt) + dw_spline_value(&w->way, w->way_coef, utc);
}

/* Weights of the next round, from what the last one leaves. */
static void weigh(const struct dw_work *w, int round, const double *y, double *weight, double *work)
{
    size_t n = 0;
    for (size_t i = 0; i < w->n; i++)
        if (isfinite(y[i]))
            work[n++] = fabs(y[i] - lawful_at(w, w->utc[i], w->alt[i]));
    double scale = 1.5 * fmax(DW_MAD_TO_SIGMA * dw_median(work, n), USUAL_STOPS);
    for (size_t i = 0; i < w->n; i++) {
        if (!isfinite(y[i]))
            continue;
        double rest = y[i] - lawful_at(w, w->utc[i], w->alt[i]);
        /* never quite nothing: a shoot of ten frames must stay solvable */
        weight[i] = round < FIRST_ROUNDS ? 1 / hypot(1, rest / USUAL_STOPS)
                                         : 1e-6 + dw_tukey_weight(rest, 3 * scale);
    }
}

static enum dw_status fit_robustly(struct dw_work *w, struct system *s, struct dw_error *err)
{
    double *y = DW_TAKE(&w->arena, w->n, double), *weight = DW_TAKE(&w->arena, w->n, double);
    double *work = DW_TAKE(&w->arena, w->n, double);
    double *reduced = DW_TAKE(&w->arena, (size_t)s->drift.n * (size_t)s->n_law, double);
    if (!y || !weight || !work || !reduced)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for the brightness line");
    for (size_t i = 0; i < w->n; i++) {
        y[i] = w->usable[i] ? w->key[i] - w->error[i] : (double)NAN;
        weight[i] = isfinite(y[i]);
    }
    double middle = middle_of(w, y, work);
    for (int round = 0; round < ROUNDS; round++) {
        double stiffness = round + 1 < ROUNDS ? DAY_STIFFNESS : DAY_LAST_STIFFNESS;
        enum dw_status status = fit(w, s, y, weight, middle, stiffness, reduced, err);
        if (status < 0)
            return status;
        weigh(w, round, y, weight, work);
    }
    for (size_t i = 0; i < w->n; i++)
        y[i] -= lawful_at(w, w->utc[i], w->alt[i]);
    return dw_give_way(w, y, err);
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
    /* a camera that stood for years: knots stay countable */
    w->drift = dw_spline_over(first, last, fmax(DRIFT_KNOT_S, (last - first) / 20000));
    size_t drifts = (size_t)w->drift.n, laws = (size_t)w->law.n;
    struct system s = {.drift = {w->drift.n, 3, DW_TAKE(&w->arena, 4 * drifts, double)},
                       .n_law = w->law.n,
                       .border = DW_TAKE(&w->arena, drifts * laws, double),
                       .corner = DW_TAKE(&w->arena, laws * laws, double),
                       .x = DW_TAKE(&w->arena, drifts, double),
                       .y = DW_TAKE(&w->arena, laws, double)};
    w->law_coef = DW_TAKE(&w->arena, (size_t)w->law.n, double);
    w->drift_coef = DW_TAKE(&w->arena, (size_t)w->drift.n, double);
    w->line = DW_TAKE(&w->arena, w->n, double);
    if (!s.drift.a || !s.border || !s.corner || !s.x || !s.y || !w->law_coef || !w->drift_coef ||
        !w->line)
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

double dw_key_at(const struct dw_work *w, double light, double alt)
{
    return dw_line_key(w, light) * exp2(-dw_star_room(alt));
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
