/* sights.c: see sights.h. A ghost is brighter than what lies about it of the same kind, sky or
 * ground; it has no edges, which a lamp or what a lamp lights would have; and over ground it adds
 * light without detail, so that the ground's own fades, as it would not in a lamp's light. */
#include "decide/faults/sights.h"
#include "decide/faults/ground.h"
#include "base/limit.h"
#include "base/robust.h"

#include <math.h>
#include <string.h>

static const struct dw_sights_params {
    int near, far;      /* reach of what a tile is compared with, tiles */
    double ring;        /* quantile of a ring of ground: a slope of light is no ghost */
    int ring_tiles;     /* fewer tell nothing */
    double stops;       /* above it: a ghost beyond doubt, */
    double least_sigma; /* and of its noise */
    double half;        /* share of its height to which a ghost's tiles are counted */
    int least_tiles;    /* fewer may be some part of a thing, */
    int ground_tiles;   /* or of a room about a window, over ground */
    double most_tiles;  /* share of the picture that they may be */
    double edges;       /* quantile over a ghost's rim of the finest detail; */
    double usual;       /* more of it than this quantile farther out (stars) */
    double sharp;       /* and as a share of the ghost's light than this are edges */
    double fades;       /* ground detail must lose this share of the stops that were added, */
    double sigma;       /* where it would be seen so far above its noise */
    double rival;       /* share of the strongest ghost's light that another must have */
    float burnt_tile;   /* share of samples at saturation: nothing is known of its light */
} params = {.near = 3,
            .far = 6,
            .ring = 0.75,
            .ring_tiles = 16,
            .stops = 0.8,
            .least_sigma = 10,
            .half = 0.5,
            .least_tiles = 2,
            .ground_tiles = 3,
            .most_tiles = 0.08,
            .edges = 0.6,
            .usual = 0.8,
            .sharp = 0.06,
            .fades = 0.5,
            .sigma = 4,
            .rival = 0.2,
            .burnt_tile = 0.2f};

double dw_tile_level(const struct dw_measure *m, int tile)
{
    const struct dw_tile *t = &m->tile[tile];
    double light = (double)(t->mean[1] - m->black[1]);
    if (!isfinite(light))
        return (double)NAN;
    return log2(dw_at_least(light, dw_at_least(2 * sqrt(dw_at_least((double)t->var[1], 0)), 0.5)));
}

static const int ways[8][2] = {{1, 0},  {0, 1},  {1, 1},   {1, -1},
                               {-1, 0}, {0, -1}, {-1, -1}, {-1, 1}};

/* The tile `r` tiles from tile k that way; -1 beyond the picture. */
static int tile_at(const struct dw_finder *f, int k, int way, int r)
{
    int x = k % f->cols + r * ways[way][0], y = k / f->cols + r * ways[way][1];
    return x >= 0 && y >= 0 && x < f->cols && y < f->rows ? y * f->cols + x : -1;
}

/* A wall that a lamp burns out says nothing about what is darker beside it. */
static bool outshone(const struct dw_finder *f, const double *level, int k, int by)
{
    return f->burnt[by] && level[by] >= level[k];
}

/* How far a tile of sky stands above what lies on both sides of it, whichever way one looks: a
 * slope of light is even, and a glow over the horizon ends at the ground and not before. Ground on
 * either side says nothing where it is darker or lit, but where it is as bright as the tile, that
 * does not stand out. NAN where no way tells. */
double dw_above_both_sides(const struct dw_finder *f, const double *level, int k)
{
    double least = INFINITY;
    int known = 0;
    for (int way = 0; way < 4; way++) {
        double sum = 0;
        int n = 0, sky = 0;
        for (int r = params.near + 1; r <= params.far; r++) {
            int a = tile_at(f, k, way, r), b = tile_at(f, k, way + 4, r);
            if (a < 0 || b < 0 || !isfinite(level[a]) || !isfinite(level[b]) ||
                outshone(f, level, k, a) || outshone(f, level, k, b))
                continue;
            sum += level[k] - 0.5 * (level[a] + level[b]);
            sky += !f->ground[a] && !f->ground[b];
            n++;
        }
        if (n == 0 || (2 * sky < n && fabs(sum / n) > params.stops))
            continue;
        known++;
        least = fmin(least, sum / n);
    }
    return known > 0 ? least : (double)NAN;
}

/* How far a tile of ground stands above the ring of ground about it. NAN where the ring is small.
 */
