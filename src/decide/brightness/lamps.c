/* lamps.c: tiles that lamps light, a lit room about a window above all. They do not fall with the
 * sun, and they go on and off at once: a key that followed them would lurch with every switch and
 * lose the view, and the steadying would take dusk beside them for exposure errors. A tile is left
 * out of both, for the whole shoot so that the key has no step where it goes, if by night it stands
 * far above what daylight would let expect beside the darker tiles, and either goes on or off for
 * good between two shots, or is burnt out: what the camera let burn out all night is not what it
 * was there for. A lit street that the camera was set for does neither, and counts. */
#include "decide/brightness/switched.h"
#include "decide/steps.h"
#include "base/limit.h"
#include "base/robust.h"

#include <math.h>
#include <string.h>

struct lamp_params {
    double night_deg;  /* below this the sun's own light can make no such step */
    double day_deg;    /* above it daylight tells what each tile gives back */
    double stands_out; /* stops above what the darker quarter of the tiles lets expect */
    double keeps;      /* share of a tile's leaps in a night after which it keeps to its light: a
                        * cloud before the moon comes and goes, and seldom stays so long */
    float burnt;       /* share of a tile's samples at saturation */
    double burnt_long; /* share of the night's shots in which it is burnt out */
    double least_kept; /* share of the tiles that must be left for the key */
};
static const struct lamp_params LAMPS = {-6, 3, 2, 0.5, 0.2f, 0.5, 0.2};
enum { MOST_DAY = 200, LEAST_NIGHT = 5 };

/* Light of a tile, exposure errors taken off, also where it is too bright or dark to be compared.
 */
static double tile_light(const struct dw_work *w, const struct dw_levels *l, size_t i, size_t k)
{
    double black = (double)l->black[1], range = (double)l->white - black;
    double level = (double)w->survey->measure[i].tile[k].mean[1] - black;
    if (!isfinite(level))
        return (double)NAN;
    return log2(dw_at_least(level / range, 1e-6)) + w->ev[i];
}

/* What each tile gives back of daylight: the median over shots by day of its light beside the
 * median tile's. Without a day nothing is known of it, and all are taken for alike. */
static void learn_expected(const struct dw_work *w, const struct dw_facts *facts, const size_t *day,
                           size_t n, float *beside, double *work, double *expected)
{
    size_t tiles = (size_t)w->tiles, step = n / MOST_DAY + 1, m = 0;
    for (size_t d = 0; d < n; d += step, m++) {
        const struct dw_levels *l = dw_facts_levels(facts, &w->shots->shot[day[d]]);
        size_t known = 0;
        for (size_t k = 0; k < tiles; k++) {
            double v = tile_light(w, l, day[d], k);
            beside[m * tiles + k] = (float)v;
            if (isfinite(v))
                work[known++] = v;
        }
        double middle = known ? dw_median(work, known) : 0;
        for (size_t k = 0; k < tiles; k++)
            beside[m * tiles + k] -= (float)middle;
    }
    for (size_t k = 0; k < tiles; k++) {
        double of_day[MOST_DAY + 1];
        size_t known = 0;
        for (size_t d = 0; d < m; d++)
            if (isfinite(beside[d * tiles + k]))
                of_day[known++] = (double)beside[d * tiles + k];
        expected[k] = known ? dw_median(of_day, known) : 0;
    }
}

/* Which tiles stand out in the j-th shot of the night. */
static void find_standing(const struct dw_work *w, const struct dw_night *g, const double *expected,
                          size_t j, double *excess, bool *out)
{
    size_t tiles = (size_t)w->tiles;
    for (size_t k = 0; k < tiles; k++)
        excess[k] = (double)g->light[j * tiles + k] - expected[k];
    double dark = dw_lower_quartile(excess, tiles, g->work);
    for (size_t k = 0; k < tiles; k++)
        out[k] = excess[k] > dark + LAMPS.stands_out;
}

