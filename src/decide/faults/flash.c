/* flash.c: a brief light over the ground, headlights or a lamp: tiles that are far brighter than in
 * the shots before *and* after, and than they ever are about that time. A lamp that goes on stays;
 * aircraft, a meteor or the moon on her way light the sky's tiles, not ground. */
#include "decide/faults/ground.h"
#include "decide/faults/judges.h"
#include "base/limit.h"
#include "base/each.h"
#include "base/robust.h"

#include <math.h>

#define REACH 10 /* shots on either side */
enum { SHOTS_AT_A_TIME = 32 };

static const struct dw_flash_params {
    double below_deg;   /* by day nothing that people carry outshines the sun */
    int tiles;          /* so many must be lit: fewer is a passer-by's lamp or an aircraft */
    double stops;       /* above the usual */
    double z;           /* in units of the tile's own spread and noise */
    double least_noise; /* stops */
} params = {-3, 6, 0.35, 6, 0.03};

/* Light of a tile by the record, not below its noise; NAN unknown. */
static float level_of(const struct dw_work *w, size_t i, const struct dw_tile *t)
{
    double light = (double)(t->mean[1] - w->survey->measure[i].black[1]);
    double least = dw_at_least(2 * sqrt(dw_at_least((double)t->var[1], 0)), 0.5);
    return isfinite(light) ? (float)(log2(dw_at_least(light, least)) + w->ev[i]) : NAN;
}

struct flash {
    struct dw_work *w;
    const struct dw_ledger_row *ledger;
    float *level;
    bool *ground; /* all tiles where no ground was found */
    double *excess, *z, *work;
};

/* By day nobody asks for them. */
static enum dw_status find_levels(void *ctx, void *work, size_t from, size_t to,
                                  struct dw_error *err)
{
    (void)work;
    (void)err;
    struct flash *f = ctx;
    size_t tiles = (size_t)f->w->tiles, n = f->w->n;
    for (size_t i = from; i < to; i++) {
        const struct dw_measure *m = &f->w->survey->measure[i];
        bool asked = false;
        for (size_t j = i > REACH ? i - REACH : 0; j <= i + REACH && j < n && !asked; j++)
            asked = f->w->alt[j] < params.below_deg;
        for (size_t k = 0; k < tiles && asked; k++)
            f->level[i * tiles + k] = m->usable && m->tile ? level_of(f->w, i, &m->tile[k]) : NAN;
    }
    return DW_OK;
}

/* Shots about i that can be compared with, nearest first on each side; side[] counts them. */
static int neighbours(const struct flash *f, size_t i, size_t *out, int side[2])
{
    const uint32_t spoiled = DW_UNREADABLE | DW_BRIGHT | DW_DARK;
    int n = 0;
    for (int s = 0; s < 2; s++) {
        side[s] = 0;
        for (size_t d = 1; d <= REACH && (s ? i + d < f->w->n : d <= i); d++) {
            size_t j = s ? i + d : i - d;
            if (!isfinite(f->w->key[j]) || (f->ledger[j].faults & spoiled))
                continue;
            out[n++] = j;
            side[s]++;
        }
    }
    return n;
}

/* How far tile k of shot i stands above its neighbours, and in units of its own spread. */
static void stand_out(const struct flash *f, size_t i, int k, const size_t *near, int n,
                      const int side[2], double *excess, double *z)
{
    size_t tiles = (size_t)f->w->tiles;
    double work[2 * REACH], dev[2 * REACH];
    double own = (double)f->level[i * tiles + (size_t)k];
    size_t known = 0;
    for (int j = 0; j < n; j++) {
        double v = (double)f->level[near[j] * tiles + (size_t)k];
        if (isfinite(v))
            work[known++] = v;
    }
    double before = (double)f->level[near[0] * tiles + (size_t)k];
    double after = (double)f->level[near[side[0]] * tiles + (size_t)k];
    double middle = dw_median(work, known);
    double spread = dw_mad_sigma(work, known, middle, dev);
    *excess = own - fmax(middle, fmax(before, after));
    const struct dw_tile *t = &f->w->survey->measure[i].tile[k];
    double light = fmax((double)(t->mean[1] - f->w->survey->measure[i].black[1]), 0.5);
    double noise = sqrt(fmax((double)t->var[1], 0)) / light * 1.4427;
    *z = *excess / sqrt(spread * spread + noise * noise + params.least_noise * params.least_noise);
}