static double above_ring(const struct dw_finder *f, const double *level, int k)
{
    int cx = k % f->cols, cy = k / f->cols, reach = params.far, n = 0;
    double ring[13 * 13];
    for (int y = cy - reach; y <= cy + reach; y++)
        for (int x = cx - reach; x <= cx + reach; x++) {
            double r = hypot(x - cx, y - cy);
            int at = y * f->cols + x;
            if (r < params.near || r > params.far || x < 0 || y < 0 || x >= f->cols ||
                y >= f->rows || f->ground[at] != f->ground[k] || !isfinite(level[at]))
                continue;
            ring[n++] = level[at];
        }
    if (n < params.ring_tiles)
        return (double)NAN;
    return level[k] - dw_quantile(ring, (size_t)n, params.ring);
}

/* By how many stops tile k stands out more than by day. level: of all tiles of the shot, with what
 * ground gives back of daylight taken off. */
static double stands_out(const struct dw_finder *f, const double *level, int k)
{
    return f->ground[k] ? above_ring(f, level, k)
                        : dw_above_both_sides(f, level, k) - fmax(f->by_day[k], 0);
}

static void levels_of(const struct dw_finder *f, size_t i)
{
    const struct dw_measure *m = &f->w->survey->measure[i];
    for (int k = 0; k < f->w->tiles; k++) {
        f->level[k] = dw_tile_level(m, k) - f->expected[k];
        f->burnt[k] = m->tile[k].clipped > params.burnt_tile;
    }
}

/* Whether a tile could stand out by its look eight ways: most need no closer one. */
static bool may_stand_out(const struct dw_finder *f, int k)
{
    int lower = 0, known = 0;
    for (int way = 0; way < 8; way++) {
        int at = tile_at(f, k, way, params.near + 1);
        if (at < 0 || f->ground[at] != f->ground[k])
            continue;
        known++;
        lower += f->level[at] < f->level[k] - 0.5 * params.stops;
    }
    return 2 * lower >= known;
}

/* Adds to the n tiles of f->blob the neighbours of those from `from` on that are bright enough,
 * and theirs; returns how many there are then. */
static int grow(struct dw_finder *f, int from, int n, double least, bool ground, bool once)
{
    int end = n;
    for (int at = from; at < (once ? end : n); at++) {
        int cx = f->blob[at] % f->cols, cy = f->blob[at] / f->cols;
        for (int y = cy - 1; y <= cy + 1; y++)
            for (int x = cx - 1; x <= cx + 1; x++) {
                int k = y * f->cols + x;
                if (x < 0 || y < 0 || x >= f->cols || y >= f->rows || f->mark[k])
                    continue;
                if (!once && !(f->level[k] >= least && f->ground[k] == ground))
                    continue;
                f->mark[k] = 1;
                f->blob[n++] = k;
            }
    }
    return n;
}

/* The tiles connected with `tile` that have at least half of what it stands out by, in light;
 * behind them in f->blob lies their rim. Returns how many; *rim: with the rim. */
static int spread(struct dw_finder *f, int tile, double excess, int *rim)
{
    double base = exp2(f->level[tile] - excess), top = exp2(f->level[tile]);
    memset(f->mark, 0, (size_t)f->w->tiles);
    f->blob[0] = tile;
    f->mark[tile] = 1;
    int n = grow(f, 0, 1, log2(base + params.half * (top - base)), f->ground[tile], false);
    *rim = grow(f, 0, n, 0, false, true);
    return n;
}

/* The finest detail of tile k, DN^2; 0 in noise. */
static double fine_of(const struct dw_tile *t)
{
    return (double)t->fine > 3 * (double)t->fine_sd ? (double)t->fine : 0;
}

/* The finest detail of the tiles from..to-1 of f->blob, as a share of the light at `tile`; `usual`
 * of it, DN^2, is there anyway: stars. */
static double detail_of(const struct dw_finder *f, size_t i, int tile, int from, int to,
                        double quantile, double usual)
{
    const struct dw_measure *m = &f->w->survey->measure[i];
    double light = (double)(m->tile[tile].mean[1] - m->black[1]);
    for (int j = from; j < to; j++)
        f->work[j - from] = sqrt(fmax(fine_of(&m->tile[f->blob[j]]) - usual, 0)) / light;
    return dw_quantile(f->work, (size_t)(to - from), quantile);
}

/* What is there of it farther out, among tiles of the same kind that f->mark leaves. */
static double usual_detail(const struct dw_finder *f, size_t i, int tile)
{
    const struct dw_measure *m = &f->w->survey->measure[i];
    int cx = tile % f->cols, cy = tile / f->cols, reach = params.far, n = 0;
    for (int y = cy - reach; y <= cy + reach; y++)
        for (int x = cx - reach; x <= cx + reach; x++) {
            int at = y * f->cols + x;
            if (x >= 0 && y >= 0 && x < f->cols && y < f->rows && !f->mark[at] &&
                f->ground[at] == f->ground[tile])
                f->work[n++] = fine_of(&m->tile[at]);
        }
    return n > 0 ? dw_quantile(f->work, (size_t)n, params.usual) : 0;
}

