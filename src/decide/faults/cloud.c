/* cloud.c: stars hidden by cloud, counted by the bright spots that move. Only in the dark, where
 * the count does not hang on the twilight. */
#include "decide/faults/cloud.h"
#include "decide/faults/judges.h"
#include "decide/faults/same_light.h"
#include "base/robust.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const struct dw_cloud_params {
    double dark_deg;       /* the sun must be below */
    size_t least_shots;    /* of night; fewer tell nothing of what stands still */
    double least_stars;    /* usual count from which missing ones say something */
    int cell;              /* mosaic pixels: spots in the same cell stand in the same place */
    double standing_share; /* of the night's shots in which a cell is lit: hot pixels, lamps */
    double middle;         /* quantile that the count usually has, clouds or not */
    double quantile;       /* the clear side of shots in the same light */
    double share;          /* of the usual count: fewer stars are hidden ones, */
    double habit;          /* or, if the count is unsteady by habit (scattered cloud), this many
                              times its spread below usual */
    double always;         /* so few are hidden ones whatever the habit, */
    size_t core;           /* in so many shots in a row: scattered clouds hide all for a moment */
    double near_s, near_quantile; /* the sky turns, the moon rises: fewer than in the clear part
                                     of these seconds before and after, too */
} params = {-15.5, 12, 60, 3, 0.12, 0.6, 0.75, 0.62, 12, 0.15, 3, 9000, 0.9};

struct cloud {
    struct dw_work *w;
    struct dw_ledger_row *ledger;
    double *stars; /* moving spots of each shot; NAN by day */
    double *depth; /* the same, times the noise of the sky: what a clear sky would keep */
    double *ratio, *usual, *work;
};

static int by_number(const void *a, const void *b)
{
    uint32_t p = *(const uint32_t *)a, q = *(const uint32_t *)b;
    return (p > q) - (p < q);
}

static uint32_t cell_of(const struct dw_spike *s)
{
    return (uint32_t)(s->y / params.cell) << 16 | (uint32_t)(s->x / params.cell);
}

/* The cells lit in a shot, each once, sorted. Room for n_spikes. */
static size_t lit_cells(const struct dw_spike *s, size_t n, uint32_t *cell)
{
    size_t kept = 0;
    for (size_t k = 0; k < n; k++)
        cell[k] = cell_of(&s[k]);
    qsort(cell, n, sizeof *cell, by_number);
    for (size_t k = 0; k < n; k++)
        if (k == 0 || cell[k] != cell[k - 1])
            cell[kept++] = cell[k];
    return kept;
}

/* Cells that are lit in too many of the night's shots to be stars; sorted. */
static size_t find_standing(uint32_t *all, size_t n, size_t nights)
{
    size_t kept = 0;
    double most = fmax(3, params.standing_share * (double)nights);
    qsort(all, n, sizeof *all, by_number);
    for (size_t a = 0, b; a < n; a = b) {
        for (b = a; b < n && all[b] == all[a]; b++)
            ;
        if ((double)(b - a) > most)
            all[kept++] = all[a];
    }
    return kept;
}

/* Counts the stars of one shot, and what the sky's brightness lets a camera see. */
static void count(struct cloud *c, size_t i, const struct dw_spike *s, const uint32_t *standing,
                  size_t n_standing)
{
    const struct dw_measure *m = &c->w->survey->measure[i];
    size_t n = 0;
    for (size_t k = 0; k < m->n_spikes; k++) {
        uint32_t cell = cell_of(&s[k]);
        if (!bsearch(&cell, standing, n_standing, sizeof cell, by_number))
            c->work[n++] = (double)s[k].median;
    }
    c->stars[i] = (double)n;
    /* The faintest star seen is as bright as some multiple of the noise under it, in the light of
     * the scene; star counts to a limit go about inversely with it. */
    double sky = n > 0 ? fmax(dw_median(c->work, n) - (double)m->black[1], 0) : 0;
    double noise = sqrt((double)m->photon_dn * sky + (double)m->noise_dn * (double)m->noise_dn);
    c->depth[i] = (double)n * fmax(noise, 0.3) * exp2(c->w->ev[i]);
}

static enum dw_status count_stars(struct cloud *c, const size_t *night, size_t n,
                                  struct dw_error *err)
{
    const struct dw_survey *survey = c->w->survey;
    struct dw_spike **spike = calloc(n, sizeof *spike);
    size_t room = 0, used = 0;
    for (size_t k = 0; k < n; k++)
        room += survey->measure[night[k]].n_spikes;
    uint32_t *cell = malloc((room + 1) * sizeof *cell);
    enum dw_status status =
        spike && cell ? DW_OK : dw_fail(err, DW_ERR_MEMORY, "no memory for %zu bright spots", room);
    for (size_t k = 0; k < n && status >= 0; k++) {
        size_t spots = survey->measure[night[k]].n_spikes;
        if (spots == 0)
            continue;
        status = dw_survey_spikes(survey, night[k], &spike[k], err);
        if (status >= 0)
            used += lit_cells(spike[k], spots, cell + used);
    }
    if (status >= 0) {
        size_t standing = find_standing(cell, used, n);
        for (size_t k = 0; k < n; k++)
            count(c, night[k], spike[k], cell, standing);
    }
    for (size_t k = 0; k < n && spike; k++)
        free(spike[k]);
    free(spike);
    free(cell);
    return status;
}

