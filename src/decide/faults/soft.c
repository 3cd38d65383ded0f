/* soft.c: detail lost to dew or focus. The finest detail (1 px) against coarser detail (3 px) of
 * the same tile is a property of the lens, not of the light: fog weakens both. */
#include "decide/faults/judges.h"
#include "decide/faults/same_light.h"
#include "base/each.h"
#include "base/robust.h"

#include <math.h>

static const struct dw_soft_params {
    double least_sigma;  /* fine detail must be expected this far above its noise */
    double middle_sigma; /* and middle detail be there by so much */
    double quantile;     /* the clear side of shots in the same light */
    double share;        /* of the alike shots that must know a tile */
    double most_ratio;   /* log2 fine/middle: more is lone pixels (hot ones), not detail */
    int tiles;           /* fewer tell nothing */
    double soft_log2;    /* energy lost, log2; about a blur of 1 mosaic pixel rms */
    double clipped;
    double
        any_share; /* against shots in all light, most of which may be too dark to tell: so many */
    int any_tiles; /* must know a tile, and so many tiles must tell */
    double any_log2; /* and the limit is this */
} params = {12, 6, 0.75, 0.3, 2.2, 8, -2.8, 1e-3, 0.1, 25, -3.3};

struct soft {
    struct dw_work *w;
    struct dw_ledger_row *ledger;
    float *ratio;                    /* log2 of fine over middle energy, n*tiles; NAN in noise */
    double *reference, *loss, *work; /* of the class at work */
};

/* A worker's own state. */
static struct soft at_work(const struct soft *shared, void *work)
{
    struct soft s = *shared;
    s.reference = work;
    s.loss = s.reference + s.w->tiles;
    s.work = s.loss + s.w->n;
    return s;
}

static size_t work_bytes(const struct dw_work *w)
{
    return ((size_t)w->tiles + w->n + DW_LIGHT_COLUMNS * w->n + (size_t)w->tiles) * sizeof(double);
}

static float ratio_of(const struct dw_tile *t)
{
    if (!((double)t->fine > params.least_sigma * (double)t->fine_sd) ||
        !((double)t->middle > params.least_sigma * (double)t->middle_sd) ||
        (double)t->clipped > params.clipped || !(t->fine > 0) || !(t->middle > 0))
        return NAN;
    return log2f(t->fine / t->middle);
}

/* Median over tiles of what fine detail lost against its reference; *n: how many tiles told. */
static double loss_of(const struct soft *s, size_t i, int *n)
{
    const struct dw_measure *m = &s->w->survey->measure[i];
    *n = 0;
    for (int k = 0; k < s->w->tiles && m->tile; k++) {
        const struct dw_tile *t = &m->tile[k];
        double ref = s->reference[k], sd = (double)t->fine_sd, middle = (double)t->middle;
        if (!isfinite(ref) || ref > params.most_ratio || (double)t->clipped > params.clipped ||
            !(middle > params.middle_sigma * (double)t->middle_sd) || !(middle > 0) ||
            !(exp2(ref) * middle > params.least_sigma * sd))
            continue;
        double fine = fmax((double)t->fine, fmax(0.5 * sd, 1e-12));
        s->work[(*n)++] = log2(fine / middle) - ref;
    }
    return *n >= params.tiles ? dw_median(s->work, (size_t)*n) : (double)NAN;
}

static void blame(struct soft *s, size_t i, double loss, int tiles, const char *in)
{
    dw_blame(&s->ledger[i], DW_SOFT, 0.3 + (params.soft_log2 - loss) / 4,
             "detail is lost, by dew or focus: the finest keeps %.0f %% of its usual contrast "
             "(%d places that show it%s)",
             100 * exp2(loss / 2), tiles, in);
}

static void judge_class(void *ctx, const struct dw_light_class *c, void *work)
{
    struct soft own = at_work(ctx, work), *s = &own;
    int tiles;
    size_t known = 0;
    dw_same_light_quantile(c, s->ratio, s->w->tiles, params.quantile, params.share, s->reference,
                           s->work);
    /* the quantile of noisy values lies high: what clear shots are off by is taken off */
    for (size_t j = 0; j < c->n_like; j++) {
        double loss = loss_of(s, c->like[j], &tiles);
        if (isfinite(loss))
            s->loss[known++] = loss;
    }
    if (known == 0)
        return;
    double usual = dw_quantile(s->loss, known, params.quantile);
    for (size_t j = 0; j < c->n_mine; j++) {
        double loss = loss_of(s, c->mine[j], &tiles) - usual;
        s->w->detail_seen[c->mine[j]] |= isfinite(loss);
        if (loss < params.soft_log2)
            blame(s, c->mine[j], loss, tiles, " in the same light");
    }
}

/* The same against all light. A shot of an evening whose like never came again, or came as dewy as
 * it was, has no other measure; and light changes the ratio little, if many places tell. */
static void judge_place(void *ctx, const struct dw_light_class *c, void *work)
{
    struct soft own = at_work(ctx, work), *s = &own;
    int tiles;
    dw_same_light_quantile(c, s->ratio, s->w->tiles, params.quantile, params.any_share,
                           s->reference, s->work);
    for (size_t j = 0; j < c->n_mine; j++) {
        double loss = loss_of(s, c->mine[j], &tiles);
        s->w->detail_seen[c->mine[j]] |= tiles >= params.any_tiles;
        if (tiles >= params.any_tiles && loss < params.any_log2 &&
            !(s->ledger[c->mine[j]].faults & DW_SOFT))
            blame(s, c->mine[j], loss, tiles, "");
    }
}

enum { SHOTS_AT_A_TIME = 32 };

static enum dw_status find_ratios(void *ctx, void *work, size_t from, size_t to,
                                  struct dw_error *err)
{
    (void)work;
    (void)err;
    struct soft *s = ctx;
    size_t tiles = (size_t)s->w->tiles;
    for (size_t i = from; i < to; i++) {
        const struct dw_measure *m = &s->w->survey->measure[i];
        s->w->detail_seen[i] = false;
        for (size_t k = 0; k < tiles; k++)
            s->ratio[i * tiles + k] = m->usable && m->tile ? ratio_of(&m->tile[k]) : NAN;
    }
    return DW_OK;
}

enum dw_status dw_judge_soft(struct dw_work *w, struct dw_ledger_row *ledger, struct dw_error *err)
{
    struct soft s = {
        .w = w, .ledger = ledger, .ratio = DW_TAKE(&w->arena, w->n * (size_t)w->tiles, float)};
    w->detail_seen = DW_TAKE(&w->arena, w->n, bool);
    if (!w->detail_seen || !s.ratio)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for the detail of %zu shots", w->n);
    const struct dw_each shots = {w->n, SHOTS_AT_A_TIME, 0, find_ratios, &s};
    enum dw_status status = dw_each(&shots, w->run, err);
    if (status >= 0)
        status = dw_same_light(w, ledger, DW_SPOILED, false, judge_class, &s, work_bytes(w), err);
    return status < 0 ? status
                      : dw_same_place(w, ledger, DW_SPOILED, judge_place, &s, work_bytes(w), err);
}
