/* bends.c: see bends.h. One robust regression of the tiles on the terms for each four shots:
 * Tukey's biweight (Beaton & Tukey 1974), variance by regions (Liang & Zeger 1986) as for pairs.c.
 */
#include "decide/settings/bends.h"
#include "decide/compare/compare.h"
#include "decide/solve/third.h"
#include "base/each.h"
#include "base/robust.h"

#include <math.h>
#include <string.h>

#define ROUNDS 4
#define SCALES 2 /* of those that learn how far tiles are from each other */
#define LEAST_TILES 24
#define BLACK_DN 1.5     /* rms that black may be off by */
#define FLOOR_STOPS 1e-4 /* no tile is better known than this */
#define MOST_INTERVALS 6 /* four shots that span more have gaps between them */
#define STILL_CELLS 0.5  /* a view displaced by less shows the same in a tile */
enum { ROWS_AT_A_TIME = 16 };

static const struct dw_bend unknown = {
    {0}, {DW_BEND_UNKNOWN, DW_BEND_UNKNOWN, DW_BEND_UNKNOWN, DW_BEND_UNKNOWN}};

struct row {
    size_t n; /* tiles that all four shots have */
    double *y, *sd, *w, *work;
    double *x[DW_BEND_TERMS]; /* terms' values there; the last: what one count of black does */
    int *region;
    int terms;
};

/* Solves a small symmetric system in place (Gauss); false if it is singular. inverse: of a. */
static bool invert(int n, double a[DW_BEND_TERMS][DW_BEND_TERMS],
                   double inverse[DW_BEND_TERMS][DW_BEND_TERMS])
{
    for (int i = 0; i < n; i++)
        for (int k = 0; k < n; k++)
            inverse[i][k] = i == k;
    for (int i = 0; i < n; i++) {
        double pivot = a[i][i];
        if (!(pivot > 1e-9))
            return false;
        for (int k = 0; k < n; k++) {
            a[i][k] /= pivot;
            inverse[i][k] /= pivot;
        }
        for (int j = 0; j < n; j++) {
            double share = a[j][i];
            if (j == i)
                continue;
            for (int k = 0; k < n; k++) {
                a[j][k] -= share * a[i][k];
                inverse[j][k] -= share * inverse[i][k];
            }
        }
    }
    return true;
}

static inline double rest(const struct row *r, int terms, size_t k, const double *size)
{
    double y = r->y[k];
    for (int t = 0; t < terms; t++)
        y -= size[t] * r->x[t][k];
    return y;
}

/* How far tiles are from each other beside their noise: at least 1. */
static inline double scale(struct row *r, int terms, const double *size)
{
    double *restrict work = r->work;
    for (size_t k = 0; k < r->n; k++)
        work[k] = fabs(rest(r, terms, k, size)) / r->sd[k];
    return fmax(1, DW_MAD_TO_SIGMA * dw_median(work, r->n));
}

/* Sums of the normal equations, every tile with its weight. */
static inline void add_tiles(struct row *r, int terms, const double *size, double wide,
                             double a[DW_BEND_TERMS][DW_BEND_TERMS], double right[DW_BEND_TERMS])
{
    double *restrict weight = r->w;
    for (size_t k = 0; k < r->n; k++) { /* by itself, so that several go at a time */
        double sd = wide * r->sd[k];
        weight[k] = dw_tukey_weight(rest(r, terms, k, size), DW_TUKEY * sd) / (sd * sd);
    }
    for (size_t k = 0; k < r->n; k++)
        for (int p = 0; p < terms; p++) {
            double wx = weight[k] * r->x[p][k];
            for (int q = 0; q < terms; q++)
                a[p][q] += wx * r->x[q][k];
            right[p] += wx * r->y[k];
        }
}

static void regress(struct row *r, int all_regions, struct dw_bend *out)
{
    double inverse[DW_BEND_TERMS][DW_BEND_TERMS];
    int terms = r->terms;
    memcpy(r->work, r->y, r->n * sizeof *r->y);
    memset(out, 0, sizeof *out);
    out->size[0] = dw_median(r->work, r->n);
    double wide = 1;
    for (int round = 0; round < ROUNDS; round++) {
        double a[DW_BEND_TERMS][DW_BEND_TERMS] = {{0}}, right[DW_BEND_TERMS] = {0};
        /* two terms are what colours have, of every four shots: their own copy, unrolled */
        if (round < SCALES)
            wide = terms == 2 ? scale(r, 2, out->size) : scale(r, terms, out->size);
        if (terms == 2)
            add_tiles(r, 2, out->size, wide, a, right);
        else
            add_tiles(r, terms, out->size, wide, a, right);
        a[terms - 1][terms - 1] += 1 / (BLACK_DN * BLACK_DN);
        if (!invert(terms, a, inverse)) {
            *out = unknown;
            return;
        }
        for (int p = 0; p < terms; p++) {
            out->size[p] = 0;
            for (int q = 0; q < terms; q++)
                out->size[p] += inverse[p][q] * right[q];
        }
    }
    double sum[DW_COMPARE_REGIONS][DW_BEND_TERMS] = {{0}}, voices[DW_COMPARE_REGIONS] = {0};
    for (size_t k = 0; k < r->n; k++) {
        int region = r->region[k];
        voices[region] += r->w[k];
        for (int p = 0; p < terms; p++)
            sum[region][p] += r->w[k] * r->x[p][k] * rest(r, terms, k, out->size);
    }
    double regions = 0;
    for (int g = 0; g < all_regions; g++)
        regions += voices[g] > 0;
    for (int p = 0; p < terms; p++) {
        for (int g = 0; g < all_regions; g++) {
            double pull = 0;
            for (int q = 0; q < terms; q++)
                pull += inverse[p][q] * sum[g][q];
            out->var[p] += pull * pull;
        }
        /* A setting does the same to all regions. Where they disagree by more than their tiles'
         * noise, light itself bent, fog came, and what they share is light by about as much. */
        out->var[p] += fmax(0, regions * (out->var[p] - inverse[p][p]));
        out->var[p] = fmax(out->var[p], FLOOR_STOPS * FLOOR_STOPS * inverse[p][p] / inverse[0][0]);
    }
}

