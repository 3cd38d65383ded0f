/* dark.c: what the black levels are wrong by. Dark current, and a black that the file states a
 * little too low, add the same few tenths of a count to all pixels, and do not grow when the
 * exposure comes out too bright. So a dark tile answers an exposure error less than a bright one
 * does; that is seen, and nothing else in a picture does it. Left alone, dark ground flickers with
 * every error of exposure that is put right in the sky.
 *
 * Of each three neighbours in one class, second differences (which lose light and the tiles' own
 * drifts) obey
 *
 *   y_k(i) - (y_k(i-1) + y_k(i+1))/2 = E_i - ln2 * offset * lever_k * X_i + noise
 *
 * with E_i common to all tiles, X_i the same difference of the raw level in stops (E_i less that of
 * the record), lever_k the tile's change of light per count. One weighted regression a class. */
#include "decide/steps.h"
#include "base/robust.h"

#include <math.h>

#define LN_2 0.6931471805599453
#define USUAL_DN 0.3     /* rms of either part that is expected of a camera */
#define DARK_UNIT 256.0  /* s: dark current counts in DN at half a minute and ISO 800 */
#define TWICE 2.0        /* neighbouring triples share shots, so their noise counts twice */
#define MOST_DN 2.0      /* more is no dark current: the lens' shading moves, or the scene */
#define STILL 4.0        /* times its noise: a tile that departed more has moved */
#define FLOOR_STOPS 4e-4 /* no tile is better known than this */
#define LEAST_TILES 20
#define MOST_ERROR 0.12 /* stops: an exposure error; what is more is light */
#define ROUNDS 4

/* What three neighbours tell: the change of black (DN) that would explain their dark tiles, its
 * variance from noise, and what an offset of one count would make of it. */
struct told {
    double black, var, per_dn, part[2];
};

struct triple {
    const struct dw_work *w;
    const float *light[3], *noise[3], *lever[3];
};

/* Second difference of tile k; NAN where one of the three is unknown. */
static double bend(const struct triple *t, size_t k)
{
    return (double)t->light[1][k] - 0.5 * ((double)t->light[0][k] + (double)t->light[2][k]);
}

static double variance(const struct triple *t, size_t k)
{
    return (double)t->noise[1][k] + 0.25 * ((double)t->noise[0][k] + (double)t->noise[2][k]) +
           FLOOR_STOPS * FLOOR_STOPS;
}

static double lever(const struct triple *t, size_t k)
{
    return ((double)t->lever[0][k] + (double)t->lever[1][k] + (double)t->lever[2][k]) / 3;
}

/* How much of each part a class has. */
static void parts(const struct dw_levels *level, double part[2])
{
    part[0] = 1;
    part[1] = level->iso > 0 ? level->shutter_s * level->iso / 100 / DARK_UNIT : 0;
}

/* What the shots a, i, b of one class tell; work: a value a tile. False: nothing. */
static bool ask(const struct dw_work *w, const struct dw_levels *class, size_t a, size_t i,
                size_t b, double *work, struct told *told)
{
    size_t tiles = (size_t)w->tiles, n = 0;
    struct triple t = {.w = w};
    const size_t shot[3] = {a, i, b};
    for (int k = 0; k < 3; k++) {
        t.light[k] = w->light + shot[k] * tiles;
        t.noise[k] = w->noise + shot[k] * tiles;
        t.lever[k] = w->lever + shot[k] * tiles;
    }
    for (size_t k = 0; k < tiles; k++)
        if (isfinite(bend(&t, k)))
            work[n++] = bend(&t, k);
    if (n < LEAST_TILES)
        return false;
    double common = dw_median(work, n);
    if (fabs(common) > MOST_ERROR) /* a passing car adds light, which is not what is looked for */
        return false;
    double level = common - (w->ev[i] - 0.5 * (w->ev[a] + w->ev[b]));
    double one = 0, x1 = 0, y1 = 0, xx = 0, xy = 0;
    for (size_t k = 0; k < tiles; k++) {
        double y = bend(&t, k) - common, var = variance(&t, k);
        if (!(fabs(y) < STILL * sqrt(var)))
            continue;
        double x = lever(&t, k), weight = 1 / var;
        one += weight;
        x1 += weight * x;
        y1 += weight * y;
        xx += weight * x * x;
        xy += weight * x * y;
    }
    double spread = one > 0 ? xx - x1 * x1 / one : 0;
    if (!(spread > 1e-6 * xx))
        return false;
    *told = (struct told){(xy - x1 * y1 / one) / spread, 1 / spread, -LN_2 * level, {0, 0}};
    parts(class, told->part);
    return true;
}

