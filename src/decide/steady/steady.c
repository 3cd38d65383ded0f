/* steady.c: exposure error of every shot. Shots that take part are packed and compared (pairs.c);
 * records and blacks that are plainly wrong are put right; what is left is shared out between light
 * and exposure (share.c), and handed on with its uncertainty. */
#include "decide/cloud/cloudy.h"
#include "decide/share/share.h"
#include "decide/steady/steady.h"
#include "decide/steps.h"
#include "decide/veils/veil.h"
#include "decide/when/moon_table.h"

#include <math.h>
#include <string.h>

#define LEAST_STOPS 1e-4 /* regions' light over a spell is known no better than this */
#define UNKNOWN_VAR 1.0  /* stops^2: a comparison this doubtful tells nothing of its own */

static const struct dw_share_params defaults = DW_SHARE_DEFAULTS;

/* Everything about the shots that take part, packed. */
struct task {
    struct dw_work *w;
    size_t n;
    size_t *shot;
    double *time, *alt, *moon_deg, *moon_beside;
    bool *loose;
    float (*shift)[2]; /* of the view, tiles */
    struct dw_pair *pair;
    size_t n_pairs;
    double *s, *e, *offset, *work;
    double *e_var, *e_fast; /* variance of e; and of what it is beside its neighbours */
    int (*setting)[DW_MAX_CLASSES];
    int classes;
    double *jump;               /* per shot: its record is wrong by this, as all tiles say; already
                                 * taken out of the pairs */
    struct dw_beside beside;    /* what comparing shots told */
    struct dw_mixture *mixture; /* what light is where fog or cloud bends it */
    int mixtures;
    double *rest;          /* bends of contrasts beside them */
    struct dw_grids grids; /* of the shots that take part */
    double *black;         /* per shot: how far its black is off, DN */
    bool *bump;            /* per shot: the view is displaced against the one before */
};

static enum dw_status no_room(struct dw_error *err)
{
    return dw_fail(err, DW_ERR_MEMORY, "out of memory for the steadying");
}

/* Number of the offset of a setting with this value (in thirds or sixths of a stop). */
static int offset_of(int *known, int *kind, int *classes, int most, int k, double value)
{
    int step = (int)lround(value * 24);
    for (int c = 0; c < *classes; c++)
        if (kind[c] == k && known[c] == step)
            return c;
    if (*classes == most)
        return -1;
    known[*classes] = step;
    kind[*classes] = k;
    return (*classes)++;
}

#define MOST_SETTINGS 256

static void find_settings(struct task *t)
{
    int known[MOST_SETTINGS], kind[MOST_SETTINGS];
    for (size_t i = 0; i < t->n; i++) {
        const struct dw_shot *s = &t->w->shots->shot[t->shot[i]];
        int *set = t->setting[i];
        set[0] = set[1] = set[2] = -1;
        if (t->loose[i])
            continue;
        set[0] = offset_of(known, kind, &t->classes, MOST_SETTINGS, 0, log2(s->shutter_s));
        set[1] = offset_of(known, kind, &t->classes, MOST_SETTINGS, 1, log2(s->iso / 100));
        if (s->has_aperture)
            set[2] = offset_of(known, kind, &t->classes, MOST_SETTINGS, 2, 2 * log2(s->f_number));
    }
}

/* Where a moon stands and what it gives. */
static enum dw_status find_moon(struct task *t, struct dw_error *err)
{
    struct dw_moon_table table;
    size_t mark = t->w->arena.n;
    enum dw_status status =
        dw_moon_table_make(&t->w->site, t->time[0], t->time[t->n - 1], &t->w->arena, &table, err);
    for (size_t i = 0; i < t->n && status >= 0; i++) {
        double lit;
        bool there = dw_moon_table_at(&table, t->time[i], &t->moon_deg[i], &lit);
        t->moon_beside[i] = there ? dw_moon_beside_sun(lit) : 0;
    }
    dw_arena_free_to(&t->w->arena, mark);
    return status;
}

