/* dark.c: what the black levels are wrong by. Dark current, and a black that the file states a
 * little too low, add the same few tenths of a count to all pixels, and do not grow when the
 * exposure comes out too bright. So a dark tile answers an exposure error less than a bright one
 * does; that is seen, and nothing else in a picture does it. Left alone, dark ground flickers with
 * every error of exposure that is put right in the sky.
 *
 * A shot's light less a parabola through it and its eight nearest neighbours of one class (in which
 * light and the tiles' own drifts are lost, and how these bend as well) obeys
 *
 *   y_k(i) - parabola = E_i - ln2 * offset * lever_k * X_i + noise
 *
 * with E_i common to all tiles, X_i the same difference of the raw level in stops (E_i less that of
 * the record), lever_k the tile's change of light per count. One weighted regression a class.
 * Second differences of three would do without so many neighbours, but by dusk ground bends
 * otherwise than sky, and the bend is in X_i too: that passed for an offset of a tenth of a count.
 */
#include "decide/steps.h"
#include "base/each.h"
#include "base/robust.h"

#include <math.h>

#define LN_2 0.6931471805599453
#define USUAL_DN 0.3    /* rms of either part that is expected of a camera */
#define DARK_UNIT 256.0 /* s: dark current counts in DN at half a minute and ISO 800 */
#define REACH 4         /* neighbours to either side */
#define SHARED                                                                                     \
    1.54                 /* spells overlap: their noise counts so much more (sum of squares of the \
                          * autocorrelation of the weights below) */
#define MOST_DN 2.0      /* more is no dark current: the lens' shading moves, or the scene */
#define STILL 4.0        /* times its noise: a tile that departed more has moved */
#define FLOOR_STOPS 4e-4 /* no tile is better known than this */
#define LEAST_TILES 20
#define UNEVEN 0.1      /* of an interval that a neighbour may be off */
#define MOST_ERROR 0.12 /* stops: an exposure error; what is more is light */
#define ROUNDS 4
enum { SPELLS_AT_A_TIME = 32 };

/* What a spell tells: the change of black (DN) that would explain their dark tiles, its
 * variance from noise, and what an offset of one count would make of it. */
struct told {
    double black, var, per_dn, part[2];
};

/* A parabola by least squares through nine points has at the middle one -21 14 39 54 59 54 39 14
 * -21 over 231 (Savitzky & Golay 1964); with the middle one's own share taken out, the others have:
 */
static const double beside[REACH + 1] = {0, 54 / 172.0, 39 / 172.0, 14 / 172.0, -21 / 172.0};

/* A shot and its neighbours: the middle one, then one before and one after, and so on outwards. */
enum { SPELL = 2 * REACH + 1 };
struct spell {
    const float *light[SPELL], *noise[SPELL], *lever[SPELL];
};

static inline double share(int j)
{
    return beside[(j + 1) / 2];
}

/* What each tile departs from its parabola by (NAN where one of its shots is unknown), and the
 * variance of that. */
static void departures(const struct spell *s, size_t tiles, double *restrict off,
                       double *restrict var)
{
    for (size_t k = 0; k < tiles; k++) {
        double sum = (double)s->light[0][k], noise = (double)s->noise[0][k];
        for (int j = 1; j < SPELL; j++) {
            sum -= share(j) * (double)s->light[j][k];
            noise += share(j) * share(j) * (double)s->noise[j][k];
        }
        off[k] = sum;
        var[k] = noise + FLOOR_STOPS * FLOOR_STOPS;
    }
}

static double lever(const struct spell *s, size_t k)
{
    double sum = 0;
    for (int j = 0; j < SPELL; j++)
        sum += (double)s->lever[j][k];
    return sum / SPELL;
}

/* How much of each part a class has. */
static void parts(const struct dw_levels *level, double part[2])
{
    part[0] = 1;
    part[1] = level->iso > 0 ? level->shutter_s * level->iso / 100 / DARK_UNIT : 0;
}

