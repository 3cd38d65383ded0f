/* steady.c: exposure error of every shot. The picture's own changes from shot to shot (pairs.c)
 * are shared out between light and exposure by one joint least-squares problem (joint.c). What is
 * exposure and what is light the pictures alone do not say; three things settle it: light is
 * smooth in time, once the sun's law is taken out; exposure errors are small, or one and the same
 * whenever a setting is used; and a doubtful comparison (cloud, headlights) counts little.
 * docs/method.md gives the noise model behind every weight. */
#include "decide/steady.h"
#include "decide/steps.h"
#include "base/robust.h"

#include <lapacke.h>
#include <math.h>
#include <string.h>

#define UNKNOWN_VAR 1.0 /* stops^2: a comparison this doubtful tells nothing of its own */

struct dw_steady_params {
    double light_stops;  /* rms third difference of light beside the law, per 120 s */
    double law_share;    /* and per stop that the law changes in one interval */
    double unrest_share; /* and times the bends that the picture's contrasts show (unrest.c) */
    double law_level;    /* rms of light about the law, as its fit believes: weather */
    double offset_stops; /* rms of a setting's own error */
    double error_stops;  /* of a shot's own error, before it is learnt */
    double loose_stops;  /* of a shot without a record */
    double tail;         /* degrees of freedom of the shots' errors (Student): few are large */
    double light_tail;   /* the same for the bends of light */
    int rounds, laws;
};
static const struct dw_steady_params defaults = {2e-4, 0.003, 10, 0.3, 0.03, 0.03, 5, 5, 4, 5, 3};