/* Whether what stands out has edges, in itself (tiles) or where it ends (its rim). */
static bool has_edges(const struct dw_finder *f, size_t i, int tile, int tiles, int rim)
{
    double usual = usual_detail(f, i, tile);
    return !(detail_of(f, i, tile, 0, tiles, 0.5, usual) < params.sharp) ||
           !(detail_of(f, i, tile, tiles, rim, params.edges, usual) < params.sharp);
}

double dw_fading(const struct dw_finder *f, size_t i, const int *tile, int n)
{
    const struct dw_measure *m = &f->w->survey->measure[i];
    size_t known = 0;
    for (int j = 0; j < n; j++) {
        int k = tile[j];
        const struct dw_tile *t = &m->tile[k];
        double light = dw_contrast_light(f->w, i, k), sd = (double)t->middle_sd;
        if (!isfinite(f->detail[k]) || (double)t->clipped > DW_GHOST_BURNT ||
            !(exp2(2 * (double)f->detail[k]) * light * light > params.sigma * sd))
            continue;
        double middle = fmax((double)t->middle, fmax(sd, 1e-12));
        f->work[known++] = (double)f->detail[k] - 0.5 * log2(middle) + log2(light);
    }
    return known > 0 && 2 * known >= (size_t)n ? dw_median(f->work, known) : (double)NAN;
}

/* Whether no tile near by stands out more; of equal ones (burnt out) the first counts. */
static bool is_highest(const struct dw_finder *f, int k)
{
    int cx = k % f->cols, cy = k / f->cols;
    for (int y = cy - 2; y <= cy + 2; y++)
        for (int x = cx - 2; x <= cx + 2; x++) {
            int at = y * f->cols + x;
            if (x >= 0 && y >= 0 && x < f->cols && y < f->rows &&
                (f->excess[at] > f->excess[k] || (at < k && f->excess[at] >= f->excess[k])))
                return false;
        }
    return true;
}

/* A ghost's glow makes more of the picture look like ghosts: only what is as strong as lamps of one
 * room may be beside each other is kept. */
static size_t keep_strong(struct dw_sight *s, size_t n)
{
    double most = 0;
    size_t kept = 0;
    for (size_t j = 0; j < n; j++)
        most = fmax(most, s[j].added);
    for (size_t j = 0; j < n; j++)
        if (s[j].added > params.rival * most)
            s[kept++] = s[j];
    return kept;
}

size_t dw_look_for_ghosts(struct dw_finder *f, size_t i, struct dw_sight *out, size_t most)
{
    const struct dw_measure *m = &f->w->survey->measure[i];
    size_t n = 0;
    levels_of(f, i);
    for (int k = 0; k < f->w->tiles; k++)
        f->excess[k] = isfinite(f->level[k]) && (!f->ground[k] || f->has_day) && may_stand_out(f, k)
                           ? stands_out(f, f->level, k)
                           : (double)NAN;
    for (int k = 0; k < f->w->tiles && n < most; k++) {
        double light = (double)(m->tile[k].mean[1] - m->black[1]);
        double added = light * (1 - exp2(-f->excess[k]));
        if (!(f->excess[k] > params.stops) ||
            !(added > params.least_sigma * sqrt(fmax((double)m->tile[k].var[1], 0))))
            continue;
        if (!is_highest(f, k))
            continue;
        int rim, tiles = spread(f, k, f->excess[k], &rim);
        double faded = f->ground[k] ? dw_fading(f, i, f->blob, tiles) : (double)INFINITY;
        bool burnt = (double)m->tile[k].clipped > DW_GHOST_BURNT;
        if (tiles < (f->ground[k] ? params.ground_tiles : params.least_tiles) ||
            tiles > params.most_tiles * f->w->tiles || has_edges(f, i, k, tiles, rim) ||
            !(faded > params.fades * f->excess[k] || (isnan(faded) && burnt)))
            continue;
        double sum = 0, sx = 0, sy = 0;
        for (int j = 0; j < tiles; j++) {
            double own = (double)(m->tile[f->blob[j]].mean[1] - m->black[1]);
            sum += own;
            sx += own * (f->blob[j] % f->cols);
            sy += own * (f->blob[j] / f->cols);
        }
        out[n++] = (struct dw_sight){i, k, sx / sum, sy / sum, tiles, added, !isnan(faded)};
    }
    return keep_strong(out, n);
}

double dw_stands_out(struct dw_finder *f, size_t i, int tile)
{
    levels_of(f, i);
    return stands_out(f, f->level, tile);
}

int dw_ghost_tiles(struct dw_finder *f, size_t i, int tile)
{
    int rim;
    return spread(f, tile, dw_stands_out(f, i, tile), &rim);
}