/* Light grids of the shots that take part, packed. */
static enum dw_status compare(struct task *t, struct dw_error *err)
{
    struct dw_work *w = t->w;
    size_t tiles = (size_t)w->tiles, all = t->n * tiles;
    float *grid[3] = {w->light, w->noise, w->lever};
    for (int g = 0; g < 3 && t->n < w->n; g++) {
        const float *from = grid[g];
        grid[g] = DW_TAKE(&w->arena, all, float);
        if (!grid[g])
            return no_room(err);
        for (size_t i = 0; i < t->n; i++)
            memcpy(grid[g] + i * tiles, from + t->shot[i] * tiles, tiles * sizeof(float));
    }
    t->grids = (struct dw_grids){t->n,    w->survey->cols, w->survey->rows,
                                 grid[0], grid[1],         grid[2],
                                 t->time, t->loose,        (const float(*)[2])t->shift};
    size_t mark = w->arena.n;
    struct dw_pair_params params = DW_PAIR_DEFAULTS;
    params.run = w->run;
    struct dw_pair *pair;
    enum dw_status status =
        dw_pairs_compare(&t->grids, &params, &w->arena, &pair, &t->n_pairs, &t->beside, err);
    if (status < 0)
        return status;
    /* kept beyond the grids */
    memcpy(t->pair, pair, t->n_pairs * sizeof *pair);
    dw_arena_free_to(&w->arena, mark);
    return DW_OK;
}

/* Records that are plainly wrong are put right before anything is shared out. */
static void right_records(struct task *t)
{
    size_t wrong = 0;
    dw_find_jumps(t->pair, t->n, t->time, t->beside.unit_s, t->loose, t->jump);
    for (size_t k = 0; k < t->n_pairs; k++)
        t->pair[k].v -= t->jump[t->pair[k].b] - t->jump[t->pair[k].a];
    for (size_t i = 0; i < t->n; i++)
        wrong += t->jump[i] != 0;
    if (wrong)
        dw_say(t->w->run, DW_WARNING,
               "the exposure record of %zu frame%s is wrong, as the pictures show; put right",
               wrong, wrong > 1 ? "s" : "");
}

/* Blacks that wander, and with them light that no gain can steady: dark ground flickers by several
 * per cent under a sky that stands. */
static enum dw_status right_blacks(struct task *t, struct dw_error *err)
{
    t->black = DW_TAKE(&t->w->arena, t->n, double);
    if (!t->black)
        return no_room(err);
    enum dw_status status = dw_black_wander(&t->beside, t->time, t->n, &t->w->arena, t->black);
    if (status < 0)
        return dw_fail(err, status, "the black levels of %zu frames could not be told", t->n);
    for (size_t i = 0; i < t->n; i++)
        t->w->black[t->shot[i]] = t->black[i];
    return DW_OK;
}

/* In a spell tiles part, and what pairs say of them all does not fit together. Regions' light over
 * the whole spell does, so it takes their place, as softly as the spell comes in. */
static void take_over(struct task *t, const struct dw_mixture *m)
{
    double var = 2 * (m->common_var + LEAST_STOPS * LEAST_STOPS);
    for (size_t k = 0; k < t->n_pairs; k++) {
        struct dw_pair *p = &t->pair[k];
        if (p->a < m->first || p->b >= m->first + m->n)
            continue;
        size_t a = p->a - m->first, b = p->b - m->first;
        double fade = fmin(dw_mixture_share(m, a), dw_mixture_share(m, b - 1));
        double v = m->common[b] - m->common[a] - t->jump[p->b] + t->jump[p->a];
        p->v += fade * (v - p->v);
        p->var += fade * (var - p->var);
    }
}

/* Spells of fog or cloud, in which light follows from contrasts. */
static enum dw_status find_veils(struct task *t, struct dw_error *err)
{
    t->bump = DW_TAKE(&t->w->arena, t->n, bool);
    t->rest = DW_TAKE(&t->w->arena, t->n, double);
    if (!t->bump || !t->rest)
        return no_room(err);
    for (size_t i = 1; i < t->n; i++)
        t->bump[i] = dw_pair_displaced((const float(*)[2])t->shift, i - 1, i);
    const struct dw_veil_view view = {&t->grids, &t->beside, t->black, t->bump};
    enum dw_status status = dw_veils_find(&view, &t->w->arena, &t->mixture, &t->mixtures, t->rest);
    if (status < 0)
        return dw_fail(err, status, "light in fog could not be held against contrasts");
    for (int k = 0; k < t->mixtures; k++)
        take_over(t, &t->mixture[k]);
    t->offset =
        DW_TAKE(&t->w->arena, (size_t)(t->classes + DW_MIXTURE_PARTS * t->mixtures + 1), double);
    return t->offset ? DW_OK : no_room(err);
}

