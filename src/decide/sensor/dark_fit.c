/* dark_fit.c: see dark_fit.h. Most cameras' blacks are right to a few tenths of a count, but a
 * sensor on a warm night leaves tens. So each part's prior is a scale mixture of normals: a few
 * tenths are usual, four times as much is a quarter as probable for dark current and a sixteenth
 * for the part that every shot has, and so on; the densities fall off with the square, as Cauchy's
 * distribution does, and with the cube. Where all that tell have one setting the two parts are one
 * there, and tens of counts must not be taken for a black that is off in the shortest shots as
 * well. Without dark tiles that tell, the usual width holds; where they tell, the evidence of a
 * width decides (empirical Bayes, here summed over all widths instead of taking the best). */
#include "decide/sensor/dark_fit.h"
#include "base/robust.h"

#include <math.h>

#define USUAL_DN 0.3 /* rms of either part that is expected of most cameras */
#define WIDER 4.0    /* from one width to the next, which is so many times less probable, */
#define RARER 2.0    /* and by this power of it for the part that every shot has */
enum { WIDTHS = 6 }; /* up to 300 DN, which is no bound: the normal's own tail goes on */
/* Spells overlap: their noise counts so much more (sum of squares of the autocorrelation of the
 * weights in dark.c). */
#define SHARED 1.54
#define SETTLED 1e-3 /* DN */
enum { MOST_ROUNDS = 30, LEAST_SURE = 12 };

/* Normal equations of the two parts. */
struct sums {
    double a[2][2], b[2];
};

static double left_of(const struct dw_dark_told *t, const double found[2])
{
    return t->black - t->per_dn[0] * found[0] - t->per_dn[1] * found[1];
}

/* Variance of a change of black from shot to shot: what is left beyond noise. */
static double wander_of(const struct dw_dark_told *told, size_t n, const double found[2],
                        double *work)
{
    size_t sure = 0;
    for (size_t i = 0; i < n; i++) {
        double left = DW_MAD_TO_SIGMA * left_of(&told[i], found);
        if (told[i].var < 1)
            work[sure++] = left * left - told[i].var;
    }
    return sure >= LEAST_SURE ? fmax(0, dw_median(work, sure)) : USUAL_DN * USUAL_DN;
}

static struct sums weigh(const struct dw_dark_told *told, size_t n, const double found[2],
                         double wander)
{
    struct sums s = {{{0}}, {0}};
    for (size_t i = 0; i < n; i++) {
        const struct dw_dark_told *t = &told[i];
        double left = left_of(t, found), var = t->var + wander, x[2];
        double weight = dw_tukey_weight(left, 4.685 * sqrt(var)) / (SHARED * var);
        for (int p = 0; p < 2; p++) /* of what is left, so much is the black's own change */
            x[p] = t->per_dn[p] - t->less[p] * left * wander / var;
        for (int p = 0; p < 2; p++) {
            for (int q = 0; q < 2; q++)
                s.a[p][q] += weight * x[p] * x[q];
            s.b[p] += weight * x[p] * t->black;
        }
    }
    return s;
}

/* Mean under normal priors of these widths; returns the logarithm of the evidence for them. */
static double under(const struct sums *s, double first, double second, double mean[2])
{
    double p = 1 / (first * first), q = 1 / (second * second);
    double a = s->a[0][0] + p, c = s->a[1][1] + q, between = s->a[0][1];
    double det = a * c - between * between;
    mean[0] = (s->b[0] * c - s->b[1] * between) / det;
    mean[1] = (s->b[1] * a - s->b[0] * between) / det;
    return 0.5 * (s->b[0] * mean[0] + s->b[1] * mean[1] + log(p * q / det));
}

/* Mean under all widths of both parts. */
static void expect(const struct sums *s, double found[2])
{
    double sum = 0, best = -(double)INFINITY;
    found[0] = found[1] = 0;
    for (int i = 0; i < WIDTHS; i++)
        for (int j = 0; j < WIDTHS; j++) {
            double mean[2];
            double speaks = under(s, USUAL_DN * pow(WIDER, i), USUAL_DN * pow(WIDER, j), mean) -
                            (RARER * i + j) * log(WIDER);
            double fade = speaks > best ? exp(best - speaks) : 1;
            best = fmax(best, speaks);
            double share = exp(speaks - best);
            sum = sum * fade + share;
            for (int p = 0; p < 2; p++)
                found[p] = found[p] * fade + share * mean[p];
        }
    found[0] /= sum;
    found[1] /= sum;
}

void dw_dark_fit(const struct dw_dark_told *told, size_t n, double *work, double found[2])
{
    /* First without a prior, all that moves dark tiles taken for noise; else a large offset would
     * go on being taken for a black that wanders. */
    const double none[2] = {0, 0}, widest = USUAL_DN * pow(WIDER, WIDTHS - 1);
    struct sums s = weigh(told, n, none, wander_of(told, n, none, work));
    under(&s, widest, widest, found);
    for (int round = 0; round < MOST_ROUNDS; round++) {
        double was[2] = {found[0], found[1]};
        s = weigh(told, n, was, wander_of(told, n, was, work));
        expect(&s, found);
        if (fabs(found[0] - was[0]) + fabs(found[1] - was[1]) < SETTLED)
            return;
    }
}
