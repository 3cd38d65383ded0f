/* hold.c: light that does not go with the sun, above all a town's glow over the horizon. The
 * exposure follows the dusk, so such light would grow in the pictures while all else gets dark, and
 * the evening would turn back. Here it is learnt where it lies, and by how much it rises beside the
 * key from dusk to night; render holds it at the brightness that it had when it was darkest. */
#include <daywheel/sky.h>

#include "decide/steps.h"
#include "decide/when/moon_table.h"
#include "base/robust.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

struct hold_params {
    double sunset_deg; /* above it shadows and haze change a place beside the key as much */
    double dusk_deg;   /* below it what is brighter than the night is the moon's, not dusk */
    double near_stops; /* as dark as the darkest of the line to so much: night */
    double moon_from_deg, moon_lit; /* sun altitude below which a moon shows, lit by so much */
    double moonlit;    /* quantile of a moonlit night: the moon passes, the town stays */
    double far;        /* stops: shots are of one light at most, where a dusk is quick */
    double least_keys; /* stops beside the key: places that are ever darker are ground, which
                        * moonlight raises, and noise */
    double surely;     /* stops from both dusk and dawn, from which on a rise is one */
    double free, soft; /* stops by which light may rise freely, and how softly that ends */
    double least;      /* stops: a shoot in which none rises by more is left as it is */
    float burnt;   /* share of a tile's samples that are clipped, beyond which it tells nothing */
    double fading; /* what of it is left a tile farther below the sky */
};
static const struct hold_params HOLD = {.sunset_deg = 0,
                                        .dusk_deg = -15,
                                        .near_stops = 0.7,
                                        .moon_from_deg = -5,
                                        .moon_lit = 0.2,
                                        .moonlit = 0.2,
                                        .far = 2,
                                        .least_keys = -1.5,
                                        .surely = 0.5,
                                        .free = 0.15,
                                        .soft = 0.1,
                                        .least = 0.5,
                                        .burnt = 0.01f,
                                        .fading = 0.5};
enum { STOPS = 22, LEAST_SHOTS = 3, FAR = 4 /* tiles */, COLS = DW_HOLD_COLS, ROWS = DW_HOLD_ROWS };

#define LOST ((double)INFINITY) /* a rise that is more than the sensor held */

/* Light of tile k in shot i beside the line. */
static double beside(const struct dw_work *w, size_t i, size_t k)
{
    return (double)w->light[i * (size_t)w->tiles + k] - w->error[i] - w->line[i];
}

enum part { NIGHT, DUSK, DAWN, PARTS };
struct at {
    double above; /* stops of the line above its lowest */
    enum part part;
    size_t shot;
};
/* Shots that tell of one light: of the night, or of a stop of dusk or dawn. */
struct light {
    const struct at *first;
    size_t n;
};

static int by_part_and_light(const void *a, const void *b)
{
    const struct at *x = a, *y = b;
    if (x->part != y->part)
        return x->part < y->part ? -1 : 1;
    if (x->above != y->above)
        return x->above < y->above ? -1 : 1;
    return (x->shot > y->shot) - (x->shot < y->shot);
}

/* Whether a moon adds to the light. It does not count where its place is not known. */
static bool moonlit(const struct dw_work *w, size_t i, struct dw_moon_table *moon)
{
    double alt_deg, lit;
    return w->alt[i] < HOLD.moon_from_deg && dw_moon_table_at(moon, w->utc[i], &alt_deg, &lit) &&
           alt_deg > 0 && lit > HOLD.moon_lit;
}

/* Shots of the night, of dusk and of dawn, each from dark to bright, without a moon or, where
 * `moon` is NULL, all; how many. lowest: of the line; INFINITY if no shot has the sun below the
 * horizon.
 */
static size_t sort_shots(const struct dw_work *w, struct dw_moon_table *moon, struct at *at,
                         double *lowest)
{
    size_t n = 0;
    *lowest = INFINITY;
    for (size_t i = 0; i < w->n; i++)
        if (w->usable[i] && w->alt[i] < HOLD.sunset_deg)
            *lowest = fmin(*lowest, w->line[i]);
    for (size_t i = 0; i < w->n; i++) {
        double above = w->line[i] - *lowest;
        size_t next = i + 1 < w->n ? i + 1 : i, last = next - 1;
        bool dawn = w->n > 1 && w->alt[next] > w->alt[last];
        if (!w->usable[i] || !(w->alt[i] < HOLD.sunset_deg) || !(above < STOPS) ||
            (moon && moonlit(w, i, moon)))
            continue;
        if (above < HOLD.near_stops)
            at[n++] = (struct at){above, NIGHT, i};
        else if (w->alt[i] > HOLD.dusk_deg)
            at[n++] = (struct at){above, dawn ? DAWN : DUSK, i};
    }
    qsort(at, n, sizeof *at, by_part_and_light);
    return n;
}