static struct dw_share sharing(const struct task *t)
{
    return (struct dw_share){.p = &defaults,
                             .n = t->n,
                             .unit_s = t->w->interval,
                             .time = t->time,
                             .alt = t->alt,
                             .moon_deg = t->moon_deg,
                             .moon_beside = t->moon_beside,
                             .loose = t->loose,
                             .unrest = t->beside.unrest,
                             .n_pairs = t->n_pairs,
                             .pair = t->pair,
                             .classes = t->classes,
                             .setting = (const int(*)[DW_MAX_CLASSES])t->setting,
                             .mixtures = t->mixtures,
                             .mixture = t->mixture,
                             .rest = t->rest,
                             .s = t->s,
                             .e = t->e,
                             .e_var = t->e_var,
                             .e_fast = t->e_fast,
                             .offset = t->offset,
                             .sigma = defaults.error_stops};
}

/* Shares out, as broken cloud asks where it passes. */
static enum dw_status share_out(const struct task *t, struct dw_share *share, struct dw_error *err)
{
    const struct dw_cloudy cloud = {
        &t->grids, t->bump, t->jump, {t->alt, t->moon_deg, t->moon_beside}};
    if (!dw_cloudy(t->pair, t->n))
        return dw_share_out(share, &t->w->arena, err);
    share->moon_deg = NULL; /* what a moon gives through it is not what the sun gave */
    return dw_cloudy_share_out(&cloud, share, &t->w->arena, err);
}

/* Errors lose their slow part and get back what the record was wrong by; the law was taken off as
 * if it were known. */
static enum dw_status finish(struct task *t, const struct dw_share *share, struct dw_error *err)
{
    double *own = DW_TAKE(&t->w->arena, t->n, double), *slow = DW_TAKE(&t->w->arena, t->n, double);
    if (!own || !slow)
        return no_room(err);
    for (size_t i = 0; i < t->n; i++) {
        own[i] = dw_share_own(share, i);
        t->work[i] = t->loose[i] ? 0 : 1;
    }
    if (!t->w->no_records) {
        enum dw_status status = dw_slow_light(own, t->work, t->n, share->sigma, &t->w->arena, slow);
        if (status < 0)
            return dw_fail(err, status, "slow light could not be told from exposure errors");
    }
    for (size_t i = 0; i < t->n; i++) {
        t->e[i] += t->jump[i] - slow[i];
        t->e_fast[i] += share->law_doubt[i];
    }
    return DW_OK;
}

static bool take_room(struct task *t)
{
    struct dw_arena *a = &t->w->arena;
    t->shot = DW_TAKE(a, t->w->n, size_t);
    t->time = DW_TAKE(a, t->w->n, double);
    t->alt = DW_TAKE(a, t->w->n, double);
    t->moon_deg = DW_TAKE(a, t->w->n, double);
    t->moon_beside = DW_TAKE(a, t->w->n, double);
    t->loose = DW_TAKE(a, t->w->n, bool);
    t->shift = dw_arena_take(a, t->w->n, sizeof *t->shift);
    t->pair = DW_TAKE(a, 2 * t->w->n, struct dw_pair);
    t->s = DW_TAKE(a, t->w->n, double);
    t->e = DW_TAKE(a, t->w->n, double);
    t->e_var = DW_TAKE(a, t->w->n, double);
    t->e_fast = DW_TAKE(a, t->w->n, double);
    t->work = DW_TAKE(a, t->w->n, double);
    t->jump = DW_TAKE(a, t->w->n, double);
    t->beside.unit_s = t->w->interval;
    t->beside.unrest = DW_TAKE(a, t->w->n, double);
    t->beside.along = DW_TAKE(a, t->w->n, double);
    t->beside.black = DW_TAKE(a, t->w->n, double);
    t->beside.black_var = DW_TAKE(a, t->w->n, double);
    t->beside.regions = dw_pair_regions(t->w->survey->cols, t->w->survey->rows);
    t->beside.contrast = DW_TAKE(a, t->w->n * (size_t)t->beside.regions, float);
    t->beside.contrast_var = DW_TAKE(a, t->w->n * (size_t)t->beside.regions, float);
    t->setting = dw_arena_take(a, t->w->n, sizeof *t->setting);
    return t->shot && t->time && t->alt && t->moon_deg && t->moon_beside && t->loose && t->shift &&
           t->pair && t->s && t->e && t->e_var && t->e_fast && t->work && t->jump &&
           t->beside.unrest && t->beside.along && t->beside.black && t->beside.black_var &&
           t->beside.contrast && t->beside.contrast_var && t->setting;
}

/* What is left on still tiles: second differences of the pairs freed of what was found, and how
 * uncertain they are themselves (half of the difference of two pairs). */
