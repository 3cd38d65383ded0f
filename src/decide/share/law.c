/* law.c: the law of light against sun altitude. What it is for decides how it is learnt: it takes
 * off the bends of light that every dusk and dawn have, so it meets the light's bends (third
 * differences, in their own weights, which weather has already lost). Held to the light itself, one
 * foggy morning would leave a dent that the next clear one pays for; that it is, loosely, only for
 * its level and slope, which no bend tells.
 *
 * Before light is looked at it is believed to bend as a light does that comes from few causes, one
 * after the other: its third derivative stays, and here and there it changes within a degree (light
 * from below the horizon leaves the air that the camera sees, night's own light takes over).
 * Changes with a Laplace's distribution say so (total variation of a derivative: Mammen & van de
 * Geer 1997, locally adaptive regression splines). An even belief in bends must be so tight that
 * these are missed, or so loose that the law follows exposure errors. Heavier tails, Student's, say
 * it as well, but with them there are many best laws, and which one is found hangs on where one
 * begins and stops; Laplace's is convex, and but for what the slope has to say (part) there is one.
 * It is rounded off near 0 (the hyperbolic distribution of Barndorff-Nielsen 1977), and found by
 * weights that are set anew with each solution. */
#include "decide/share/law.h"
#include "decide/solve/third.h"

#include <lapacke.h>
#include <math.h>
#include <string.h>

/* Knots lie closer by twilight, where the law bends: it is a spline of an altitude that goes on by
 * one degree a degree between these, by ELSEWHERE of it beyond, smoothly (C infinity, as a kink
 * would be one of the law). */
#define TWILIGHT_LOW (-20)
#define TWILIGHT_HIGH 8
#define EDGE 1.5 /* degrees */
#define ELSEWHERE 0.25
#define NIGHT (-18) /* degrees: astronomical twilight ends */

static double begun(double x)
{
    return x > 30 * EDGE ? x : EDGE * log1p(exp(x / EDGE));
}

static double drawn_together(double alt)
{
    return ELSEWHERE * alt +
           (1 - ELSEWHERE) * (begun(alt - TWILIGHT_LOW) - begun(alt - TWILIGHT_HIGH));
}

static double times(const double *b, const double *c)
{
    return b[0] * c[0] + b[1] * c[1] + b[2] * c[2] + b[3] * c[3];
}

double dw_law_of(const struct dw_light_law *law, double alt)
{
    return dw_spline_value(&law->spline, law->coef, drawn_together(alt));
}

double dw_law_whole(const struct dw_light_law *law, size_t shot)
{
    return times(law->basis[shot], law->coef + law->first[shot]);
}

double dw_law_at(const struct dw_light_law *law, size_t shot)
{
    return times(law->level[shot], law->coef + law->first[shot]);
}

static void add_to_bend(struct dw_law_bend *b, int at, double value)
{
    int k = 0;
    while (k < b->n && b->at[k] != at)
        k++;
    if (k == b->n) {
        b->at[b->n] = at;
        b->value[b->n++] = 0;
    }
    b->value[k] += value;
}

static void find_bends(struct dw_light_law *law)
{
    for (size_t i = 0; i + 3 < law->n; i++) {
        struct dw_law_bend *b = &law->bend[i];
        b->n = 0;
        dw_third_difference(law->time + i, law->unit_s, b->third);
        for (size_t p = 0; p < 4; p++)
            for (int q = 0; q < 4; q++)
                add_to_bend(b, law->first[i + p] + q, b->third[p] * law->level[i + p][q]);
    }
}

void dw_law_give_way(struct dw_light_law *law, const double *share)
{
    for (size_t i = 0; i < law->n; i++)
        for (int q = 0; q < 4; q++)
            law->level[i][q] = (1 - share[i]) * law->basis[i][q];
    find_bends(law);
}

