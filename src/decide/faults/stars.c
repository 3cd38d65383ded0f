/* stars.c: see stars.h. */
#include "decide/faults/stars.h"

#include "decide/faults/judges.h"
#include "decide/faults/star_width.h"
#include "base/each.h"
#include "base/robust.h"

#include <math.h>

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

struct night {
    struct dw_work *w;
    size_t *shot, n;        /* the night's shots */
    struct dw_spike *spike; /* of all, shot by shot, in the arena: its large pages cost little */
    size_t *first;          /* where a shot's spots begin; one more: where the last one's end */
    size_t most;            /* spots of one shot */
    size_t every;           /* so manieth shot is asked for the pattern */
    size_t across, down;    /* cells */
    uint32_t *times, *last; /* in how many shots a cell is lit, and in which last, from 1 */
    struct dw_pattern pattern;
    struct dw_pattern_sums *sums; /* of each shot */
};

static size_t cell_of(const struct night *g, const struct dw_spike *s)
{
    size_t row = (size_t)(s->y / params.cell), column = (size_t)(s->x / params.cell);
    row = row < g->down ? row : g->down - 1; /* whatever a survey file says */
    column = column < g->across ? column : g->across - 1;
    return row * g->across + column;
}

/* Counts in how many shots each cell is lit: a star wanders on, what stands comes again. */
static void count_lit(struct night *g)
{
    for (size_t k = 0; k < g->n; k++)
        for (size_t j = g->first[k]; j < g->first[k + 1]; j++) {
            size_t cell = cell_of(g, &g->spike[j]);
            bool again = g->last[cell] == k + 1; /* once a shot */
            g->last[cell] = (uint32_t)k + 1;
            g->times[cell] += !again;
        }
}

/* Lit in too many of the night's shots to be a star. */
static bool is_standing(const struct night *g, const struct dw_spike *s)
{
    return g->times[cell_of(g, s)] > fmax(3, params.standing_share * (double)g->n);
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
        if (s->value > s->median && !is_standing(g, s)) {
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

/* Reads the spots of some shots, sums up what pattern they show. */
static enum dw_status read_shots(void *ctx, void *work, size_t from, size_t to,
                                 struct dw_error *err)
{
    (void)work;
    struct night *g = ctx;
    const struct dw_survey *survey = g->w->survey;
    for (size_t k = from; k < to; k++) {
        if (survey->measure[g->shot[k]].n_spikes == 0)
            continue;
        struct dw_spike *spike = g->spike + g->first[k];
        enum dw_status status = dw_survey_read_spikes(survey, g->shot[k], spike, err);
        if (status < 0)
            return status;
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

/* Room for what is read and counted. */
static bool lay_out(struct night *g)
{
    struct dw_arena *arena = &g->w->arena;
    size_t room = 0;
    g->across = g->down = 1;
    g->first = DW_TAKE(arena, g->n + 1, size_t);
    for (size_t k = 0; k < g->n && g->first; k++) {
        const struct dw_measure *m = &g->w->survey->measure[g->shot[k]];
        size_t across = (size_t)(m->width / params.cell) + 1,
               down = (size_t)(m->height / params.cell) + 1;
        g->across = across > g->across ? across : g->across;
        g->down = down > g->down ? down : g->down;
        g->most = m->n_spikes > g->most ? m->n_spikes : g->most;
        g->first[k] = room;
        room += m->n_spikes;
        g->first[k + 1] = room;
    }
    g->every = room / PATTERN_SPOTS + 1;
    g->sums = DW_TAKE(arena, g->n, struct dw_pattern_sums);
    g->spike = DW_TAKE(arena, room, struct dw_spike);
    g->times = DW_TAKE(arena, g->across * g->down, uint32_t);
    g->last = DW_TAKE(arena, g->across * g->down, uint32_t);
    return g->first && g->sums && g->spike && g->times && g->last;
}

static enum dw_status look_at_night(struct night *g, struct dw_error *err)
{
    size_t mark = g->w->arena.n;
    enum dw_status status =
        lay_out(g) ? DW_OK
                   : dw_fail(err, DW_ERR_MEMORY, "no memory for the spots of %zu shots", g->n);
    struct dw_each shots = {g->n, SHOTS_AT_A_TIME, 0, read_shots, g};
    if (status >= 0)
        status = dw_each(&shots, g->w->run, err);
    if (status >= 0) {
        count_lit(g);
        g->pattern = dw_pattern_of(g->sums, g->n);
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