static void measure_rest(const struct task *t)
{
    for (size_t i = 1; i + 1 < t->n; i++) {
        const struct dw_pair *p = &t->pair[i - 1], *q = &t->pair[i];
        double one = t->time[i] - t->time[i - 1], two = t->time[i + 1] - t->time[i];
        if (t->loose[i - 1] || t->loose[i] || t->loose[i + 1] || !(fabs(one - two) < 0.3 * two) ||
            two > 1.6 * t->w->interval)
            continue;
        if (p->var > UNKNOWN_VAR || q->var > UNKNOWN_VAR)
            continue; /* nothing could be compared there: that is no flicker */
        double e = t->e[i] - 0.5 * (t->e[i - 1] + t->e[i + 1]);
        double s = t->s[i] - 0.5 * (t->s[i - 1] + t->s[i + 1]);
        double rest = 0.5 * (p->v - q->v) - e - s;
        t->w->before[t->shot[i]] = e + t->jump[i] - 0.5 * (t->jump[i - 1] + t->jump[i + 1]);
        t->w->left[t->shot[i]] = sqrt(rest * rest + 0.25 * (p->var + q->var));
    }
}

/* A shot's photon noise N is in all four pairs in which it is compared. Taken for independent, as
 * the joint solution does (2 N for each pair, one and two shots apart), they leave N (root 5 - 1)/3
 * of it in a second difference (integral over all frequencies), when all of it is there: this is
 * the rest. */
#define SHARED_NOISE 0.588

static double shared_noise(const struct dw_work *w, size_t shot)
{
    const float *noise = w->noise + shot * (size_t)w->tiles;
    double weight = 0;
    for (int k = 0; k < w->tiles; k++)
        if (noise[k] > 0)
            weight += 1 / (double)noise[k];
    return weight > 0 ? SHARED_NOISE / weight : 0;
}

/* Errors of shots that took no part: what their neighbours in use have, by time. */
static void fill_in(struct dw_work *w, const struct task *t)
{
    for (size_t i = 0, k = 0; i < w->n; i++) {
        while (k + 1 < t->n && t->shot[k + 1] <= i)
            k++;
        w->error[i] = t->e[k];
        w->error_var[i] = t->e_fast[k] + shared_noise(w, i);
        w->jump[i] = t->jump[k];
        if (t->shot[k] == i)
            continue;
        w->error[i] = w->jump[i] = 0;
        w->error_var[i] = defaults.loose_stops * defaults.loose_stops;
    }
}

enum dw_status dw_steady(struct dw_work *w, struct dw_error *err)
{
    struct task t = {.w = w};
    w->error = DW_TAKE(&w->arena, w->n, double);
    w->error_var = DW_TAKE(&w->arena, w->n, double);
    w->jump = DW_TAKE(&w->arena, w->n, double);
    w->left = DW_TAKE(&w->arena, w->n, double);
    w->before = DW_TAKE(&w->arena, w->n, double);
    w->black = DW_TAKE(&w->arena, w->n, double);
    if (!w->error || !w->error_var || !w->jump || !w->left || !w->before || !w->black ||
        !take_room(&t))
        return no_room(err);
    for (size_t i = 0; i < w->n; i++) {
        w->left[i] = w->before[i] = (double)NAN;
        if (!w->usable[i])
            continue;
        t.shot[t.n] = i;
        t.time[t.n] = w->utc[i];
        t.alt[t.n] = w->alt[i];
        t.shift[t.n][0] =
            (float)(2 * w->shift[i].x * w->survey->cols / w->survey->measure[i].width);
        t.shift[t.n][1] =
            (float)(2 * w->shift[i].y * w->survey->rows / w->survey->measure[i].height);
        t.loose[t.n++] = !w->recorded[i];
    }
    if (t.n == 0)
        return dw_fail(err, DW_ERR_EMPTY, "all %zu frames are spoiled, none can be used", w->n);
    find_settings(&t);
    enum dw_status status = find_moon(&t, err);
    if (status >= 0)
        status = compare(&t, err);
    if (status >= 0)
        right_records(&t);
    if (status >= 0)
        status = right_blacks(&t, err);
    if (status >= 0)
        status = find_veils(&t, err);
    struct dw_share share = sharing(&t);
    if (status >= 0)
        status = share_out(&t, &share, err);
    if (status >= 0) {
        measure_rest(&t);
        status = finish(&t, &share, err);
    }
    if (status >= 0)
        fill_in(w, &t);
    return status;
}