bool dw_law_lay_out(struct dw_light_law *law, const struct dw_law_params *p, size_t n,
                    const double *time, const double *alt, double unit_s, struct dw_arena *arena)
{
    double low = INFINITY, high = -INFINITY;
    for (size_t i = 0; i < n; i++) {
        low = fmin(low, drawn_together(alt[i]));
        high = fmax(high, drawn_together(alt[i]));
    }
    /* of few shots the knots lie no closer, or its prior would be all that counts */
    law->spline = dw_spline_over(low, fmax(high, low + p->step), p->step);
    size_t coefs = (size_t)law->spline.n;
    law->p = p;
    law->n = n;
    law->time = time;
    law->unit_s = unit_s;
    law->known = law->doubted = false;
    law->loose = 1 / (p->level * p->level);
    law->night_slope = INFINITY;
    law->bend = DW_TAKE(arena, n, struct dw_law_bend);
    law->basis = dw_arena_take(arena, n, sizeof *law->basis);
    law->level = dw_arena_take(arena, n, sizeof *law->level);
    law->first = DW_TAKE(arena, n, int);
    law->prior = dw_arena_take(arena, coefs, sizeof *law->prior);
    law->coef = DW_TAKE(arena, coefs, double);
    law->doubt = DW_TAKE(arena, n, double);
    if (!law->bend || !law->basis || !law->level || !law->first || !law->prior || !law->coef ||
        !law->doubt)
        return false;
    for (size_t i = 0; i < n; i++) {
        law->first[i] = dw_spline_basis(&law->spline, drawn_together(alt[i]), law->basis[i]);
        memcpy(law->level[i], law->basis[i], sizeof law->level[i]);
    }
    find_bends(law);
    return true;
}

/* Stops per degree. A law that slopes by less bends less: by day and by night what looks like its
 * bend is weather, or a wave between light and the settings' offsets. */
#define FULL_SLOPE 0.3
#define LEAST_PART 0.05 /* of the bend of a law that slopes so, on flat light */

/* Which part of the usual bends those of coefficients i .. i+order may have. */
static double part(const struct dw_light_law *law, int i, int order)
{
    double slope =
        fabs(law->coef[i + order - 1] - law->coef[i + 1]) / (law->spline.step * (order - 2));
    return fmin(fmax(slope / FULL_SLOPE, LEAST_PART), 1);
}

/* Adds weight * (difference of this order of the coefficients from the i-th on)^2. */
static void hold(struct dw_light_law *law, int i, int order, const double *difference,
                 double weight)
{
    for (int p = 0; p <= order; p++)
        for (int q = p; q <= order; q++)
            law->prior[i + p][q - p] += weight * difference[p] * difference[q];
}

/* The third derivative changes seldom from knot to knot. */
static void believe_in_few_changes(struct dw_light_law *law)
{
    static const double difference[5] = {1, -4, 6, -4, 1};
    double unit = pow(law->spline.step, 3);
    for (int i = 0; i + 4 < law->spline.n; i++) {
        double less = law->known ? part(law, i, 4) : 1, found = 0;
        double change = law->p->change * unit * less, least = law->p->least * unit * less;
        for (int p = 0; p <= 4 && law->known; p++)
            found += difference[p] * law->coef[i + p];
        hold(law, i, 4, difference, 1 / (change * sqrt(least * least + found * found)));
    }
}

/* And is itself not large: less where the law hardly slopes, as is the slope, and again as much. */
static void believe_in_small_ones(struct dw_light_law *law)
{
    static const double difference[4] = {-1, 3, -3, 1};
    for (int i = 0; i + 3 < law->spline.n; i++) {
        double less = law->known ? part(law, i, 3) : 1;
        double rms = law->p->uniform * pow(law->spline.step, 3) * less * less;
        hold(law, i, 3, difference, 1 / (rms * rms));
    }
}

/* Of full night the sun has no part: what shines then is as bright at any depth. */
static void believe_in_a_flat_night(struct dw_light_law *law)
{
    static const double difference[2] = {-1, 1};
    double rms = law->night_slope * law->spline.step;
    double night = drawn_together(NIGHT) - law->spline.first;
    /* a coefficient stands for the knot before it: neighbours hold the slope half a step further */
    for (int i = 0; i + 1 < law->spline.n && (i - 0.5) * law->spline.step < night; i++)
        hold(law, i, 1, difference, 1 / (rms * rms));
}

