/* law.c: the law of light against sun altitude. What it is for decides how it is learnt: it takes
 * off the bends of light that every dusk and dawn have, so it meets the light's bends (third
 * differences, in their own weights, which weather has already lost). Held to the light itself, one
 * foggy morning would leave a dent that the next clear one pays for; that it is, loosely, only for
 * its level and slope, which no bend tells.
 *
 * Before light is looked at it is believed to bend as a light does that comes from few causes, one
 * after the other: its third derivative stays, and here and there it changes within a degree (light
 * from below the horizon leaves the air that the camera sees, night's own light takes over).
 * Changes with a Student's distribution say so. An even belief in bends must be so tight that these
 * are missed, or so loose that the law follows exposure errors. */
#include "decide/law.h"
#include "decide/steady.h"

#include <math.h>

/* Knots lie closer by twilight, where the law bends: it is a spline of an altitude that goes on by
 * one degree a degree between these, by ELSEWHERE of it beyond, smoothly (C infinity, as a kink
 * would be one of the law). */
#define TWILIGHT_LOW (-20)
#define TWILIGHT_HIGH 8
#define EDGE 1.5 /* degrees */
#define ELSEWHERE 0.25

static double begun(double x)
{
    return x > 30 * EDGE ? x : EDGE * log1p(exp(x / EDGE));
}

static double drawn_together(double alt)
{
    return ELSEWHERE * alt +
           (1 - ELSEWHERE) * (begun(alt - TWILIGHT_LOW) - begun(alt - TWILIGHT_HIGH));
}

double dw_law_at(const struct dw_light_law *law, size_t shot)
{
    const double *b = law->level[shot], *c = law->coef + law->first[shot];
    return b[0] * c[0] + b[1] * c[1] + b[2] * c[2] + b[3] * c[3];
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
    law->loose = 1 / (p->level * p->level);
    law->bend = DW_TAKE(arena, n, struct dw_law_bend);
    law->level = dw_arena_take(arena, n, sizeof *law->level);
    law->first = DW_TAKE(arena, n, int);
    law->prior = dw_arena_take(arena, coefs, sizeof *law->prior);
    law->coef = DW_TAKE(arena, coefs, double);
    if (!law->bend || !law->level || !law->first || !law->prior || !law->coef)
        return false;
    for (size_t i = 0; i < n; i++)
        law->first[i] = dw_spline_basis(&law->spline, drawn_together(alt[i]), law->level[i]);
    for (size_t i = 0; i + 3 < n; i++) {
        struct dw_law_bend *b = &law->bend[i];
        dw_third_difference(time + i, unit_s, b->third);
        for (size_t p_ = 0; p_ < 4; p_++)
            for (int q = 0; q < 4; q++)
                add_to_bend(b, law->first[i + p_] + q, b->third[p_] * law->level[i + p_][q]);
    }
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

/* A derivative of this order is 0, give or take sigma where the law slopes, less where it hardly
 * does: in proportion, if `much` in its square. difference: binomial coefficients. */
static void believe(struct dw_light_law *law, int order, const double *difference, double sigma,
                    double tail, bool much, bool known)
{
    double unit = pow(law->spline.step, order);
    for (int i = 0; i + order < law->spline.n; i++) {
        double less = known ? part(law, i, order) : 1, rms = sigma * unit * less, found = 0;
        rms *= much ? less : 1;
        for (int p = 0; p <= order && known; p++)
            found += difference[p] * law->coef[i + p];
        double weight = 1 / (rms * rms);
        if (known && tail > 0)
            weight *= (tail + 1) / (tail + found * found * weight);
        for (int p = 0; p <= order; p++)
            for (int q = p; q <= order; q++)
                law->prior[i + p][q - p] += weight * difference[p] * difference[q];
    }
}

#define WHERE_NO_SHOT_WAS 1e-5 /* of the weight of a shot's level, on every coefficient */

void dw_law_believe(struct dw_light_law *law, const struct dw_law_params *p, bool known)
{
    static const double third[4] = {-1, 3, -3, 1}, fourth[5] = {1, -4, 6, -4, 1};
    for (int i = 0; i < law->spline.n; i++)
        for (int d = 0; d < DW_LAW_REACH; d++)
            law->prior[i][d] = d == 0 ? WHERE_NO_SHOT_WAS * law->loose : 0;
    believe(law, 4, fourth, p->bend, p->tail, false, known);
    believe(law, 3, third, p->uniform, 0, true, known);
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
    for (int i = 0; i < law->spline.n; i++)
        for (int d = 0; d < DW_LAW_REACH && i + d < law->spline.n; d++) {
            corner[(at + i) * all + at + i + d] += law->prior[i][d];
            if (d > 0)
                corner[(at + i + d) * all + at + i] += law->prior[i][d];
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