/* Do shots first..first+3 look at the same places, in a row? */
static bool in_a_row(const struct dw_bends *b, const struct dw_work *w, size_t first)
{
    const size_t *s = b->shot + first;
    for (int k = 1; k < 4; k++)
        if (!(fabs(w->shift[s[k]].x - w->shift[s[0]].x) < STILL_CELLS &&
              fabs(w->shift[s[k]].y - w->shift[s[0]].y) < STILL_CELLS))
            return false;
    return w->utc[s[3]] - w->utc[s[0]] < MOST_INTERVALS * w->interval;
}

struct task {
    const struct dw_bends *b;
    const struct dw_work *w;
    const int *region; /* of each tile */
    struct dw_bend *out;
};

/* Third differences of each tile over shots i .. i+3, their variance, and what one count of black
 * does to them. */
static void difference(const struct task *t, size_t i, const double part[4], double *restrict y,
                       double *restrict var, double *restrict black)
{
    size_t tiles = (size_t)t->w->tiles;
    const struct dw_bends *b = t->b;
    for (size_t k = 0; k < tiles; k++) {
        y[k] = black[k] = 0;
        var[k] = FLOOR_STOPS * FLOOR_STOPS;
    }
    for (size_t j = 0; j < 4; j++) {
        size_t at = b->shot[i + j] * tiles;
        const float *value = b->value + at, *noise = b->noise + at, *lever = b->lever + at;
        for (size_t k = 0; k < tiles; k++) {
            y[k] += part[j] * (double)value[k];
            var[k] += part[j] * part[j] * (double)noise[k];
            black[k] += part[j] * (double)lever[k];
        }
    }
}

/* The tiles of these shots, packed. */
static void fill_row(const struct task *t, size_t i, struct row *r)
{
    const struct dw_bends *b = t->b;
    double time[4], part[4];
    for (size_t k = 0; k < 4; k++)
        time[k] = t->w->utc[b->shot[i + k]];
    dw_third_difference(time, t->w->interval, part);
    difference(t, i, part, r->y, r->sd, r->x[b->terms]);
    r->n = 0;
    for (size_t k = 0; k < (size_t)t->w->tiles; k++) {
        if (!isfinite(r->y[k]) || !isfinite(r->sd[k]))
            continue;
        r->y[r->n] = r->y[k];
        r->sd[r->n] = r->sd[k];
        for (int term = 0; term < b->terms; term++)
            r->x[term][r->n] = term == 0 ? 1 : b->basis[term][k];
        r->x[b->terms][r->n] = r->x[b->terms][k];
        r->region[r->n++] = t->region[k];
    }
    for (size_t k = 0; k < r->n; k++)
        r->sd[k] = sqrt(r->sd[k]);
}

static enum dw_status measure(void *ctx, void *work, size_t from, size_t to, struct dw_error *err)
{
    (void)err;
    const struct task *t = ctx;
    const struct dw_work *w = t->w;
    double *room = work;
    struct row r = {.terms = t->b->terms + 1};
    double **arrays[4 + DW_BEND_TERMS] = {&r.y, &r.sd, &r.w, &r.work};
    for (int k = 0; k < r.terms; k++)
        arrays[4 + k] = &r.x[k];
    for (int k = 0; k < 4 + r.terms; k++, room += w->tiles)
        *arrays[k] = room;
    r.region = (void *)room;
    for (size_t i = from; i < to; i++) {
        t->out[i] = unknown;
        if (!t->b->asked[i] || !in_a_row(t->b, w, i))
            continue;
        fill_row(t, i, &r);
        if (r.n >= LEAST_TILES)
            regress(&r, dw_pair_regions(w->survey->cols, w->survey->rows), &t->out[i]);
    }
    return DW_OK;
}

enum dw_status dw_bends_measure(const struct dw_bends *b, struct dw_work *w, struct dw_bend *out,
                                struct dw_error *err)
{
    size_t tiles = (size_t)w->tiles, mark = w->arena.n;
    int *region = DW_TAKE(&w->arena, tiles, int);
    if (!region)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for %zu tiles", tiles);
    for (size_t k = 0; k < tiles; k++)
        region[k] = dw_pair_region(w->survey->cols, w->survey->rows, (int)k);
    struct task t = {b, w, region, out};
    const struct dw_each rows = {b->n > 3 ? b->n - 3 : 0, ROWS_AT_A_TIME,
                                 tiles * ((5 + (size_t)b->terms) * sizeof(double) + sizeof(int)),
                                 measure, &t};
    enum dw_status status = dw_each(&rows, w->run, err);
    dw_arena_free_to(&w->arena, mark);
    return status;
}