#define WHERE_NO_SHOT_WAS 1e-5 /* of the weight of a shot's level, on every coefficient */

void dw_law_believe(struct dw_light_law *law)
{
    for (int i = 0; i < law->spline.n; i++)
        for (int d = 0; d < DW_LAW_REACH; d++)
            law->prior[i][d] = d == 0 ? WHERE_NO_SHOT_WAS * law->loose : 0;
    believe_in_few_changes(law);
    believe_in_small_ones(law);
    believe_in_a_flat_night(law);
}

/* Solves with the prior as it is; x: right-hand sides, replaced. */
static bool solve(const struct dw_light_law *law, const double *a, int rows, double *x,
                  double *work)
{
    int n = law->spline.n;
    for (int c = 0; c < n; c++) {
        double *column = work + (size_t)c * (size_t)n;
        memcpy(column + c, a + (size_t)c * (size_t)rows + c, (size_t)(n - c) * sizeof *a);
        for (int d = 0; d < DW_LAW_REACH && c + d < n; d++)
            column[c + d] += law->prior[c][d];
    }
    return LAPACKE_dpotrf_work(LAPACK_COL_MAJOR, 'L', n, work, n) == 0 &&
           LAPACKE_dpotrs_work(LAPACK_COL_MAJOR, 'L', n, 1, work, n, x, n) == 0;
}

bool dw_law_settle(struct dw_light_law *law, const double *a, int rows, const double *right,
                   double *work)
{
    size_t n = (size_t)law->spline.n;
    double *x = work + n * n, moved = INFINITY;
    for (int round = 0; round < law->p->rounds && moved > law->p->settled; round++) {
        dw_law_believe(law);
        memcpy(x, right, n * sizeof *x);
        if (!solve(law, a, rows, x, work))
            return false;
        moved = 0;
        for (size_t c = 0; c < n; c++)
            moved = fmax(moved, fabs(x[c] - law->coef[c]));
        memcpy(law->coef, x, n * sizeof *x);
        law->known = true;
    }
    return true;
}

void dw_law_border(const struct dw_light_law *law, const struct dw_law_place *place, double *border,
                   double *corner)
{
    int all = place->all, at = place->at;
    for (size_t i = 0; i < place->shots; i++)
        for (int p = 0; p < 4; p++) {
            int c = at + law->first[i] + p;
            double weighted = law->loose * law->level[i][p];
            border[(size_t)c * place->rows + 2 * i] -= weighted;
            for (int q = 0; q < 4; q++)
                corner[c * all + at + law->first[i] + q] += weighted * law->level[i][q];
        }
    for (size_t i = 0; i + 3 < place->shots; i++) {
        const struct dw_law_bend *b = &law->bend[i];
        for (int k = 0; k < b->n; k++) {
            int c = at + b->at[k];
            double weighted = place->stiff[i] * b->value[k];
            for (size_t p = 0; p < 4; p++)
                border[(size_t)c * place->rows + 2 * (i + p)] -= weighted * b->third[p];
            for (int m = 0; m < b->n; m++)
                corner[c * all + at + b->at[m]] += weighted * b->value[m];
        }
    }
}

void dw_law_meet(const struct dw_light_law *law, const struct dw_law_place *place, const double *y,
                 double *out)
{
    for (int c = 0; c < law->spline.n; c++)
        out[c] = 0;
    for (size_t i = 0; i < place->shots; i++)
        for (int p = 0; p < 4; p++)
            out[law->first[i] + p] -= law->loose * law->level[i][p] * y[2 * i];
    for (size_t i = 0; i + 3 < place->shots; i++) {
        const struct dw_law_bend *b = &law->bend[i];
        double bend = 0;
        for (size_t p = 0; p < 4; p++)
            bend += b->third[p] * y[2 * (i + p)];
        bend *= place->stiff[i];
        for (int k = 0; k < b->n; k++)
            out[b->at[k]] -= bend * b->value[k];
    }
}