/* Of shots from dark to bright those within half a stop of so much light, or where a dusk is quick
 * and these are fewer than `least`, the nearest that there are within HOLD.far. */
static struct light light_at(struct light all, double above, size_t least)
{
    size_t i = 0, end;
    while (i < all.n && all.first[i].above < above - 0.5)
        i++;
    for (end = i; end < all.n && all.first[end].above < above + 0.5;)
        end++;
    while (end - i < least) {
        double below = i > 0 ? above - all.first[i - 1].above : (double)INFINITY;
        double beyond = end < all.n ? all.first[end].above - above : (double)INFINITY;
        if (!(fmin(below, beyond) < HOLD.far))
            break;
        if (below < beyond)
            i--;
        else
            end++;
    }
    return (struct light){all.first + i, end - i};
}

/* The lights of a shoot: the night's, and those of whole stops of dusk and of dawn. */
static void find_lights(const struct at *at, size_t n, size_t least, struct light out[PARTS][STOPS])
{
    struct light part[PARTS];
    for (size_t p = 0, i = 0; p < PARTS; p++) {
        part[p] = (struct light){at + i, 0};
        for (; i < n && at[i].part == (enum part)p; i++)
            part[p].n++;
        for (int s = 0; s < STOPS; s++)
            out[p][s] = (struct light){at, 0};
    }
    out[NIGHT][0] = part[NIGHT];
    for (int p = DUSK; p < PARTS; p++)
        for (int s = 1; s < STOPS; s++)
            out[p][s] = light_at(part[p], s, least);
}

/* A quantile of tile k's light beside the line in such shots; NAN where fewer than `least` know it.
 * work: as many values as shots. */
static double light_in(const struct dw_work *w, const struct light *l, size_t k, double q,
                       size_t least, double *work)
{
    size_t n = 0;
    for (size_t i = 0; i < l->n; i++) {
        double x = beside(w, l->first[i].shot, k);
        if (isfinite(x))
            work[n++] = x;
    }
    return n > 0 && n >= least ? dw_quantile(work, n, q) : (double)NAN;
}

/* Whether the sensor holds none of tile k's light in most of these shots. */
static bool burnt_out(const struct dw_work *w, const struct light *l, size_t k)
{
    size_t burnt = 0;
    for (size_t i = 0; i < l->n; i++)
        burnt += w->survey->measure[l->first[i].shot].tile[k].clipped > HOLD.burnt;
    return 2 * burnt > l->n;
}

/* By how many stops tile k rises beside the key to the night from where it is lowest in dusk or
 * dawn: held to that, it turns back in neither. It must rise from both, for of a clear sky the side
 * away from the sun lies low in one. With moons what counts is from where it rises less, as all but
 * the moon's side lies low where one shines. NAN where it is too dark or not known, LOST where it
 * burns out by night. */
static double rise_of(const struct dw_work *w, struct light lights[PARTS][STOPS], size_t k,
                      bool moons, size_t few, double *work)
{
    if (burnt_out(w, &lights[NIGHT][0], k))
        return LOST;
    double night = light_in(w, &lights[NIGHT][0], k, moons ? HOLD.moonlit : 0.5, few, work);
    double lowest[PARTS] = {INFINITY, INFINITY, INFINITY};
    for (int p = DUSK; p < PARTS; p++)
        for (int s = 1; s < STOPS; s++)
            lowest[p] = fmin(lowest[p], light_in(w, &lights[p][s], k, 0.5, few, work));
    bool both = isfinite(lowest[DUSK]) && isfinite(lowest[DAWN]);
    double low = fmin(lowest[DUSK], lowest[DAWN]);
    double higher = both ? fmax(lowest[DUSK], lowest[DAWN]) : low;
    if (!(isfinite(low) && fmin(night, low) >= HOLD.least_keys))
        return (double)NAN;
    double least = night - higher, most = moons ? least : night - low;
    return least < HOLD.surely ? most * fmax(least, 0) / HOLD.surely : most;
}

static bool inside(int x, int y)
{
    return x >= 0 && x < COLS && y >= 0 && y < ROWS;
}

/* What neighbours that are known say, near ones more; NAN where none is. */
static double about(double (*rise)[COLS], int x, int y)
{
    double sum = 0, weight = 0;
    for (int v = y - 1; v <= y + 1; v++)
        for (int u = x - 1; u <= x + 1; u++)
            if (inside(u, v) && isfinite(rise[v][u])) {
                double share = (u == x ? 2 : 1) * (v == y ? 2 : 1);
                sum += share * rise[v][u];
                weight += share;
            }
    return weight > 0 ? sum / weight : (double)NAN;
}

/* Lit houses and paths stand alone in the dark, with fewer bright places than dark ones about them.
 */
