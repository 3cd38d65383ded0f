/* returns.c: a cloud that passes changes a tile's light by far more than an exposure error, and all
 * tiles of a shot together; from one shot to the next hardly any tile stands still. But between two
 * clouds each comes back to where it was: blue sky, a sunlit slope, the sky of the night have a
 * light of their own that goes smoothly with the hour. So each tile's own light is learnt from the
 * shots in which it came back (own_light.c), and a shot's exposure from the tiles that have come
 * back in it. Both are learnt from one another. A tile's own shot has no part in what is expected
 * of it there (leave one out): else a curve through three points would call all of them returned.
 * The rim of a cloud dims by as little as an error does, so a tile beside one that is covered is
 * doubted (came.c). */
#include "decide/cloud/came.h"
#include "decide/cloud/returns_state.h"

#include <math.h>

#define BLOCK 16 /* shots that go through a grid together */
/* First variances are too small by so much: by day errors were eight to ten times their sigma, in
 * six invented shoots. */
#define DOUBTED 64.0
#define FIRST 2e-3 /* stops: no first error is known more closely, */
#define LEAST 1e-3 /* nor a later one; */
#define MOST 0.1   /* and none less */
#define AGAIN 4.0  /* variances of what a round found, that the next one doubts */
#define PLACES 6   /* where a shot's error is looked for, beside 0, */
#define FAR 0.2    /* stops on either side */
#define BINS 64
#define TEMPER 0.3    /* tiles of a region are not independent */
#define ONE_VOICE 5.0 /* nats at most, of a region: all of its tiles may be shaded alike */
#define NOTHING 6.0   /* nats that a shot must bring to be more than chance */
#define TAIL 3.0      /* Student's degrees of freedom, of how wrong first errors are */

/* Shots within reach that show the same view. */
static void find_reach(struct dw_returns *r, const bool *bump)
{
    const double *t = r->g->time;
    for (size_t i = 0, from = 0; i < r->n; i++) {
        if (bump[i])
            from = i;
        while (t[i] - t[from] > r->p->reach_s)
            from++;
        r->from[i] = from;
        size_t to = i && r->to[i - 1] > i ? r->to[i - 1] : i + 1;
        while (to < r->n && !bump[to] && t[to] - t[i] <= r->p->reach_s)
            to++;
        r->to[i] = to;
    }
}

/* One shot on the grid. */
struct look {
    float *off, *var, *weight, *open; /* a value a tile */
    const double *voice, *alike;      /* of the span */
    struct dw_came *came;
};

/* Variance of a shot's light: regions are taken to err independently (Liang & Zeger 1986). */
static double variance(const struct dw_returns *r, const struct look *l, double dm)
{
    double sum[DW_COMPARE_REGIONS] = {0}, all = 0, squares = 0;
    for (size_t k = 0; k < r->tiles; k++) {
        if (!(l->weight[k] > 0))
            continue;
        double w = (double)l->weight[k] / (double)l->var[k];
        all += w;
        sum[r->region[k]] += w * ((double)l->off[k] - dm);
    }
    for (int g = 0; g < r->regions; g++)
        for (int h = 0; h < r->regions; h++)
            squares +=
                g == h ? sum[g] * sum[g] : l->alike[g * r->regions + h] * fabs(sum[g] * sum[h]);
    return all > 0 ? fmax(squares / (all * all), 1 / all) : (double)INFINITY;
}

/* Moves `dm` to the weighted mean of the tiles about it. */
static void settle(const struct dw_returns *r, struct look *l, int looks, double *dm)
{
    for (int look = 0; look < looks; look++) {
        double sum = 0, all = 0;
        dw_came_weigh(l->came, *dm, l->weight);
        for (size_t k = 0; k < r->tiles; k++)
            if (l->weight[k] > 0) {
                sum += (double)l->weight[k] / (double)l->var[k] * (double)l->off[k];
                all += (double)l->weight[k] / (double)l->var[k];
            }
        if (!(all > 0))
            return;
        *dm = sum / all;
    }
}