/* The two parts of the offset. A black level that wanders from shot to shot moves the dark tiles as
 * well; how much it does is learnt from all triples that can tell, and counts as noise. */
static void fit(const struct told *told, size_t n, double *work, double found[2])
{
    size_t sure = 0;
    for (size_t i = 0; i < n; i++)
        if (told[i].var < 1)
            work[sure++] =
                DW_MAD_TO_SIGMA * DW_MAD_TO_SIGMA * told[i].black * told[i].black - told[i].var;
    double wander = sure >= 12 ? fmax(0, dw_median(work, sure)) : USUAL_DN * USUAL_DN;
    const double prior = 1 / (USUAL_DN * USUAL_DN);
    found[0] = found[1] = 0;
    for (int round = 0; round < ROUNDS; round++) {
        double a[2][2] = {{prior, 0}, {0, prior}}, b[2] = {0, 0};
        for (size_t i = 0; i < n; i++) {
            const struct told *t = &told[i];
            double x[2] = {t->per_dn * t->part[0], t->per_dn * t->part[1]}, var = t->var + wander;
            double rest = t->black - x[0] * found[0] - x[1] * found[1];
            double weight = dw_tukey_weight(rest, 4.685 * sqrt(var)) / (TWICE * var);
            for (int p = 0; p < 2; p++) {
                for (int q = 0; q < 2; q++)
                    a[p][q] += weight * x[p] * x[q];
                b[p] += weight * x[p] * t->black;
            }
        }
        double det = a[0][0] * a[1][1] - a[0][1] * a[1][0];
        found[0] = (b[0] * a[1][1] - b[1] * a[0][1]) / det;
        found[1] = (b[1] * a[0][0] - b[0] * a[1][0]) / det;
    }
}

enum dw_status dw_dark(struct dw_work *w, struct dw_facts *facts, struct dw_error *err)
{
    size_t mark = w->arena.n, shots = 0, n = 0, *shot = DW_TAKE(&w->arena, w->n, size_t);
    size_t most = w->n > (size_t)w->tiles ? w->n : (size_t)w->tiles;
    struct told *told = DW_TAKE(&w->arena, w->n, struct told);
    double *work = DW_TAKE(&w->arena, most, double), found[2];
    if (!shot || !told || !work)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for the black levels");
    for (size_t i = 0; i < w->n; i++)
        if (w->usable[i] && w->recorded[i])
            shot[shots++] = i;
    for (size_t j = 1; j + 1 < shots; j++) {
        size_t a = shot[j - 1], i = shot[j], b = shot[j + 1];
        const struct dw_levels *class = dw_facts_levels(facts, &w->shots->shot[i]);
        double before = w->utc[i] - w->utc[a], after = w->utc[b] - w->utc[i];
        if (fabs(before - after) < 0.1 * after &&
            dw_facts_levels(facts, &w->shots->shot[a]) == class &&
            dw_facts_levels(facts, &w->shots->shot[b]) == class)
            n += ask(w, class, a, i, b, work, &told[n]);
    }
    fit(told, n, work, found);
    dw_arena_free_to(&w->arena, mark);
    for (size_t l = 0; l < facts->n_levels; l++) {
        double part[2];
        parts(&facts->levels[l], part);
        double offset = part[0] * found[0] + part[1] * found[1];
        for (int c = 0; c < 3; c++)
            facts->levels[l].black[c] += (float)fmax(-MOST_DN, fmin(MOST_DN, offset));
    }
    return dw_tiles(w, facts, err);
}
