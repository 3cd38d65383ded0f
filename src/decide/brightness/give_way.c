/* give_way.c: how far the brightness line gives way to light that departs from the lawful: a bank
 * of cloud, fog, an eclipse. A smooth line through all of it would bend beforehand, and clear
 * frames darken for a cloud that has not come. A line that never gives way would leave a grey
 * afternoon two stops off. So a shot has the less say the further its light departs: lawful light
 * holds the line to itself within minutes, light two stops off moves it within an hour. The line
 * then gives way under the cloud, and is back when the cloud goes. Weights are Cauchy's, once: no
 * second solution, in which departures would become the rule. */
#include "decide/solve/banded.h"
#include "decide/solve/whittaker.h"
#include "decide/steps.h"

#include <math.h>

#define KNOT_S 600.0
#define PERIOD_S 2400.0  /* that keeps half its height in lawful light */
#define LEAST_PERIOD 4.0 /* knots */
#define LAWFUL_STOPS 0.1 /* a departure at which a shot has half a say ... */
/* ... and from which on it has no less: by day, and by night, when light changes slowly (a moon
 * that rises), no blue sky shows what is usual, and a stop of darkness is half of what is left to
 * see. */
#define FURTHEST_DAY_STOPS 2.0
#define FURTHEST_NIGHT_STOPS 0.5
#define NIGHT_DEG (-12)
#define DAY_DEG 0

static double say(double rest, double alt)
{
    double day = dw_crossover(alt, NIGHT_DEG, DAY_DEG);
    double furthest = FURTHEST_NIGHT_STOPS * pow(FURTHEST_DAY_STOPS / FURTHEST_NIGHT_STOPS, day);
    double off = fmin(fabs(rest), furthest) / LAWFUL_STOPS;
    return 1 / (1 + off * off);
}

enum dw_status dw_give_way(struct dw_work *w, const double *rest, struct dw_error *err)
{
    double first = INFINITY, last = -INFINITY;
    for (size_t i = 0; i < w->n; i++) {
        first = fmin(first, w->utc[i]);
        last = fmax(last, w->utc[i]);
    }
    /* a camera that stood for years: knots stay countable */
    w->way = dw_spline_over(first, last, fmax(KNOT_S, (last - first) / 80000));
    size_t n = (size_t)w->way.n;
    struct dw_banded m = {w->way.n, 3, DW_TAKE(&w->arena, 4 * n, double)};
    w->way_coef = DW_TAKE(&w->arena, n, double);
    if (!m.a || !w->way_coef)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for the brightness line");
    for (size_t i = 0; i < w->n; i++) {
        double basis[4];
        if (!isfinite(rest[i]))
            continue;
        int c = dw_spline_basis(&w->way, w->utc[i], basis);
        double weight = say(rest[i], w->alt[i]);
        for (int p = 0; p < 4; p++) {
            for (int q = 0; q <= p; q++)
                dw_banded_add(&m, c + p, c + q, weight * basis[p] * basis[q]);
            w->way_coef[c + p] += weight * basis[p] * rest[i];
        }
    }
    const double second[3] = {1, -2, 1};
    double per_knot = w->way.step / w->interval; /* shots, where there are any */
    double stiffness =
        per_knot * dw_whittaker_lambda(fmax(PERIOD_S / w->way.step, LEAST_PERIOD), 2);
    for (int i = 0; i + 2 < m.n; i++)
        for (int p = 0; p < 3; p++)
            for (int q = 0; q <= p; q++)
                dw_banded_add(&m, i + p, i + q, stiffness * second[p] * second[q]);
    for (int i = 0; i < m.n; i++) /* what no shot tells */
        dw_banded_add(&m, i, i, 1e-6 * per_knot);
    if (!dw_banded_factor(&m) || !dw_banded_solve(&m, w->way_coef, 1))
        return dw_fail(err, DW_ERR_NUMERIC, "the brightness line could not be fitted to %zu frames",
                       w->n);
    return DW_OK;
}