/* How well `dm` explains a shot, in nats: a tile has come back, or its light is any within RANGE;
 * against how improbable such an error is. */
static double evidence(const struct dw_returns *r, const struct look *l, double spread, double dm)
{
    double region[DW_COMPARE_REGIONS] = {0}, sum = 0;
    for (size_t k = 0; k < r->tiles; k++) {
        double odds = dw_came_odds(l->came, k, dm);
        if (odds > 0)
            region[r->region[k]] += TEMPER * (double)l->open[k] * log1p(odds);
    }
    for (int g = 0; g < r->regions; g++)
        sum += l->voice[g] * fmin(region[g], ONE_VOICE);
    return sum - 0.5 * (TAIL + 1) * log1p(dm * dm / (TAIL * spread));
}

/* Densest places of what tiles say, by a histogram; returns how many. */
static int dense_places(const struct dw_returns *r, const struct look *l, double place[PLACES])
{
    double bin[BINS] = {0}, width = 2 * FAR / BINS;
    int found = 0;
    for (size_t k = 0; k < r->tiles; k++) {
        if (!isfinite(l->var[k]))
            continue;
        double x = (double)l->off[k] / width + BINS / 2;
        if (x >= 0 && x < BINS)
            bin[(int)x] += fmin(1, 0.01 / sqrt((double)l->var[k]));
    }
    for (; found < PLACES; found++) {
        int best = 0;
        for (int i = 1; i < BINS; i++)
            if (bin[i] > bin[best])
                best = i;
        if (!(bin[best] > 0))
            break;
        place[found] = (best + 0.5 - BINS / 2) * width;
        bin[best] = 0;
    }
    return found;
}

/* Exposure of a shot, from the tiles that have come back. */
static double find_light(const struct dw_returns *r, struct look *l, double spread, double *var)
{
    double place[PLACES + 1] = {0}, score[PLACES + 1] = {0}, doubt = 0;
    int places = 1 + dense_places(r, l, place + 1), best = 0;
    for (int i = 0; i < places; i++) {
        settle(r, l, 3, &place[i]);
        score[i] = evidence(r, l, spread, place[i]);
        if (score[i] > score[best])
            best = i;
    }
    double dm = place[best];
    settle(r, l, 2, &dm);
    dw_came_weigh(l->came, dm, l->weight);
    double found = variance(r, l, dm);
    if (!isfinite(found) || score[best] < NOTHING)
        return 0;
    for (int i = 0; i < places; i++)
        doubt = fmax(doubt, (place[i] - dm) * (place[i] - dm) * exp(score[i] - score[best]));
    *var = found + doubt + spread * exp(-score[best]);
    return dm;
}

/* Finds the light of all shots, and weighs their tiles. */
static void look_at_shots(struct dw_returns *r, struct look *l, double *var)
{
    for (size_t i = 0; i < r->n; i += BLOCK) {
        size_t some = i + BLOCK < r->n ? BLOCK : r->n - i;
        for (size_t k = 0; k < r->tiles; k++)
            for (size_t j = 0; j < some; j++) {
                size_t at = k * r->n + i + j;
                l->off[j * r->tiles + k] = isfinite(r->beside[at]) ? r->off[at] : NAN;
                l->var[j * r->tiles + k] = r->var[at];
                l->open[j * r->tiles + k] = r->open[at];
            }
        for (size_t j = 0; j < some; j++) {
            struct look one = {l->off + j * r->tiles,
                               l->var + j * r->tiles,
                               l->weight + j * r->tiles,
                               l->open + j * r->tiles,
                               r->voice + (i + j) / DW_RETURNS_SPAN * (size_t)r->regions,
                               r->alike +
                                   (i + j) / DW_RETURNS_SPAN * (size_t)(r->regions * r->regions),
                               l->came};
            dw_came_look(l->came, one.off, one.var);
            r->found[i + j] += find_light(r, &one, r->spread[i + j], &var[i + j]);
        }
        for (size_t k = 0; k < r->tiles; k++)
            for (size_t j = 0; j < some; j++)
                r->weight[k * r->n + i + j] = l->weight[j * r->tiles + k];
    }
}

