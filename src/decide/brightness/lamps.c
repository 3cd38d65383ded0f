/* lamps.c: tiles that lamps light, a lit room about a window above all. They do not fall with the
 * sun, and they go on and off at once: a key that followed them would lurch with every switch and
 * lose the view, and the steadying would take dusk beside them for exposure errors. A tile is left
 * out of both, for the whole shoot so that the key has no step where it goes, if by night it stands
 * far above what daylight would let expect beside the darker tiles, and either goes on or off for
 * good between two shots, or is burnt out: what the camera let burn out all night is not what it
 * was there for. A lit street that the camera was set for does neither, and counts. */
#include "decide/steps.h"
#include "base/limit.h"
#include "base/robust.h"

#include <math.h>
#include <string.h>

struct lamp_params {
    double night_deg;  /* below this the sun's own light can make no such step */
    double day_deg;    /* above it daylight tells what each tile gives back */
    double stands_out; /* stops above what the darker quarter of the tiles lets expect */
    double step;       /* stops between two shots, beside what quiet tiles do */
    double lasting;    /* share of the step that is left between longer stretches */
    double window_s;   /* how long these are: a bright star is out of its tile in a third of it */
    int window;        /* shots in them at most */
    int least_window;  /* and at least */
    float burnt;       /* share of a tile's samples at saturation */
    double burnt_long; /* share of the night's shots in which it is burnt out */
    double least_kept; /* share of the tiles that must be left for the key */
};
static const struct lamp_params LAMPS = {-6, 3, 2, 2, 0.7, 1800, 15, 3, 0.2f, 0.5, 0.2};
enum { MOST_WINDOW = 15, MOST_DAY = 200, LEAST_NIGHT = 5 };

/* The night's shots in order, with the light of every tile. */
struct night {
    size_t n;
    const size_t *shot;
    float *light;     /* n*tiles, stops; of a burnt-out tile the least that it can be */
    bool *burnt;      /* n*tiles */
    double *expected; /* tiles: its light by day beside the others' */
    double *work;     /* tiles */
};

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
                           size_t n, float *beside, struct night *g)
{
    size_t tiles = (size_t)w->tiles, step = n / MOST_DAY + 1, m = 0;
    for (size_t d = 0; d < n; d += step, m++) {
        const struct dw_levels *l = dw_facts_levels(facts, &w->shots->shot[day[d]]);
        size_t known = 0;
        for (size_t k = 0; k < tiles; k++) {
            double v = tile_light(w, l, day[d], k);
            beside[m * tiles + k] = (float)v;
            if (isfinite(v))
                g->work[known++] = v;
        }
        double middle = known ? dw_median(g->work, known) : 0;
        for (size_t k = 0; k < tiles; k++)
            beside[m * tiles + k] -= (float)middle;
    }
    for (size_t k = 0; k < tiles; k++) {
        double of_day[MOST_DAY + 1];
        size_t known = 0;
        for (size_t d = 0; d < m; d++)
            if (isfinite(beside[d * tiles + k]))
                of_day[known++] = (double)beside[d * tiles + k];
        g->expected[k] = known ? dw_median(of_day, known) : 0;
    }
}

static double lower_quarter(double *work, const double *v, size_t n)
{
    size_t m = 0;
    for (size_t k = 0; k < n; k++)
        if (isfinite(v[k]))
            work[m++] = v[k];
    return m ? dw_quantile(work, m, 0.25) : 0;
}

/* Which tiles stand out in the j-th shot of the night. */
static void find_standing(const struct dw_work *w, const struct night *g, size_t j, double *excess,
                          bool *out)
{
    size_t tiles = (size_t)w->tiles;
    for (size_t k = 0; k < tiles; k++)
        excess[k] = (double)g->light[j * tiles + k] - g->expected[k];
    double dark = lower_quarter(g->work, excess, tiles);
    for (size_t k = 0; k < tiles; k++)
        out[k] = excess[k] > dark + LAMPS.stands_out;
}

/* The night's shots that tell how it was on one side of the boundary before shot j, in one pose;
 * spread over the window, that frequent shots do not make it shorter. Returns how many. */
static int stretch(const struct dw_work *w, const struct night *g, size_t j, bool after,
                   size_t of[MOST_WINDOW])
{
    size_t at = after ? j : j - 1, step = 1;
    double t = w->utc[g->shot[at]];
    if (w->interval > 0)
        step += (size_t)(LAMPS.window_s / w->interval / LAMPS.window);
    int n = 0;
    for (size_t next = at; n < LAMPS.window && next < g->n; next += after ? step : -step) {
        if (w->pose[g->shot[next]] != w->pose[g->shot[at]] ||
            fabs(w->utc[g->shot[next]] - t) > LAMPS.window_s)
            break;
        of[n++] = next;
    }
    return n;
}