/* Whether so many tiles of the ground may be lit at all: most nights' shots need no closer look. */
static bool may_be_lit(const struct flash *f, size_t i, size_t before, size_t after)
{
    size_t tiles = (size_t)f->w->tiles;
    const float *own = f->level + i * tiles, *a = f->level + before * tiles,
                *b = f->level + after * tiles;
    int lit = 0;
    for (size_t k = 0; k < tiles; k++) {
        double over = (double)own[k] - fmax((double)a[k], (double)b[k]);
        lit += f->ground[k] && !(over <= params.stops); /* unknown: it may */
    }
    return lit >= params.tiles;
}

static void judge(struct flash *f, struct dw_ledger_row *row, size_t i)
{
    size_t near[2 * REACH];
    int side[2], n = neighbours(f, i, near, side), lit = 0;
    size_t known = 0;
    if (side[0] == 0 || side[1] == 0 || n < 4 || !f->w->survey->measure[i].tile ||
        !may_be_lit(f, i, near[0], near[side[0]]))
        return;
    for (int k = 0; k < f->w->tiles; k++) {
        stand_out(f, i, k, near, n, side, &f->excess[k], &f->z[k]);
        if (isfinite(f->excess[k]))
            f->work[known++] = f->excess[k];
    }
    /* what all tiles do alike is exposure, or the moon behind a cloud */
    double common = known > 0 ? fmax(dw_median(f->work, known), 0) : 0, most = 0;
    for (int k = 0; k < f->w->tiles; k++) {
        double e = f->excess[k] - common;
        if (!f->ground[k] || !(e > params.stops) || !(f->z[k] * e / f->excess[k] > params.z))
            continue;
        lit++;
        most = fmax(most, e);
    }
    if (lit < params.tiles)
        return;
    dw_blame(row, DW_FLASH, 0.3 + 0.1 * most + (double)lit / f->w->tiles,
             "a brief light over %.0f %% of the picture, up to %.1f stops above the frames before "
             "and after",
             fmax(100.0 * lit / f->w->tiles, 1), most);
}

enum dw_status dw_judge_flash(struct dw_work *w, struct dw_ledger_row *ledger, struct dw_error *err)
{
    size_t tiles = (size_t)w->tiles;
    double *work = DW_TAKE(&w->arena, w->n, double);
    struct flash f = {w,
                      ledger,
                      DW_TAKE(&w->arena, w->n * tiles, float),
                      DW_TAKE(&w->arena, tiles, bool),
                      DW_TAKE(&w->arena, tiles, double),
                      DW_TAKE(&w->arena, tiles, double),
                      DW_TAKE(&w->arena, tiles, double)};
    if (!work || !f.level || !f.ground || !f.excess || !f.z || !f.work)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for %zu shots", w->n);
    if (w->params->few)
        return DW_OK;
    enum dw_status status = dw_contrasts(w, err);
    if (status < 0)
        return status;
    if (dw_find_ground(w, f.ground, work) < 2 * params.tiles)
        for (size_t k = 0; k < tiles; k++)
            f.ground[k] = true;
    const struct dw_each shots = {w->n, SHOTS_AT_A_TIME, 0, find_levels, &f};
    status = dw_each(&shots, w->run, err);
    if (status < 0)
        return status;
    for (size_t i = 0; i < w->n; i++)
        if (w->alt[i] < params.below_deg && isfinite(w->key[i]) &&
            !(ledger[i].faults & (DW_UNREADABLE | DW_BRIGHT | DW_DARK)))
            judge(&f, &ledger[i], i);
    return DW_OK;
}