static bool take_room(struct dw_returns *r, struct dw_arena *arena, struct look *l, double **work)
{
    size_t all = r->n * r->tiles, regions = (size_t)r->regions;
    size_t spans = r->n / DW_RETURNS_SPAN + 1;
    float **grids[5] = {&r->beside, &r->weight, &r->off, &r->var, &r->open};
    float **blocks[4] = {&l->off, &l->var, &l->weight, &l->open};
    bool ok = true;
    for (int i = 0; i < 5; i++) {
        ok = (*grids[i] = DW_TAKE(arena, all, float)) && ok;
    }
    for (int i = 0; i < 4; i++)
        ok = (*blocks[i] = DW_TAKE(arena, BLOCK * r->tiles, float)) && ok;
    ok = dw_came_take_room(l->came, r->g->cols, r->g->rows, arena) && ok;
    r->region = DW_TAKE(arena, r->tiles, int);
    r->leap = DW_TAKE(arena, r->n * regions, double);
    r->alike = DW_TAKE(arena, spans * regions * regions, double);
    r->voice = DW_TAKE(arena, spans * regions, double);
    r->from = DW_TAKE(arena, r->n, size_t);
    r->to = DW_TAKE(arena, r->n, size_t);
    r->found = DW_TAKE(arena, r->n, double);
    r->spread = DW_TAKE(arena, r->n, double);
    r->before = dw_arena_take(arena, 1, dw_returns_own_room(r->n));
    *work = DW_TAKE(arena, 3 * r->n, double);
    return ok && r->region && r->leap && r->alike && r->voice && r->from && r->to && r->found &&
           r->spread && r->before && *work;
}

static double within(double square, double least)
{
    return fmin(fmax(square, least * least), MOST * MOST);
}

enum dw_status dw_returns_find(const struct dw_grids *g, const struct dw_returns_params *params,
                               const double *start, const double *start_var, const double *turn,
                               const bool *bump, struct dw_arena *arena, double *light, double *var)
{
    size_t mark = arena->n, tiles = (size_t)(g->cols * g->rows);
    struct dw_returns r = {.g = g, .p = params, .n = g->n, .tiles = tiles, .turn = turn};
    struct dw_came came;
    struct look l = {.came = &came};
    double *work;
    r.regions = dw_pair_regions(g->cols, g->rows);
    if (!take_room(&r, arena, &l, &work))
        return DW_ERR_MEMORY;
    for (size_t k = 0; k < tiles; k++)
        r.region[k] = dw_pair_region(g->cols, g->rows, (int)k);
    for (size_t i = 0; i < g->n; i++) {
        var[i] = INFINITY;
        r.spread[i] = within(DOUBTED * start_var[i], FIRST);
        for (size_t k = 0; k < tiles; k++)
            r.beside[k * g->n + i] = (float)((double)g->light[i * tiles + k] - start[i]);
    }
    find_reach(&r, bump);
    dw_returns_find_voices(&r);
    dw_returns_find_open(&r, work);
    for (int round = 0; round < params->rounds; round++) {
        for (size_t k = 0; k < tiles; k++)
            dw_returns_expect(&r, k);
        look_at_shots(&r, &l, var);
        for (size_t i = 0; i < g->n; i++)
            if (isfinite(var[i]))
                r.spread[i] = within(AGAIN * var[i], LEAST);
    }
    for (size_t i = 0; i < g->n; i++)
        light[i] = start[i] + r.found[i];
    dw_arena_free_to(arena, mark);
    return DW_OK;
}
