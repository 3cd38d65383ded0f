/* dark.c: what the black levels are wrong by. Dark current, and a black that the file states too
 * low, add the same counts to all pixels, a few tenths or, on a warm night, tens of them; and these
 * do not grow when the exposure comes out too bright. So a dark tile answers an exposure error less
 * than a bright one does; that is seen, and nothing else in a picture does it. Left alone, dark
 * ground flickers with every error of exposure that is put right in the sky.
 *
 * A shot's light less a parabola through it and its eight nearest neighbours of one class (in which
 * light and the tiles' own drifts are lost, and how these bend as well) obeys
 *
 *   y_k(i) - parabola = E_i - ln2 * offset * lever_k * X_i + noise
 *
 * with E_i common to all tiles, X_i the same difference of the raw level in stops (E_i less that of
 * the record), lever_k the tile's change of light per count: one weighted regression a spell. What
 * all spells tell is put together in dark_fit.c. Second differences of three would do without so
 * many neighbours, but by dusk ground bends otherwise than sky, and the bend is in X_i too: that
 * passed for an offset of a tenth of a count.
 */
#include "decide/sensor/dark_fit.h"
#include "decide/steps.h"
#include "base/each.h"
#include "base/robust.h"

#include <math.h>

#define LN_2 0.6931471805599453
#define DARK_UNIT 256.0  /* s: dark current counts in DN at half a minute and ISO 800 */
#define REACH 4          /* neighbours to either side */
#define STILL 4.0        /* times its noise: a tile that departed more has moved */
#define LEAST_STILL 0.5  /* share of the tiles that do so little: else cloud passes */
#define FLOOR_STOPS 4e-4 /* no tile is better known than this */
#define LEAST_TILES 20
#define UNEVEN 0.1      /* of an interval that a neighbour may be off */
#define MOST_NOISE 0.05 /* stops: of a tile, as in tiles.c */
#define MOST_ERROR 0.12 /* stops: an exposure error; what is more is light */
#define AGAIN_DN 0.5    /* where an offset is this far from the one it was asked at */
#define MOST_ROUNDS 8
#define LEAST_DN 0.02 /* shots whose blacks differ by more have levels of their own */
enum { SPELLS_AT_A_TIME = 32 };

/* A parabola by least squares through nine points has at the middle one -21 14 39 54 59 54 39 14
 * -21 over 231 (Savitzky & Golay 1964); with the middle one's own share taken out, the others have:
 */
static const double beside[REACH + 1] = {0, 54 / 172.0, 39 / 172.0, 14 / 172.0, -21 / 172.0};

/* A shot and its neighbours: the middle one, then one before and one after, and so on outwards. */
enum { SPELL = 2 * REACH + 1 };
struct spell {
    const float *light[SPELL], *noise[SPELL], *lever[SPELL];
    double by[SPELL]; /* DN that come off beside the class's black */
};

static inline double share(int j)
{
    return beside[(j + 1) / 2];
}

/* What each tile departs from its parabola by (NAN where one of its shots is unknown), the variance
 * of that, and its lever. */
static void departures(const struct spell *s, size_t tiles, double *restrict off,
                       double *restrict var, double *restrict lever)
{
    for (size_t k = 0; k < tiles; k++) {
        double sum = (double)s->light[0][k], noise = (double)s->noise[0][k];
        lever[k] = (double)s->lever[0][k];
        for (int j = 1; j < SPELL; j++) {
            sum -= share(j) * (double)s->light[j][k];
            noise += share(j) * share(j) * (double)s->noise[j][k];
            lever[k] += (double)s->lever[j][k];
        }
        off[k] = sum;
        var[k] = noise + FLOOR_STOPS * FLOOR_STOPS;
        lever[k] /= SPELL;
    }
}

/* The same with some counts less in all tiles, of which some then have too little light to tell. */
static void darker_departures(const struct spell *s, size_t tiles, double *restrict off,
                              double *restrict var, double *restrict lever)
{
    for (size_t k = 0; k < tiles; k++) {
        off[k] = lever[k] = 0;
        var[k] = FLOOR_STOPS * FLOOR_STOPS;
        for (int j = 0; j < SPELL; j++) {
            double part = j == 0 ? 1 : -share(j), l = (double)s->lever[j][k];
            double less = 1 - s->by[j] * LN_2 * l, noise = (double)s->noise[j][k] / (less * less);
            if (!(less > 0) || !(noise < MOST_NOISE * MOST_NOISE))
                less = (double)NAN;
            off[k] += part * ((double)s->light[j][k] + log2(less));
            var[k] += part * part * noise;
            lever[k] += l / less / SPELL;
        }
    }
}

/* Dark current of a shot, in units of what counts in DN. */
static double dark_part(double shutter_s, double iso)
{
    return iso > 0 ? shutter_s * iso / 100 / DARK_UNIT : 0;
}

/* What the shots of one spell tell, if black is off by these counts; work: four values a tile.
 * False: nothing. Every shot's own counts come off: a longer shutter time gives more of them. */