static void judge_class(void *ctx, const struct dw_light_class *class)
{
    struct cloud *c = ctx;
    size_t n = 0;
    for (size_t j = 0; j < class->n_like; j++)
        if (isfinite(c->depth[class->like[j]]))
            c->work[n++] = c->depth[class->like[j]];
    if (n < params.least_shots / 2)
        return;
    double usual = dw_quantile(c->work, n, params.quantile);
    for (size_t j = 0; j < class->n_mine; j++) {
        size_t i = class->mine[j];
        if (!(usual > 0) || !isfinite(c->depth[i]))
            continue;
        c->ratio[i] = c->depth[i] / usual;
        c->usual[i] = c->stars[i] / fmax(c->ratio[i], 1e-3);
    }
}

/* The ratio that the clear part of the hours before and after reaches. */
static double near_by(const struct cloud *c, size_t i)
{
    size_t n = 0;
    for (size_t j = 0; j < c->w->n; j++)
        if (isfinite(c->ratio[j]) && fabs(c->w->utc[j] - c->w->utc[i]) < params.near_s)
            c->work[n++] = c->ratio[j];
    return dw_quantile(c->work, n, params.near_quantile);
}

void dw_cloud_bank(const double *ratio, const bool *lower, size_t n, bool *bank)
{
    for (size_t a = 0, b; a < n; a = b) {
        b = a + 1;
        bank[a] = false;
        if (!lower[a])
            continue;
        size_t core = 0, longest = 0;
        for (b = a; b < n && (lower[b] || !isfinite(ratio[b])); b++) {
            if (isfinite(ratio[b])) /* a shot that is not known ends nothing */
                core = ratio[b] < params.always ? core + 1 : 0;
            longest = core > longest ? core : longest;
        }
        for (size_t i = a; i < b; i++)
            bank[i] = lower[i] && longest >= params.core;
    }
}

static enum dw_status judge_ratios(struct cloud *c, struct dw_error *err)
{
    size_t n = 0;
    for (size_t i = 0; i < c->w->n; i++)
        if (isfinite(c->ratio[i]))
            c->work[n++] = c->ratio[i];
    if (n < params.least_shots)
        return DW_OK;
    double middle = dw_quantile(c->work, n, params.middle),
           upper = dw_quantile(c->work, n, params.quantile);
    double limit = fmin(params.share, upper - params.habit * (upper - middle));
    bool *lower = DW_TAKE(&c->w->arena, c->w->n, bool),
         *bank = DW_TAKE(&c->w->arena, c->w->n, bool);
    if (!lower || !bank)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for %zu shots", c->w->n);
    for (size_t i = 0; i < c->w->n; i++) {
        double r = c->ratio[i];
        lower[i] = isfinite(r) && c->usual[i] >= params.least_stars && r < params.share &&
                   r < params.share * near_by(c, i);
    }
    dw_cloud_bank(c->ratio, lower, c->w->n, bank);
    for (size_t i = 0; i < c->w->n; i++)
        if (bank[i] || (lower[i] && c->ratio[i] < limit))
            dw_blame(
                &c->ledger[i], DW_CLOUD, 1 - c->ratio[i],
                "clouds hide the stars: %.0f are seen where about %.0f are usual in this light",
                c->stars[i], c->usual[i]);
    return DW_OK;
}

enum dw_status dw_judge_cloud(struct dw_work *w, struct dw_ledger_row *ledger, struct dw_error *err)
{
    const uint32_t without = DW_SPOILED | DW_HAZE | DW_SOFT;
    size_t *night = DW_TAKE(&w->arena, w->n, size_t), n = 0, most = w->n;
    for (size_t i = 0; night && i < w->n; i++) {
        if (!w->usable[i] || (ledger[i].faults & without) || !(w->alt[i] < params.dark_deg))
            continue;
        night[n++] = i;
        most = most > w->survey->measure[i].n_spikes ? most : w->survey->measure[i].n_spikes;
    }
    struct cloud c = {w,
                      ledger,
                      DW_TAKE(&w->arena, w->n, double),
                      DW_TAKE(&w->arena, w->n, double),
                      DW_TAKE(&w->arena, w->n, double),
                      DW_TAKE(&w->arena, w->n, double),
                      DW_TAKE(&w->arena, most, double)};
    if (!night || !c.stars || !c.depth || !c.ratio || !c.usual || !c.work)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for the stars of %zu shots", w->n);
    for (size_t i = 0; i < w->n; i++)
        c.stars[i] = c.depth[i] = c.ratio[i] = c.usual[i] = (double)NAN;
    if (n < params.least_shots)
        return DW_OK;
    enum dw_status status = count_stars(&c, night, n, err);
    if (status >= 0)
        status = dw_same_light(w, ledger, without, false, judge_class, &c, err);
    return status < 0 ? status : judge_ratios(&c, err);
}
