/* steadiness.c: what the corrections leave on still patches whose light is known without noise. */
#include "score.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

void score_minus_cubic(const double *x, size_t n, double *out)
{
    static const double w[7] = {-2, 3, 6, 7, 6, 3, -2};
    for (size_t i = 0; i < n; i++) {
        out[i] = (double)NAN;
        if (i < 3 || i + 3 >= n)
            continue;
        double sum = 0;
        for (size_t k = 0; k < 7; k++)
            sum += w[k] * x[i + k - 3];
        out[i] = x[i] - sum / 21; /* NAN as soon as one of the seven is */
    }
}

struct rms {
    double sum;
    size_t n;
};

static void add(struct rms *r, double x)
{
    if (isfinite(x)) {
        r->sum += x * x;
        r->n++;
    }
}

static double value(const struct rms *r)
{
    return r->n ? sqrt(r->sum / (double)r->n) : (double)NAN;
}

static bool clean(const struct score_shot *s)
{
    return s->in_ledger && s->use && s->faults[0] == '\0' && isfinite(s->gain);
}

/* Light of a patch as it comes out, stops; the light as the record alone would give it differs
 * by the true error, which is what `before` measures. */
void score_steadiness(const struct score_truth *t)
{
    struct rms after[2][4] = {{{0, 0}}}, error = {0, 0}, left = {0, 0};
    double *work = calloc(4 * t->n_shots, sizeof *work);
    if (!work)
        return;
    double *x = work, *r = x + t->n_shots, *e = r + t->n_shots, *f = e + t->n_shots;
    for (size_t p = 0; p < t->n_patches; p++) {
        const struct score_patch *patch = &t->patch[p];
        for (size_t i = 0; i < t->n_shots; i++) {
            bool good = clean(&t->shot[i]) && patch->dn && patch->dn[i] > 0;
            x[i] = good ? log2(patch->dn[i]) + t->shot[i].gain : (double)NAN;
        }
        score_minus_cubic(x, t->n_shots, r);
        for (size_t i = 0; i < t->n_shots; i++) {
            add(&after[patch->ground ? 0 : 1][score_part(t->shot[i].alt_deg)], r[i]);
            add(&after[patch->ground ? 0 : 1][3], r[i]);
        }
    }
    printf("steadying error, stops rms    all      day      twilight night\n");
    for (int k = 0; k < 2; k++)
        printf("  %-26s %.5f  %.5f  %.5f  %.5f\n", k == 0 ? "still ground" : "sky",
               value(&after[k][3]), value(&after[k][0]), value(&after[k][1]), value(&after[k][2]));

    /* the error found against the true one, both without their slow part */
    double sxy = 0, sxx = 0, syy = 0;
    for (size_t i = 0; i < t->n_shots; i++) {
        x[i] = clean(&t->shot[i]) ? t->shot[i].error_stops : (double)NAN;
        f[i] = clean(&t->shot[i]) ? t->shot[i].flicker : (double)NAN;
    }
    score_minus_cubic(x, t->n_shots, r);
    score_minus_cubic(f, t->n_shots, e);
    for (size_t i = 0; i < t->n_shots; i++) {
        if (!isfinite(r[i]) || !isfinite(e[i]))
            continue;
        add(&error, r[i]);
        add(&left, r[i] - e[i]);
        sxy += r[i] * e[i];
        sxx += r[i] * r[i];
        syy += e[i] * e[i];
    }
    printf("  exposure errors: true %.5f, left %.5f, correlation %.5f\n", value(&error),
           value(&left), sxy / sqrt(sxx * syy));
    free(work);
}