static bool ask(const struct dw_work *w, const size_t shot[SPELL], const double counts[2],
                double *work, struct dw_dark_told *told)
{
    size_t tiles = (size_t)w->tiles, n = 0;
    struct spell s;
    double ev = 0, part = 0;
    for (int j = 0; j < SPELL; j++) {
        const struct dw_shot *own = &w->shots->shot[shot[j]];
        double dark = dark_part(own->shutter_s, own->iso), sign = j == 0 ? 1 : -share(j);
        s.light[j] = w->light + shot[j] * tiles;
        s.noise[j] = w->noise + shot[j] * tiles;
        s.lever[j] = w->lever + shot[j] * tiles;
        s.by[j] = counts[0] + counts[1] * dark;
        ev += sign * w->ev[shot[j]];
        part += dark / SPELL;
    }
    double *off = work + tiles, *vars = off + tiles, *lever = vars + tiles;
    (fabs(counts[0]) + fabs(counts[1]) > 0 ? darker_departures : departures)(&s, tiles, off, vars,
                                                                             lever);
    for (size_t k = 0; k < tiles; k++) {
        work[n] = off[k];
        n += isfinite(off[k]) != 0;
    }
    if (n < LEAST_TILES)
        return false;
    double common = dw_median(work, n);
    if (fabs(common) > MOST_ERROR) /* a passing car adds light, which is not what is looked for */
        return false;
    double one = 0, x1 = 0, y1 = 0, xx = 0, xy = 0;
    size_t still = 0;
    for (size_t k = 0; k < tiles; k++) {
        double y = off[k] - common, var = vars[k];
        if (!(fabs(y) < STILL * sqrt(var)))
            continue;
        still++;
        double x = lever[k], weight = 1 / var;
        one += weight;
        x1 += weight * x;
        y1 += weight * y;
        xx += weight * x * x;
        xy += weight * x * y;
    }
    /* cloud that a moon lights brightens the sky and not the dark ground, as an offset would */
    if ((double)still < LEAST_STILL * (double)n)
        return false;
    double spread = xx - x1 * x1 / one;
    if (!(spread > 1e-6 * xx))
        return false;
    double level = common + y1 / one - ev, lifted = x1 / one;
    *told = (struct dw_dark_told){(xy - x1 * y1 / one) / spread,
                                  1 / spread,
                                  {-LN_2 * level, -LN_2 * level * part},
                                  {-LN_2 * lifted, -LN_2 * lifted * part}};
    told->black += told->per_dn[0] * counts[0] + told->per_dn[1] * counts[1];
    return true;
}

struct asking {
    const struct dw_work *w;
    const size_t *shot;             /* those that may tell */
    const struct dw_levels **class; /* of each of them */
    struct dw_dark_told *told;
    bool *known;
    double counts[2]; /* as far as known */
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
        a->known[j] = class && ask(a->w, spell, a->counts, work, &a->told[j]);
    }
    return DW_OK;
}

/* Asks all spells, and again where black turns out to be far off: a tile most of whose level is not
 * light has less of it to tell by, and answers errors so little that it seems to have moved. */
static enum dw_status find_counts(struct asking *a, size_t shots, struct dw_dark_told *all,
                                  double *work, struct dw_error *err)
{
    const struct dw_work *w = a->w;
    const struct dw_each spells = {shots > 2 * REACH ? shots - 2 * REACH : 0, SPELLS_AT_A_TIME,
                                   4 * (size_t)w->tiles * sizeof(double), ask_spells, a};
    for (int round = 0; round < MOST_ROUNDS; round++) {
        enum dw_status status = dw_each(&spells, w->run, err);
        if (status < 0)
            return status;
        size_t n = 0;
        for (size_t j = 0; j < spells.n; j++)
            if (a->known[j])
                all[n++] = a->told[j];
        double was[2] = {a->counts[0], a->counts[1]};
        dw_dark_fit(all, n, work, a->counts);
        if (fabs(a->counts[0] - was[0]) + fabs(a->counts[1] - was[1]) < AGAIN_DN)
            break;
    }
    return DW_OK;
}

enum dw_status dw_dark(struct dw_work *w, struct dw_facts *facts, struct dw_error *err)
{
    size_t mark = w->arena.n, shots = 0, *shot = DW_TAKE(&w->arena, w->n, size_t);
    struct dw_dark_told *told = DW_TAKE(&w->arena, w->n, struct dw_dark_told);
    struct dw_dark_told *all = DW_TAKE(&w->arena, w->n, struct dw_dark_told);
    const struct dw_levels **class = DW_TAKE(&w->arena, w->n, const struct dw_levels *);
    bool *known = DW_TAKE(&w->arena, w->n, bool);
    double *work = DW_TAKE(&w->arena, w->n, double);
    if (!class || !shot || !told || !all || !known || !work)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for the black levels");
    for (size_t i = 0; i < w->n; i++)
        if (w->usable[i] && w->recorded[i]) {
            class[shots] = dw_facts_levels(facts, &w->shots->shot[i]);
            shot[shots++] = i;
        }
    struct asking a = {w, shot, class, told, known, {0, 0}};
    enum dw_status status = find_counts(&a, shots, all, work, err);
    dw_arena_free_to(&w->arena, mark);
    if (status < 0)
        return status;
    status = dw_levels_part(w, a.counts[1] / DARK_UNIT / 100, LEAST_DN, facts, err);
    if (status < 0)
        return status;
    for (size_t l = 0; l < facts->n_levels; l++) {
        struct dw_levels *level = &facts->levels[l];
        double dark = dark_part(level->shutter_s, level->iso);
        for (int c = 0; c < 3; c++)
            level->black[c] += (float)(a.counts[0] + a.counts[1] * dark);
    }
    return dw_tiles(w, facts, err);
}
