/* finder.c: what the tiles of a shoot are like, before any of them is looked at for a ghost: sky or
 * ground, what ground gives back of daylight and how much of its detail even flat light shows. */
#include "decide/faults/ground.h"
#include "decide/faults/sights.h"
#include "base/robust.h"

#include <math.h>
#include <string.h>

static const struct learn_params {
    double lit_deg; /* ground's detail is learnt from shots with the sun above this, */
    int lit_shots;  /* so many at least */
    double stands,
        detail;     /* ground shows detail of so much of its light (log2) in this share of them */
    double flat;    /* as this quantile of them: what even flat light shows */
    double day_deg; /* above it daylight tells what each tile gives back */
} LEARN = {.lit_deg = -6, .lit_shots = 8, .stands = 0.6, .detail = -6, .flat = 0.1, .day_deg = 3};

enum { MOST_DAY = 200 };

/* What each ground tile gives back of daylight beside the others. */
static void learn_expected(struct dw_finder *f)
{
    const struct dw_work *w = f->w;
    float *beside = f->beside;
    size_t days = 0, tiles = (size_t)w->tiles, m = 0;
    for (size_t i = 0; i < w->n; i++)
        days += f->in[i] && w->alt[i] > LEARN.day_deg;
    f->has_day = days > 0;
    size_t step = days / MOST_DAY + 1, seen = 0;
    for (size_t i = 0; i < w->n && m < MOST_DAY; i++) {
        if (!f->in[i] || !(w->alt[i] > LEARN.day_deg) || seen++ % step != 0)
            continue;
        const struct dw_measure *v = &w->survey->measure[i];
        size_t known = 0;
        for (size_t k = 0; k < tiles; k++) {
            double light = dw_tile_level(v, (int)k);
            beside[m * tiles + k] = (float)light;
            if (f->ground[k] && isfinite(light))
                f->work[known++] = light;
        }
        float middle = known ? (float)dw_median(f->work, known) : 0;
        for (size_t k = 0; k < tiles; k++)
            beside[m * tiles + k] -= middle;
        m++;
    }
    double of_day[MOST_DAY];
    for (size_t k = 0; k < tiles; k++) {
        size_t known = 0;
        for (size_t d = 0; d < m; d++)
            if (isfinite(beside[d * tiles + k]))
                of_day[known++] = (double)beside[d * tiles + k];
        f->expected[k] = f->ground[k] && known ? dw_median(of_day, known) : 0;
    }
    for (size_t k = 0; k < tiles; k++) {
        size_t known = 0;
        for (size_t d = 0; d < m; d += 5) {
            memset(f->burnt, 0, tiles * sizeof *f->burnt);
            for (size_t j = 0; j < tiles; j++)
                f->level[j] = (double)beside[d * tiles + j] - f->expected[j];
            double over = f->ground[k] ? (double)NAN : dw_above_both_sides(f, f->level, (int)k);
            if (isfinite(over))
                of_day[known++] = over;
        }
        f->by_day[k] = known ? dw_median(of_day, known) : 0;
    }
}

/* Which tiles show ground: its detail stands, as none does in a sky (ground.h, but from lit shots
 * alone: what is dark shows none). Also that detail as flat light shows it. */
static bool learn_ground(struct dw_finder *f)
{
    size_t tiles = (size_t)f->w->tiles;
    for (size_t k = 0; k < tiles; k++) {
        size_t n = 0, lit = 0;
        for (size_t i = 0; i < f->w->n; i++) {
            float v = f->w->contrast[i * tiles + k];
            if (!f->in[i] || !(f->w->alt[i] > LEARN.lit_deg))
                continue;
            lit++;
            if (isfinite(v))
                f->work[n++] = (double)v;
        }
        if (lit < (size_t)LEARN.lit_shots)
            return false;
        f->ground[k] =
            (double)n > LEARN.stands * (double)lit && dw_median(f->work, n) > LEARN.detail;
        f->detail[k] = f->ground[k] ? (float)dw_quantile(f->work, n, LEARN.flat) : NAN;
    }
    return true;
}

enum dw_status dw_finder_make(struct dw_work *w, struct dw_finder *out, struct dw_error *err)
{
    size_t tiles = (size_t)w->tiles, most = w->n > tiles ? w->n : tiles;
    *out = (struct dw_finder){.w = w,
                              .cols = w->survey->cols,
                              .rows = w->survey->rows,
                              .ground = DW_TAKE(&w->arena, tiles, bool),
                              .detail = DW_TAKE(&w->arena, tiles, float),
                              .expected = DW_TAKE(&w->arena, tiles, double),
                              .by_day = DW_TAKE(&w->arena, tiles, double),
                              .burnt = DW_TAKE(&w->arena, tiles, bool),
                              .level = DW_TAKE(&w->arena, tiles, double),
                              .excess = DW_TAKE(&w->arena, tiles, double),
                              .blob = DW_TAKE(&w->arena, tiles, int),
                              .mark = DW_TAKE(&w->arena, tiles, uint8_t),
                              .work = DW_TAKE(&w->arena, 2 * most, double),
                              .beside = DW_TAKE(&w->arena, MOST_DAY * tiles, float)};
    if (!out->ground || !out->detail || !out->expected || !out->by_day || !out->burnt ||
        !out->level || !out->excess || !out->blob || !out->mark || !out->work || !out->beside)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for the light of %zu shots", w->n);
    return dw_contrasts(w, err);
}

bool dw_finder_learn(struct dw_finder *f, const bool *in)
{
    f->in = in;
    if (!learn_ground(f))
        return false;
    learn_expected(f);
    return true;
}
