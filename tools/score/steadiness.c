/* steadiness.c: how steady the corrections leave still patches. Patches are known without noise:
 * their truth is what a pixel is expected to hold, so nothing needs to be subtracted for it.
 *
 * Three figures for each patch, all in stops rms after a cubic through 7 neighbours is taken off:
 *
 *   comes out  log2(DN) + gain: the patch as a finished picture shows it, before the look's curve
 *   own light  what the patch's true light does to that, were every exposure error found exactly:
 *              a timer that starts late, a longer shutter time whose middle lies later, stars that
 *              cross a patch of sky; real, and no error of the steadying
 *   left       the difference, which is the steadying error: true error less the one found, with
 *              whatever an untold shift of black does to this patch
 */
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

/* Day, twilight, night, all. */
struct parts {
    struct rms part[4];
};

static void add_part(struct parts *p, double alt_deg, double x)
{
    add(&p->part[score_part(alt_deg)], x);
    add(&p->part[3], x);
}

static void show(const char *what, const struct parts *p)
{
    printf("  %-24s %.5f  %.5f  %.5f  %.5f\n", what, value(&p->part[3]), value(&p->part[0]),
           value(&p->part[1]), value(&p->part[2]));
}

/* A clean frame: in the truth without fault, and not lit by passing cars, which no still patch
 * survives. */
bool score_clean(const struct score_shot *s)
{
    return s->in_ledger && s->use && s->faults[0] == '\0' && !s->headlights && isfinite(s->gain);
}

/* Without a record, and nothing else. */
static bool unrecorded(const struct score_shot *s)
{
    return s->in_ledger && s->use && strcmp(s->faults, "no-exposure") == 0 && isfinite(s->gain);
}

struct figures {
    struct parts out, own, left; /* of one kind of patch */
    struct rms unrecorded;       /* comes out, at frames without a record */
};

/* x, y, z, r: room for n_shots values each. */
static void measure_patch(const struct score_truth *t, const struct score_patch *patch,
                          double *work, struct figures *f)
{
    size_t n = t->n_shots;
    double *x = work, *y = x + n, *z = y + n, *r = z + n, r2 = score_patch_r2(t, patch);
    for (size_t i = 0; i < n; i++) {
        const struct score_shot *s = &t->shot[i];
        double dn = patch->dn[i] - s->black_shift;
        bool known = dn > 0 && patch->light[i] > 0;
        double lift = score_lift(s, r2);
        x[i] = known && (score_clean(s) || unrecorded(s)) ? log2(dn) + s->gain + lift : (double)NAN;
        z[i] = known && score_clean(s) ? log2(dn / patch->light[i]) + s->ev100 - s->flicker + lift
                                       : (double)NAN;
        y[i] = x[i] - z[i];
    }
    score_minus_cubic(x, n, r);
    for (size_t i = 0; i < n; i++) {
        if (unrecorded(&t->shot[i]))
            add(&f->unrecorded, r[i]);
        else
            add_part(&f->out, t->shot[i].alt_deg, r[i]);
    }
    score_minus_cubic(y, n, r);
    for (size_t i = 0; i < n; i++)
        add_part(&f->own, t->shot[i].alt_deg, r[i]);
    score_minus_cubic(z, n, r);
    for (size_t i = 0; i < n; i++)
        add_part(&f->left, t->shot[i].alt_deg, r[i]);
}

/* The bounds that the project set itself: all, day, twilight, night, sky; NAN where none is. */
static const struct {
    const char *scene;
    double bound[5];
} bounds[] = {
    {"clear", {3e-4, 1e-4, 2e-4, 4e-4, 3e-4}},
    {"manual-lens", {3e-4, 1e-4, 2e-4, 4e-4, 3e-4}},
    {"south", {3e-4, 1e-4, 2e-4, 4e-4, 3e-4}},
    {"white-night", {3e-4, 1e-4, 2e-4, 4e-4, 3e-4}},
    {"portrait", {3e-4, 1e-4, 2e-4, 4e-4, 3e-4}},
    {"two-days", {4e-4, 1e-4, 2e-4, 5e-4, 4e-4}},
    {"everything-moves", {NAN, 7e-4, 9e-4, 25e-4, 4e-4}},
    {"broken-cloud", {NAN, 120e-4, 50e-4, 4e-4, NAN}},
};