static void measure_night(const struct dw_work *w, const struct dw_facts *facts, struct dw_night *g)
{
    for (size_t j = 0; j < g->n; j++) {
        const struct dw_levels *l = dw_facts_levels(facts, &w->shots->shot[g->shot[j]]);
        for (size_t k = 0; k < (size_t)w->tiles; k++) {
            size_t at = j * (size_t)w->tiles + k;
            g->light[at] = (float)tile_light(w, l, g->shot[j], k);
            g->burnt[at] = w->survey->measure[g->shot[j]].tile[k].clipped > LAMPS.burnt;
        }
    }
}

/* Fills w->lamp; excess: room for two numbers a tile; standing: for two. leaps, burnt: all 0. */
static void judge(struct dw_work *w, const struct dw_night *g, const double *expected,
                  double *excess, bool *standing, struct dw_leaps *leaps, size_t *burnt)
{
    size_t tiles = (size_t)w->tiles, left = 0;
    bool *before = standing, *now = standing + tiles;
    for (size_t j = 0; j < g->n; j++) {
        find_standing(w, g, expected, j, excess, now);
        for (size_t k = 0; k < tiles; k++)
            burnt[k] += now[k] && g->burnt[j * tiles + k];
        if (j > 0)
            dw_count_leaps(w, g, j, before, now, excess, leaps);
        memcpy(before, now, tiles * sizeof *now);
    }
    for (size_t k = 0; k < tiles; k++) {
        bool switched = leaps[k].kept > 0 && leaps[k].kept >= LAMPS.keeps * leaps[k].all;
        w->lamp[k] = switched || (double)burnt[k] > LAMPS.burnt_long * (double)g->n;
        left += !w->lamp[k];
    }
    if ((double)left < LAMPS.least_kept * (double)tiles)
        memset(w->lamp, 0, tiles * sizeof *w->lamp);
}

enum dw_status dw_lamps(struct dw_work *w, const struct dw_facts *facts, struct dw_error *err)
{
    size_t tiles = (size_t)w->tiles;
    w->lamp = DW_TAKE(&w->arena, tiles, bool);
    size_t mark = w->arena.n, days = 0;
    size_t *shot = DW_TAKE(&w->arena, w->n, size_t), *day = DW_TAKE(&w->arena, w->n, size_t);
    if (!w->lamp || !shot || !day)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for %zu shots", w->n);
    struct dw_night g = {.shot = shot};
    for (size_t i = 0; i < w->n; i++) {
        if (!w->survey->measure[i].usable || !w->survey->measure[i].tile)
            continue;
        if (w->alt[i] < LAMPS.night_deg)
            shot[g.n++] = i;
        else if (w->alt[i] > LAMPS.day_deg)
            day[days++] = i;
    }
    if (g.n >= LEAST_NIGHT) {
        g.light = DW_TAKE(&w->arena, g.n * tiles, float);
        g.burnt = DW_TAKE(&w->arena, g.n * tiles, bool);
        g.work = DW_TAKE(&w->arena, tiles, double);
        double *expected = DW_TAKE(&w->arena, tiles, double);
        float *beside = DW_TAKE(&w->arena, (MOST_DAY + 1) * tiles, float);
        double *excess = DW_TAKE(&w->arena, tiles, double);
        bool *standing = DW_TAKE(&w->arena, 2 * tiles, bool);
        size_t *burnt = DW_TAKE(&w->arena, tiles, size_t);
        struct dw_leaps *leaps = DW_TAKE(&w->arena, tiles, struct dw_leaps);
        if (!g.light || !g.burnt || !expected || !g.work || !beside || !excess || !standing ||
            !burnt || !leaps)
            return dw_fail(err, DW_ERR_MEMORY, "out of memory for %zu light grids", g.n);
        measure_night(w, facts, &g);
        learn_expected(w, facts, day, days, beside, g.work, expected);
        judge(w, &g, expected, excess, standing, leaps, burnt);
    }
    dw_arena_free_to(&w->arena, mark);
    for (size_t k = 0; k < tiles; k++)
        if (w->lamp[k])
            return dw_tiles(w, facts, err); /* once more, without them */
    return DW_OK;
}