/* What the shots of one spell tell; work: three values a tile. False: nothing. */
static bool ask(const struct dw_work *w, const struct dw_levels *class, const size_t shot[SPELL],
                double *work, struct told *told)
{
    size_t tiles = (size_t)w->tiles, n = 0;
    struct spell s;
    double ev = w->ev[shot[0]];
    for (int j = 0; j < SPELL; j++) {
        s.light[j] = w->light + shot[j] * tiles;
        s.noise[j] = w->noise + shot[j] * tiles;
        s.lever[j] = w->lever + shot[j] * tiles;
        ev -= share(j) * w->ev[shot[j]];
    }
    double *off = work + tiles, *vars = off + tiles;
    departures(&s, tiles, off, vars);
    for (size_t k = 0; k < tiles; k++) {
        work[n] = off[k];
        n += isfinite(off[k]) != 0;
    }
    if (n < LEAST_TILES)
        return false;
    double common = dw_median(work, n);
    if (fabs(common) > MOST_ERROR) /* a passing car adds light, which is not what is looked for */
        return false;
    double level = common - ev;
    double one = 0, x1 = 0, y1 = 0, xx = 0, xy = 0;
    for (size_t k = 0; k < tiles; k++) {
        double y = off[k] - common, var = vars[k];
        if (!(fabs(y) < STILL * sqrt(var)))
            continue;
        double x = lever(&s, k), weight = 1 / var;
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
 * well; how much it does is learnt from all spells that can tell, and counts as noise. */
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
            double weight = dw_tukey_weight(rest, 4.685 * sqrt(var)) / (SHARED * var);
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

struct asking {
    const struct dw_work *w;
    const size_t *shot;             /* those that may tell */
    const struct dw_levels **class; /* of each of them */
    struct told *told;
    bool *known;
};

/* The spell about the shot that stands at `middle` in the list, where it has REACH neighbours to
 * either side; its class, or NULL where neighbours are of others or stand unevenly. */
static const struct dw_levels *find_spell(const struct asking *a, size_t middle,
                                          size_t spell[SPELL])
{
    const double *utc = a->w->utc;
    const size_t *shot = a->shot + middle;
    double unit = (utc[shot[REACH]] - utc[*(shot - REACH)]) / (2 * REACH);
    for (int j = 0; j < SPELL; j++) {
        int step = j % 2 ? -(j + 1) / 2 : j / 2;
        spell[j] = shot[step];
        double off = utc[spell[j]] - utc[*shot] - step * unit;
        if (!(fabs(off) < UNEVEN * unit) || *(a->class + middle + step) != a->class[middle])
            return NULL;
    }
    return a->class[middle];
}

static enum dw_status ask_spells(void *ctx, void *work, size_t from, size_t to,
                                 struct dw_error *err)
{
    (void)err;
    struct asking *a = ctx;
    for (size_t j = from; j < to; j++) {
        size_t spell[SPELL];
        const struct dw_levels *class = find_spell(a, REACH + j, spell);
        a->known[j] = class && ask(a->w, class, spell, work, &a->told[j]);
    }
    return DW_OK;
}

enum dw_status dw_dark(struct dw_work *w, struct dw_facts *facts, struct dw_error *err)
{
    size_t mark = w->arena.n, shots = 0, n = 0, *shot = DW_TAKE(&w->arena, w->n, size_t);
    struct told *told = DW_TAKE(&w->arena, w->n, struct told);
    const struct dw_levels **class = DW_TAKE(&w->arena, w->n, const struct dw_levels *);
    bool *known = DW_TAKE(&w->arena, w->n, bool);
    double *work = DW_TAKE(&w->arena, w->n, double), found[2];
    if (!class || !shot || !told || !known || !work)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for the black levels");
    for (size_t i = 0; i < w->n; i++)
        if (w->usable[i] && w->recorded[i]) {
            class[shots] = dw_facts_levels(facts, &w->shots->shot[i]);
            shot[shots++] = i;
        }
    struct asking a = {w, shot, class, told, known};
    const struct dw_each spells = {shots > 2 * REACH ? shots - 2 * REACH : 0, SPELLS_AT_A_TIME,
                                   3 * (size_t)w->tiles * sizeof(double), ask_spells, &a};
    enum dw_status status = dw_each(&spells, w->run, err);
    if (status < 0)
        return status;
    for (size_t j = 0; j < spells.n; j++)
        if (known[j])
            told[n++] = told[j];
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