static void show_bounds(const char *scene, const struct figures *ground, const struct figures *sky)
{
    static const char *const name[5] = {"all", "day", "twilight", "night", "sky"};
    const double found[5] = {value(&ground->left.part[3]), value(&ground->left.part[0]),
                             value(&ground->left.part[1]), value(&ground->left.part[2]),
                             value(&sky->left.part[3])};
    for (size_t k = 0; k < sizeof bounds / sizeof *bounds; k++) {
        if (strcmp(bounds[k].scene, scene) != 0)
            continue;
        printf("bounds of %s:", scene);
        for (int i = 0; i < 5; i++)
            if (isfinite(bounds[k].bound[i]) && isfinite(found[i]))
                printf("  %s %.5f of %.5f%s", name[i], found[i], bounds[k].bound[i],
                       found[i] > bounds[k].bound[i] ? " MISSED" : "");
        printf("\n");
    }
}

/* The errors found against the true ones, both without their slow part. */
static void show_errors(const struct score_truth *t, double *work)
{
    struct rms error = {0, 0};
    struct parts left = {{{0, 0}}}, doubt = {{{0, 0}}};
    double sxy = 0, sxx = 0, syy = 0;
    size_t n = t->n_shots;
    double *x = work, *f = x + n, *r = f + n, *e = r + n;
    for (size_t i = 0; i < n; i++) {
        x[i] = score_clean(&t->shot[i]) ? t->shot[i].error_stops : (double)NAN;
        f[i] = score_clean(&t->shot[i]) ? t->shot[i].flicker : (double)NAN;
    }
    score_minus_cubic(x, n, r);
    score_minus_cubic(f, n, e);
    for (size_t i = 0; i < n; i++) {
        if (!isfinite(r[i]) || !isfinite(e[i]))
            continue;
        add(&error, r[i]);
        add_part(&left, t->shot[i].alt_deg, r[i] - e[i]);
        /* a cubic through 7 leaves two thirds of the variance of independent errors */
        add_part(&doubt, t->shot[i].alt_deg, (r[i] - e[i]) / (t->shot[i].sigma * sqrt(2.0 / 3)));
        sxy += r[i] * e[i];
        sxx += r[i] * r[i];
        syy += e[i] * e[i];
    }
    show("exposure errors left", &left);
    show("  over their sigma", &doubt);
    printf("  true exposure errors     %.5f; correlation with those found %.5f\n", value(&error),
           sxy / sqrt(sxx * syy));
}

static int by_value(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* Frames lit by passing cars: is their light taken for an error of exposure? Errors found less true
 * ones, against the middle of those of the clean frames around. */
static void show_headlights(const struct score_truth *t)
{
    size_t lit = 0, taken = 0;
    double worst = 0;
    for (size_t i = 0; i < t->n_shots; i++) {
        const struct score_shot *s = &t->shot[i];
        if (!s->headlights || !s->in_ledger || !isfinite(s->flicker) || s->faults[0])
            continue;
        double around[41];
        size_t n = 0;
        for (size_t j = i > 20 ? i - 20 : 0; j < t->n_shots && j <= i + 20; j++)
            if (score_clean(&t->shot[j]))
                around[n++] = t->shot[j].flicker - t->shot[j].error_stops;
        if (n < 3)
            continue;
        qsort(around, n, sizeof *around, by_value);
        double off = fabs(s->flicker - s->error_stops - around[n / 2]);
        worst = fmax(worst, off);
        taken += off > 0.15;
        lit++;
    }
    if (lit)
        printf(
            "  %zu frames lit by headlights: %zu of them taken for exposure errors, by %.2f stop "
            "at most\n",
            lit, taken, worst);
}

void score_steadiness(const struct score_truth *t)
{
    struct figures ground = {0}, sky = {0};
    double *work = calloc(4 * t->n_shots, sizeof *work);
    if (!work)
        return;
    for (size_t p = 0; p < t->n_patches; p++)
        if (t->patch[p].ground || t->patch[p].sky)
            measure_patch(t, &t->patch[p], work, t->patch[p].ground ? &ground : &sky);
    printf("steadiness, stops rms      all      day      twilight night\n");
    show("still ground: comes out", &ground.out);
    show("  its own light", &ground.own);
    show("  left by the steadying", &ground.left);
    show("sky: comes out", &sky.out);
    show("  its own light", &sky.own);
    show("  left by the steadying", &sky.left);
    show_errors(t, work);
    if (ground.unrecorded.n)
        printf("  frames without a record come out on still ground at %.5f\n",
               value(&ground.unrecorded));
    show_headlights(t);
    show_bounds(t->scene, &ground, &sky);
    free(work);
}