static double middle_light(const struct dw_work *w, const struct night *g, const size_t *of,
                           int shots, size_t k)
{
    double v[MOST_WINDOW];
    size_t n = 0;
    for (int i = 0; i < shots; i++) {
        double x = (double)g->light[of[i] * (size_t)w->tiles + k];
        if (isfinite(x))
            v[n++] = x;
    }
    return n ? dw_median(v, n) : (double)NAN;
}

/* Two stretches of the night's shots, one on either side of a boundary. */
struct sides {
    size_t past[MOST_WINDOW], next[MOST_WINDOW];
    int n_past, n_next;
};

static double change(const struct dw_work *w, const struct night *g, const struct sides *s,
                     size_t k)
{
    return middle_light(w, g, s->next, s->n_next, k) - middle_light(w, g, s->past, s->n_past, k);
}

/* What the tiles that took no more than a quiet step do from stretch to stretch: dusk falls. */
static double quiet_change(const struct dw_work *w, const struct night *g, const struct sides *s,
                           const double *step, double quiet)
{
    size_t n = 0;
    for (size_t k = 0; k < (size_t)w->tiles; k++)
        if (step[k] <= quiet)
            g->work[n++] = change(w, g, s, k);
    return n > 0 ? dw_median(g->work, n) : 0;
}

/* Tiles that go on or off between the night's shots j-1 and j, and stay so. stands: of both. */
static void find_switched(const struct dw_work *w, const struct night *g, size_t j,
                          const bool *stands_before, const bool *stands_after, double *step,
                          bool *switched)
{
    size_t tiles = (size_t)w->tiles;
    struct sides s;
    s.n_past = stretch(w, g, j, false, s.past);
    s.n_next = stretch(w, g, j, true, s.next);
    if (w->pose[g->shot[j]] != w->pose[g->shot[j - 1]] || s.n_past < LAMPS.least_window ||
        s.n_next < LAMPS.least_window)
        return;
    const float *before = g->light + (j - 1) * tiles, *after = g->light + j * tiles;
    for (size_t k = 0; k < tiles; k++)
        step[k] = fabs((double)after[k] - (double)before[k]);
    double quiet = lower_quarter(g->work, step, tiles);
    double meanwhile = NAN; /* asked for only where it matters: nearly never */
    for (size_t k = 0; k < tiles; k++) {
        if (!(step[k] > quiet + LAMPS.step))
            continue;
        bool on = after[k] > before[k];
        /* the lit side may be burnt out and even brighter; the dark side must be known */
        if (g->burnt[(on ? j - 1 : j) * tiles + k] || !(on ? stands_after : stands_before)[k])
            continue;
        if (isnan(meanwhile))
            meanwhile = quiet_change(w, g, &s, step, quiet);
        double lasts = change(w, g, &s, k) - meanwhile;
        if ((on ? lasts : -lasts) > LAMPS.lasting * step[k])
            switched[k] = true;
    }
}

static void measure_night(const struct dw_work *w, const struct dw_facts *facts, struct night *g)
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

/* Fills w->lamp; excess: room for two numbers a tile; standing: for two. */
static void judge(struct dw_work *w, const struct night *g, double *excess, bool *standing,
                  size_t *burnt)
{
    size_t tiles = (size_t)w->tiles, left = 0;
    bool *before = standing, *now = standing + tiles;
    for (size_t j = 0; j < g->n; j++) {
        find_standing(w, g, j, excess, now);
        for (size_t k = 0; k < tiles; k++)
            burnt[k] += now[k] && g->burnt[j * tiles + k];
        if (j > 0)
            find_switched(w, g, j, before, now, excess, w->lamp);
        memcpy(before, now, tiles * sizeof *now);
    }
    for (size_t k = 0; k < tiles; k++) {
        if ((double)burnt[k] > LAMPS.burnt_long * (double)g->n)
            w->lamp[k] = true;
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
    struct night g = {.shot = shot};
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
        g.expected = DW_TAKE(&w->arena, tiles, double);
        g.work = DW_TAKE(&w->arena, tiles, double);
        float *beside = DW_TAKE(&w->arena, (MOST_DAY + 1) * tiles, float);
        double *excess = DW_TAKE(&w->arena, tiles, double);
        bool *standing = DW_TAKE(&w->arena, 2 * tiles, bool);
        size_t *burnt = DW_TAKE(&w->arena, tiles, size_t);
        if (!g.light || !g.burnt || !g.expected || !g.work || !beside || !excess || !standing ||
            !burnt)
            return dw_fail(err, DW_ERR_MEMORY, "out of memory for %zu light grids", g.n);
        measure_night(w, facts, &g);
        learn_expected(w, facts, day, days, beside, &g);
        judge(w, &g, excess, standing, burnt);
    }
    dw_arena_free_to(&w->arena, mark);
    for (size_t k = 0; k < tiles; k++)
        if (w->lamp[k])
            return dw_tiles(w, facts, err); /* once more, without them */
    return DW_OK;
}