static void drop_lone(double (*rise)[COLS])
{
    double was[ROWS][COLS];
    memcpy(was, rise, sizeof was);
    for (int y = 0; y < ROWS; y++)
        for (int x = 0; x < COLS; x++) {
            int open = -1, all = -1; /* itself */
            for (int v = y - 1; v <= y + 1; v++)
                for (int u = x - 1; u <= x + 1; u++) {
                    all += inside(u, v);
                    open += inside(u, v) && !isnan(was[v][u]);
                }
            if (2 * open < all)
                rise[y][x] = (double)NAN;
        }
}

/* Light that burns out rises by more than could be measured: by as much as the highest beside it.
 */
static void fill_lost(double (*rise)[COLS])
{
    double was[ROWS][COLS];
    for (int round = 0; round < FAR; round++) {
        memcpy(was, rise, sizeof was);
        for (int y = 0; y < ROWS; y++)
            for (int x = 0; x < COLS; x++) {
                double most = -LOST;
                for (int v = y - 1; v <= y + 1; v++)
                    for (int u = x - 1; u <= x + 1; u++)
                        if (inside(u, v) && isfinite(was[v][u]))
                            most = fmax(most, was[v][u]);
                if (was[y][x] == LOST && isfinite(most))
                    rise[y][x] = most;
            }
    }
    for (int y = 0; y < ROWS; y++)
        for (int x = 0; x < COLS; x++)
            if (!isfinite(rise[y][x]))
                rise[y][x] = (double)NAN;
}

/* Evens what is known, and carries it on into the ground, where it fades. */
static void spread(double (*rise)[COLS])
{
    double was[ROWS][COLS];
    for (int round = 0; round < 2; round++) {
        memcpy(was, rise, sizeof was);
        for (int y = 0; y < ROWS; y++)
            for (int x = 0; x < COLS; x++)
                if (isfinite(was[y][x]))
                    rise[y][x] = about(was, x, y);
    }
    for (int round = 0; round < COLS + ROWS; round++) {
        memcpy(was, rise, sizeof was);
        for (int y = 0; y < ROWS; y++)
            for (int x = 0; x < COLS; x++)
                if (isnan(was[y][x]))
                    rise[y][x] = about(was, x, y) * (round > 1 ? HOLD.fading : 1);
    }
}

enum dw_status dw_hold(struct dw_work *w, struct dw_facts *facts, struct dw_error *err)
{
    int cols = w->survey->cols, rows = w->survey->rows;
    size_t mark = w->arena.n;
    double(*rise)[COLS] = (double(*)[COLS])DW_TAKE(&w->arena, COLS * ROWS, double);
    double *work = DW_TAKE(&w->arena, w->n, double);
    struct at *at = DW_TAKE(&w->arena, w->n, struct at);
    if (!rise || !work || !at)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for light that stays by night");
    double from = INFINITY, to = -INFINITY;
    for (size_t i = 0; i < w->n; i++) {
        from = fmin(from, w->utc[i]);
        to = fmax(to, w->utc[i]);
    }
    struct dw_moon_table moon;
    enum dw_status status = dw_moon_table_make(&w->site, from, to, &w->arena, &moon, err);
    if (status < 0)
        return status;
    double lowest, most = 0;
    size_t n = sort_shots(w, &moon, at, &lowest), least = w->params->few ? 1 : LEAST_SHOTS;
    bool moons = n == 0 || at[0].part != NIGHT || at[n - 1].part == NIGHT;
    if (moons)
        n = sort_shots(w, NULL, at, &lowest);
    struct light lights[PARTS][STOPS];
    find_lights(at, n, least, lights);
    if (isfinite(lowest)) {
        for (int y = 0; y < ROWS; y++)
            for (int x = 0; x < COLS; x++)
                rise[y][x] = rise_of(w, lights, (size_t)(y * rows / ROWS * cols + x * cols / COLS),
                                     moons, least, work);
        drop_lone(rise);
        fill_lost(rise);
        spread(rise);
        for (int y = 0; y < ROWS; y++)
            for (int x = 0; x < COLS; x++) {
                double over = ((isfinite(rise[y][x]) ? rise[y][x] : -99) - HOLD.free) / HOLD.soft;
                rise[y][x] = HOLD.soft * (fmax(over, 0) + log1p(exp(-fabs(over))));
                most = fmax(most, rise[y][x]);
            }
    }
    if (most > HOLD.least) {
        facts->hold.night_key = dw_line_key(w, lowest);
        for (int y = 0; y < ROWS; y++)
            for (int x = 0; x < COLS; x++)
                facts->hold.rise[y][x] = (float)(round(rise[y][x] * 1000) / 1000);
    }
    dw_arena_free_to(&w->arena, mark);
    return DW_OK;
}