/* Everything about the shots that take part, packed. */
struct task {
    struct dw_work *w;
    const struct dw_steady_params *p;
    size_t n;
    size_t *shot;
    double *time, *alt;
    bool *loose;
    float (*shift)[2]; /* of the view, tiles */
    struct dw_pair *pair;
    size_t n_pairs;
    double *change; /* of the law, per pair */
    double *weight, *stiff, *tie, *s, *e, *offset, *work;
    double *e_var, *e_fast; /* variance of e; and of what it is beside its neighbours */
    int (*setting)[DW_MAX_CLASSES];
    int classes;
    double *jump;            /* per shot: its record is wrong by this, as all tiles say; already
                              * taken out of the pairs */
    struct dw_beside beside; /* what comparing shots told */
    bool solved;             /* s, e and offset hold something */
    double sigma;            /* rms of the shots' own errors, learnt */
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

/* Light grids of the shots that take part, packed. */
static enum dw_status compare(struct task *t, struct dw_error *err)
{
    struct dw_work *w = t->w;
    size_t tiles = (size_t)w->tiles, all = t->n * tiles, mark = w->arena.n;
    float *grid[3] = {w->light, w->noise, w->lever};
    for (int g = 0; g < 3 && t->n < w->n; g++) {
        const float *from = grid[g];
        grid[g] = DW_TAKE(&w->arena, all, float);
        if (!grid[g])
            return no_room(err);
        for (size_t i = 0; i < t->n; i++)
            memcpy(grid[g] + i * tiles, from + t->shot[i] * tiles, tiles * sizeof(float));
    }
    struct dw_grids grids = {t->n,    w->survey->cols, w->survey->rows,
                             grid[0], grid[1],         grid[2],
                             t->time, t->loose,        (const float(*)[2])t->shift};
    struct dw_pair_params params = DW_PAIR_DEFAULTS;
    struct dw_pair *pair;
    enum dw_status status =
        dw_pairs_compare(&grids, &params, &w->arena, &pair, &t->n_pairs, &t->beside, err);
    if (status < 0)
        return status;
    /* kept beyond the grids */
    memcpy(t->pair, pair, t->n_pairs * sizeof *pair);
    dw_arena_free_to(&w->arena, mark);
    return DW_OK;
}

/* What of a shot's error its settings do not explain. */
static double own_error(const struct task *t, size_t i)
{
    double own = t->e[i];
    for (int p = 0; p < DW_MAX_CLASSES; p++)
        own -= t->setting[i][p] >= 0 ? t->offset[t->setting[i][p]] : 0;
    return own;
}

static void set_weights(struct task *t, bool first)
{
    double unit = t->w->interval;
    double light = t->p->light_stops * pow(unit / 120, 2.5);
    for (size_t i = 0; i + 3 < t->n; i++) {
        double sigma = light + t->p->law_share * fabs(t->change[i + 1]), bend = 0, w[4];
        /* what the law's own bends may explain is no unrest */
        double unrest =
            t->beside.unrest[i] > 2 * sigma ? t->p->unrest_share * t->beside.unrest[i] : 0;
        t->stiff[i] = 1 / (sigma * sigma + unrest * unrest);
        if (first)
            continue;
        /* Student's weight: fog that clears, a sun that comes out bend the light at once */
        dw_third_difference(t->time + i, unit, w);
        for (int p = 0; p < 4; p++)
            bend += w[p] * t->s[i + (size_t)p];
        t->stiff[i] *= (t->p->light_tail + 1) / (t->p->light_tail + bend * bend * t->stiff[i]);
    }
    for (size_t i = 0; i < t->n; i++) {
        double error = t->loose[i] ? t->p->loose_stops : t->sigma;
        t->tie[i] = 1 / (error * error);
        if (!t->loose[i] && !first) {
            double own = own_error(t, i);
            /* Student's weight: a wrong record is an error of any size */
            t->tie[i] *= (t->p->tail + 1) / (t->p->tail + own * own * t->tie[i]);
        }
    }
    /* pairs are not weighed again: pairs.c has weighed their tiles, and says in their variance how
     * much another reading of them is worth */
    for (size_t k = 0; k < t->n_pairs; k++)
        t->weight[k] = 1 / t->pair[k].var;
}

/* What a shot's own error is worth, from the better known half. */
static void learn_sigma(struct task *t)
{
    size_t n = 0;
    for (size_t i = 0; i < t->n; i++)
        if (!t->loose[i])
            t->work[n++] = t->e_var[i];
    if (n < 8)
        return;
    double limit = dw_quantile(t->work, n, 0.4);
    n = 0;
    for (size_t i = 0; i < t->n; i++) {
        if (t->loose[i] || t->e_var[i] > limit)
            continue;
        t->work[n++] = fabs(own_error(t, i));
    }
    t->sigma = fmax(0.002, DW_MAD_TO_SIGMA * dw_median(t->work, n));
}

static enum dw_status solve(struct task *t, int rounds, struct dw_error *err)
{
    struct dw_joint joint = {.n = t->n,
                             .time = t->time,
                             .n_pairs = t->n_pairs,
                             .pair = t->pair,
                             .weight = t->weight,
                             .stiff = t->stiff,
                             .unit_s = t->w->interval,
                             .tie = t->tie,
                             .classes = t->classes,
                             .setting = (const int(*)[DW_MAX_CLASSES])t->setting,
                             .offset_weight = 1 / (t->p->offset_stops * t->p->offset_stops)};
    for (int round = 0; round < rounds; round++) {
        set_weights(t, !t->solved);
        enum dw_status status =
            dw_joint_solve(&joint, &t->w->arena, t->s, t->e, t->e_var, t->e_fast, t->offset);
        if (status < 0)
            return dw_fail(err, status, "the steadying of %zu frames could not be solved", t->n);
        t->solved = true;
        learn_sigma(t);
    }
    return DW_OK;
}

/* One row of the law's fit: which coefficients it meets, and how much. */
struct law_row {
    int n, at[16];
    double value[16];
};

static void add_to_row(struct law_row *r, const struct dw_spline *law, double alt, double factor)
{
    double b[4];
    int first = dw_spline_basis(law, alt, b);
    for (int p = 0; p < 4; p++) {
        r->at[r->n] = first + p;
        r->value[r->n++] = factor * b[p];
    }
}

static void add_law_row(const struct law_row *r, double weight, double value, int n, double *normal,
                        double *rhs)
{
    for (int p = 0; p < r->n; p++) {
        for (int q = 0; q < r->n; q++)
            normal[r->at[p] * n + r->at[q]] += weight * r->value[p] * r->value[q];
        rhs[r->at[p]] += weight * r->value[p] * value;
    }
}

/* Law of light against sun altitude, from the light found so far. What it is for decides how it is
 * fitted: it takes off the bends of light that every dusk and dawn have, so it is fitted to the
 * bends (third differences, in their own weights, which weather has already lost). Fitted to the
 * light itself, one foggy morning would leave a dent that the next clear one pays for. The light's
 * level and slope, which no bend tells, come from the light, loosely. */
static bool fit_law(struct task *t, struct dw_spline *law, double *coef, double *normal)
{
    int n = law->n;
    memset(normal, 0, (size_t)n * (size_t)n * sizeof(double));
    memset(coef, 0, (size_t)n * sizeof(double));
    double loose = 1 / (t->p->law_level * t->p->law_level);
    for (size_t i = 0; i < t->n; i++) {
        struct law_row level = {0}, bend = {0};
        add_to_row(&level, law, t->alt[i], 1);
        add_law_row(&level, loose, t->s[i], n, normal, coef);
        if (i + 3 >= t->n)
            continue;
        double w[4], value = 0;
        dw_third_difference(t->time + i, t->w->interval, w);
        for (size_t p = 0; p < 4; p++) {
            add_to_row(&bend, law, t->alt[i + p], w[p]);
            value += w[p] * t->s[i + p];
        }
        add_law_row(&bend, t->stiff[i], value, n, normal, coef);
    }
    const double d[4] = {-1, 3, -3, 1};
    double prior = 1e-3 * loose * (double)t->n / n;
    for (int i = 0; i + 3 < n; i++)
        for (int p = 0; p < 4; p++)
            for (int q = 0; q < 4; q++)
                normal[(i + p) * n + i + q] += prior * d[p] * d[q];
    for (int i = 0; i < n; i++)
        normal[i * n + i] += 1e-9 * loose * (double)t->n;
    return LAPACKE_dposv(LAPACK_ROW_MAJOR, 'L', n, 1, normal, n, coef, 1) == 0;
}

/* Solves, learns the law, takes it out of the pairs and solves again: light is smoother beside the
 * law than with it, so errors stand out better. */
static enum dw_status share_out(struct task *t, struct dw_error *err)
{
    double low = INFINITY, high = -INFINITY;
    for (size_t i = 0; i < t->n; i++) {
        low = fmin(low, t->alt[i]);
        high = fmax(high, t->alt[i]);
    }
    struct dw_spline law = dw_spline_over(low, high, 1.5);
    double *coef = DW_TAKE(&t->w->arena, (size_t)law.n, double);
    double *normal = DW_TAKE(&t->w->arena, (size_t)law.n * (size_t)law.n, double);
    if (!coef || !normal)
        return no_room(err);
    for (size_t k = 0; k < t->n_pairs; k++) /* first guess: the light itself */
        t->change[k] = t->pair[k].v;
    for (int round = 0;; round++) {
        bool last = round == t->p->laws;
        enum dw_status status = solve(t, last ? t->p->rounds : 2, err);
        if (status < 0 || last)
            return status;
        for (size_t k = 0; k < t->n_pairs && round; k++)
            t->pair[k].v += t->change[k];
        for (size_t i = 0; i < t->n && round; i++)
            t->s[i] += dw_spline_value(&law, coef, t->alt[i]);
        if (!fit_law(t, &law, coef, normal))
            return dw_fail(err, DW_ERR_NUMERIC, "the law of light could not be fitted");
        for (size_t k = 0; k < t->n_pairs; k++) {
            t->change[k] = dw_spline_value(&law, coef, t->alt[t->pair[k].b]) -
                           dw_spline_value(&law, coef, t->alt[t->pair[k].a]);
            t->pair[k].v -= t->change[k];
        }
        for (size_t i = 0; i < t->n; i++)
            t->s[i] -= dw_spline_value(&law, coef, t->alt[i]);
    }
}

/* Records that are plainly wrong are put right before anything is shared out. */
static void right_records(struct task *t)
{
    size_t wrong = 0;
    dw_find_jumps(t->pair, t->n, t->time, t->loose, t->jump);
    for (size_t k = 0; k < t->n_pairs; k++)
        t->pair[k].v -= t->jump[t->pair[k].b] - t->jump[t->pair[k].a];
    for (size_t i = 0; i < t->n; i++)
        wrong += t->jump[i] != 0;
    if (wrong)
        dw_say(t->w->run, DW_WARNING,
               "the exposure record of %zu frame%s is wrong, as the pictures show; put right",
               wrong, wrong > 1 ? "s" : "");
}

/* Errors lose their slow part and get back what the record was wrong by. */
static enum dw_status finish(struct task *t, struct dw_error *err)
{
    double *own = DW_TAKE(&t->w->arena, t->n, double), *slow = DW_TAKE(&t->w->arena, t->n, double);
    if (!own || !slow)
        return no_room(err);
    for (size_t i = 0; i < t->n; i++) {
        own[i] = own_error(t, i);
        t->work[i] = t->loose[i] ? 0 : 1;
    }
    if (!t->w->no_records) {
        enum dw_status status = dw_slow_light(own, t->work, t->n, t->sigma, &t->w->arena, slow);
        if (status < 0)
            return dw_fail(err, status, "slow light could not be told from exposure errors");
    }
    for (size_t i = 0; i < t->n; i++)
        t->e[i] += t->jump[i] - slow[i];
    return DW_OK;
}

static bool take_room(struct task *t)
{
    struct dw_arena *a = &t->w->arena;
    t->shot = DW_TAKE(a, t->w->n, size_t);
    t->time = DW_TAKE(a, t->w->n, double);
    t->alt = DW_TAKE(a, t->w->n, double);
    t->loose = DW_TAKE(a, t->w->n, bool);
    t->shift = dw_arena_take(a, t->w->n, sizeof *t->shift);
    t->pair = DW_TAKE(a, 2 * t->w->n, struct dw_pair);
    t->change = DW_TAKE(a, 2 * t->w->n, double);
    t->weight = DW_TAKE(a, 2 * t->w->n, double);
    t->stiff = DW_TAKE(a, t->w->n, double);
    t->tie = DW_TAKE(a, t->w->n, double);
    t->s = DW_TAKE(a, t->w->n, double);
    t->e = DW_TAKE(a, t->w->n, double);
    t->e_var = DW_TAKE(a, t->w->n, double);
    t->e_fast = DW_TAKE(a, t->w->n, double);
    t->offset = DW_TAKE(a, MOST_SETTINGS, double);
    t->work = DW_TAKE(a, t->w->n, double);
    t->jump = DW_TAKE(a, t->w->n, double);
    t->beside.unit_s = t->w->interval;
    t->beside.unrest = DW_TAKE(a, t->w->n, double);
    t->beside.black = DW_TAKE(a, t->w->n, double);
    t->beside.black_var = DW_TAKE(a, t->w->n, double);
    t->setting = dw_arena_take(a, t->w->n, sizeof *t->setting);
    return t->shot && t->time && t->alt && t->loose && t->shift && t->pair && t->change &&
           t->weight && t->stiff && t->tie && t->s && t->e && t->e_var && t->e_fast && t->offset &&
           t->work && t->jump && t->beside.unrest && t->beside.black && t->beside.black_var &&
           t->setting;
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

/* Blacks that wander, and with them light that no gain can steady: dark ground flickers by several
 * per cent under a sky that stands. */
static enum dw_status right_blacks(struct task *t, struct dw_error *err)
{
    enum dw_status status = dw_black_wander(&t->beside, t->time, t->n, &t->w->arena, t->work);
    if (status < 0)
        return dw_fail(err, status, "the black levels of %zu frames could not be told", t->n);
    for (size_t i = 0; i < t->n; i++)
        t->w->black[t->shot[i]] = t->work[i];
    return DW_OK;
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
        w->error_var[i] = t->p->loose_stops * t->p->loose_stops;
    }
}

enum dw_status dw_steady(struct dw_work *w, struct dw_error *err)
{
    struct task t = {.w = w, .p = &defaults, .sigma = defaults.error_stops};
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
    enum dw_status status = compare(&t, err);
    if (status >= 0) {
        right_records(&t);
        status = share_out(&t, err);
    }
    if (status >= 0)
        status = right_blacks(&t, err);
    if (status >= 0) {
        measure_rest(&t);
        status = finish(&t, err);
    }
    if (status >= 0)
        fill_in(w, &t);
    return status;
}
