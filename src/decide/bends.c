/* bends.c: see bends.h. One robust regression of the tiles on the terms for each four shots:
 * Tukey's biweight (Beaton & Tukey 1974), variance by regions (Liang & Zeger 1986) as for pairs.c.
 */
#include "decide/bends.h"
#include "decide/compare.h"
#include "decide/steady.h"
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

static const struct dw_bend unknown = {
    {0}, {DW_BEND_UNKNOWN, DW_BEND_UNKNOWN, DW_BEND_UNKNOWN, DW_BEND_UNKNOWN}};

struct row {
    size_t n; /* tiles that all four shots have */
    double *y, *sd, *w, *work;
    double *x[DW_BEND_TERMS]; /* terms' values there; the last: what one count of black does */
    int *tile;
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
    for (size_t k = 0; k < r->n; k++)
        r->work[k] = fabs(rest(r, terms, k, size)) / r->sd[k];
    return fmax(1, DW_MAD_TO_SIGMA * dw_median(r->work, r->n));
}

/* Sums of the normal equations, every tile with its weight. */
static inline void add_tiles(struct row *r, int terms, const double *size, double wide,
                             double a[DW_BEND_TERMS][DW_BEND_TERMS], double right[DW_BEND_TERMS])
{
    for (size_t k = 0; k < r->n; k++) {
        double sd = wide * r->sd[k];
        double w = dw_tukey_weight(rest(r, terms, k, size), DW_TUKEY * sd) / (sd * sd);
        r->w[k] = w;
        for (int p = 0; p < terms; p++) {
            double wx = w * r->x[p][k];
            for (int q = 0; q < terms; q++)
                a[p][q] += wx * r->x[q][k];
            right[p] += wx * r->y[k];
        }
    }
}

static void regress(const struct dw_work *w, struct row *r, struct dw_bend *out)
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
        int region = dw_pair_region(w->survey->cols, w->survey->rows, r->tile[k]);
        voices[region] += r->w[k];
        for (int p = 0; p < terms; p++)
            sum[region][p] += r->w[k] * r->x[p][k] * rest(r, terms, k, out->size);
    }
    double regions = 0;
    for (int g = 0; g < DW_COMPARE_REGIONS; g++)
        regions += voices[g] > 0;
    for (int p = 0; p < terms; p++) {
        for (int g = 0; g < DW_COMPARE_REGIONS; g++) {
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

enum dw_status dw_bends_measure(const struct dw_bends *b, struct dw_work *w, struct dw_bend *out,
                                struct dw_error *err)
{
    size_t tiles = (size_t)w->tiles, mark = w->arena.n;
    struct row r = {.terms = b->terms + 1,
                    .y = DW_TAKE(&w->arena, tiles, double),
                    .sd = DW_TAKE(&w->arena, tiles, double),
                    .w = DW_TAKE(&w->arena, tiles, double),
                    .work = DW_TAKE(&w->arena, tiles, double),
                    .tile = DW_TAKE(&w->arena, tiles, int)};
    bool there = r.y && r.sd && r.w && r.work && r.tile;
    for (int t = 0; t < r.terms && there; t++)
        there = (r.x[t] = DW_TAKE(&w->arena, tiles, double)) != NULL;
    if (!there)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for %zu tiles", tiles);
    for (size_t i = 0; i + 3 < b->n; i++) {
        double time[4], part[4];
        for (size_t k = 0; k < 4; k++)
            time[k] = w->utc[b->shot[i + k]];
        dw_third_difference(time, w->interval, part);
        r.n = 0;
        for (size_t k = 0; k < tiles && b->asked[i]; k++) {
            double y = 0, var = FLOOR_STOPS * FLOOR_STOPS, black = 0;
            for (size_t j = 0; j < 4; j++) {
                y += part[j] * (double)b->value[b->shot[i + j] * tiles + k];
                var += part[j] * part[j] * (double)b->noise[b->shot[i + j] * tiles + k];
                black += part[j] * (double)b->lever[b->shot[i + j] * tiles + k];
            }
            if (!isfinite(y) || !isfinite(var))
                continue;
            r.y[r.n] = y;
            r.sd[r.n] = sqrt(var);
            for (int t = 0; t < b->terms; t++)
                r.x[t][r.n] = t == 0 ? 1 : b->basis[t][k];
            r.x[b->terms][r.n] = black;
            r.tile[r.n++] = (int)k;
        }
        if (r.n >= LEAST_TILES && in_a_row(b, w, i))
            regress(w, &r, &out[i]);
        else
            out[i] = unknown;
    }
    dw_arena_free_to(&w->arena, mark);
    return DW_OK;
}
