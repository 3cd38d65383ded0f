/* stars.c: see stars.h. */
#include "decide/faults/stars.h"

#include "decide/faults/judges.h"
#include "decide/faults/star_width.h"
#include "base/each.h"
#include "base/robust.h"
#include "base/sort.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const struct dw_stars_params {
    double dark_deg;       /* the sun must be below */
    size_t least_shots;    /* of night; fewer tell nothing of what stands still */
    int cell;              /* mosaic pixels: spots in the same cell stand in the same place */
    double standing_share; /* of the night's shots in which a cell is lit: hot pixels, lamps */
    double wide;           /* stars of so many times the usual variance are blurred */
    double usual;          /* quantile of their width, the sharp side */
    double hidden; /* stars as many times wider are so many powers of that fewer: measured on
                      invented dew, where Gaussians would give 1 */
} params = {-15.5, 12, 3, 0.12, 1.5, 0.25, 1.4};

enum { SHOTS_AT_A_TIME = 8, PATTERN_SPOTS = 100000 /* tell which phase has which colour */ };

enum { MAY_BITS = 16, MAY_WORDS = 1 << (MAY_BITS - 6) };
struct night {
    struct dw_work *w;
    size_t *shot, n; /* the night's shots */
    struct dw_spike
        *spike; /* of all, shot by shot: in the arena, whose large pages cost little to ask for */
    size_t *first, *lit; /* where a shot's spots and lit cells begin; how many cells are lit */
    size_t most;         /* spots of one shot */
    size_t every;        /* so manieth shot is asked for the pattern */
    uint32_t *standing;  /* first all lit cells, then those that are standing */
    size_t n_standing;
    uint64_t may_stand[MAY_WORDS]; /* a bit for each of a few cells together */
    struct dw_pattern pattern;
    struct dw_pattern_sums *sums; /* of each shot */
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

/* The cells lit in a shot, each once, sorted. Room for n_spikes, in work as well. */
static size_t lit_cells(const struct dw_spike *s, size_t n, uint32_t *cell, uint32_t *work)
{
    size_t kept = 0;
    for (size_t k = 0; k < n; k++)
        cell[k] = cell_of(&s[k]);
    dw_sort_numbers(cell, n, work);
    for (size_t k = 0; k < n; k++)
        if (k == 0 || cell[k] != cell[k - 1])
            cell[kept++] = cell[k];
    return kept;
}

/* Cells that are lit in too many of the night's shots to be stars; sorted. work: n numbers. */
static size_t find_standing(uint32_t *all, size_t n, size_t nights, uint32_t *work)
{
    size_t kept = 0;
    double most = fmax(3, params.standing_share * (double)nights);
    dw_sort_numbers(all, n, work);
    for (size_t a = 0, b; a < n; a = b) {
        for (b = a; b < n && all[b] == all[a]; b++)
            ;
        if ((double)(b - a) > most)
            all[kept++] = all[a];
    }
    return kept;
}

/* One of the bits that say which cells may be standing: most are not, and need not be sought. */
static unsigned may_bit(uint32_t cell)
{
    return cell * 0x9e3779b1u >> (32 - MAY_BITS); /* 2^32 / golden ratio (Knuth, TAOCP 3, 6.4) */
}

static bool is_standing(const struct night *g, uint32_t cell)
{
    unsigned bit = may_bit(cell);
    return (g->may_stand[bit / 64] >> bit % 64 & 1) &&
           bsearch(&cell, g->standing, g->n_standing, sizeof cell, by_number);
}

/* Counts the stars of one shot, and what the sky's brightness lets a camera see. star, work: room
 * for as many as it has spots. */
static void look(const struct night *g, size_t k, const struct dw_spike **star, double *work)
{
    size_t i = g->shot[k], n = 0;
    const struct dw_measure *m = &g->w->survey->measure[i];
    struct dw_stars *out = &g->w->stars;
    for (size_t j = 0; j < m->n_spikes; j++) {
        const struct dw_spike *s = &g->spike[g->first[k] + j];
        if (s->value > s->median && !is_standing(g, cell_of(s))) {
            work[n] = (double)s->median;
            star[n++] = s;
        }
    }
    out->count[i] = (double)n;
    /* The faintest star seen is as bright as some multiple of the noise under it, in the light of
     * the scene; star counts to a limit go about inversely with it. */
    double sky = n > 0 ? fmax(dw_median(work, n) - (double)m->black[1], 0) : 0;
    double noise = sqrt((double)m->photon_dn * sky + (double)m->noise_dn * (double)m->noise_dn);
    out->depth[i] = (double)n * fmax(noise, 0.3) * exp2(g->w->ev[i]);
    out->variance[i] = dw_star_variance(&g->pattern, g->w->survey, i, star, n, work);
}

static enum dw_status look_at_shots(void *ctx, void *work, size_t from, size_t to,
                                    struct dw_error *err)
{
    (void)err;
    const struct night *g = ctx;
    const struct dw_spike **star = work;
    for (size_t k = from; k < to; k++)
        look(g, k, star, (void *)(star + g->most));
    return DW_OK;
}

/* Reads the spots of some shots, lists their lit cells and sums up what pattern they show. */
static enum dw_status read_shots(void *ctx, void *work, size_t from, size_t to,
                                 struct dw_error *err)
{
    struct night *g = ctx;
    const struct dw_survey *survey = g->w->survey;
    for (size_t k = from; k < to; k++) {
        size_t spots = survey->measure[g->shot[k]].n_spikes;
        if (spots == 0)
            continue;
        struct dw_spike *spike = g->spike + g->first[k];
        enum dw_status status = dw_survey_read_spikes(survey, g->shot[k], spike, err);
        if (status < 0)
            return status;
        g->lit[k] = lit_cells(spike, spots, g->standing + g->first[k], work);
        if (k % g->every == 0)
            dw_pattern_add(survey, g->shot[k], spike, &g->sums[k]);
    }
    return DW_OK;
}

/* Wider stars are fainter ones; fewer of them are seen through the clearest sky. */
static void allow_for_width(struct night *g)
{
    struct dw_stars *s = &g->w->stars;
    size_t n = 0;
    double *known = DW_TAKE(&g->w->arena, g->n, double);
    for (size_t k = 0; k < g->n && known; k++)
        if (isfinite(s->variance[g->shot[k]]))
            known[n++] = s->variance[g->shot[k]];
    s->usual_variance = n >= params.least_shots ? dw_quantile(known, n, params.usual) : (double)NAN;
    for (size_t k = 0; k < g->n; k++) {
        double wider = s->variance[g->shot[k]] / s->usual_variance;
        if (wider > 1)
            s->depth[g->shot[k]] *= pow(wider, params.hidden);
    }
}

/* What all shots told: cells that stand, and the pattern of colours. work: as many as all spots. */
static void put_together(struct night *g, uint32_t *work)
{
    size_t used = 0;
    for (size_t k = 0; k < g->n; k++) {
        memmove(g->standing + used, g->standing + g->first[k], g->lit[k] * sizeof *g->standing);
        used += g->lit[k];
    }
    g->n_standing = find_standing(g->standing, used, g->n, work);
    for (size_t k = 0; k < g->n_standing; k++) {
        unsigned bit = may_bit(g->standing[k]);
        g->may_stand[bit / 64] |= (uint64_t)1 << bit % 64;
    }
    g->pattern = dw_pattern_of(g->sums, g->n);
}

static enum dw_status look_at_night(struct night *g, struct dw_error *err)
{
    size_t room = 0, mark = g->w->arena.n;
    g->first = DW_TAKE(&g->w->arena, g->n, size_t);
    g->lit = DW_TAKE(&g->w->arena, g->n, size_t);
    g->sums = DW_TAKE(&g->w->arena, g->n, struct dw_pattern_sums);
    for (size_t k = 0; k < g->n && g->first; k++) {
        size_t spots = g->w->survey->measure[g->shot[k]].n_spikes;
        g->first[k] = room;
        room += spots;
        g->most = spots > g->most ? spots : g->most;
    }
    g->every = room / PATTERN_SPOTS + 1;
    g->spike = DW_TAKE(&g->w->arena, room, struct dw_spike);
    g->standing = DW_TAKE(&g->w->arena, room, uint32_t);
    uint32_t *work = DW_TAKE(&g->w->arena, room, uint32_t);
    enum dw_status status =
        g->spike && g->standing && work && g->first && g->lit && g->sums
            ? DW_OK
            : dw_fail(err, DW_ERR_MEMORY, "no memory for %zu bright spots", room);
    struct dw_each shots = {g->n, SHOTS_AT_A_TIME, g->most * sizeof(uint32_t), read_shots, g};
    if (status >= 0)
        status = dw_each(&shots, g->w->run, err);
    if (status >= 0) {
        put_together(g, work);
        shots.of = look_at_shots;
        shots.work = g->most * (sizeof(struct dw_spike *) + sizeof(double));
        status = dw_each(&shots, g->w->run, err);
    }
    if (status >= 0)
        allow_for_width(g);
    dw_arena_free_to(&g->w->arena, mark);
    return status;
}

bool dw_few_stars(const struct dw_stars *s, size_t i)
{
    return isfinite(s->count[i]) && !isfinite(s->variance[i]);
}

/* One direction: two known shots in a row that are wide lend it to those behind them. */
static void carry(struct dw_stars *s, size_t n, bool back)
{
    int run = 0; /* of known shots that are wide */
    for (size_t k = 0; k < n; k++) {
        size_t i = back ? n - 1 - k : k;
        if (dw_few_stars(s, i))
            s->blurred[i] |= run >= 2;
        else if (isfinite(s->variance[i]))
            run = s->blurred[i] ? run + 1 : 0;
    }
}

/* Blur widens stars before it hides them, and does not come and go unseen. */
static void find_blurred(struct dw_stars *s, size_t n)
{
    for (size_t i = 0; i < n; i++)
        s->blurred[i] = s->variance[i] > params.wide * s->usual_variance;
    carry(s, n, false);
    carry(s, n, true);
}

enum dw_status dw_find_stars(struct dw_work *w, const struct dw_ledger_row *ledger,
                             struct dw_error *err)
{
    struct night g = {.w = w, .shot = DW_TAKE(&w->arena, w->n, size_t)};
    struct dw_stars *out = &w->stars;
    *out = (struct dw_stars){DW_TAKE(&w->arena, w->n, double), DW_TAKE(&w->arena, w->n, double),
                             DW_TAKE(&w->arena, w->n, double), (double)NAN,
                             DW_TAKE(&w->arena, w->n, bool)};
    if (!g.shot || !out->blurred || !out->count || !out->depth || !out->variance)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for the stars of %zu shots", w->n);
    for (size_t i = 0; i < w->n; i++) {
        out->count[i] = out->depth[i] = out->variance[i] = (double)NAN;
        if (w->usable[i] && !(ledger[i].faults & DW_SPOILED) && w->alt[i] < params.dark_deg)
            g.shot[g.n++] = i;
    }
    enum dw_status status = g.n < params.least_shots ? DW_OK : look_at_night(&g, err);
    if (status >= 0)
        find_blurred(out, w->n);
    return status;
}
