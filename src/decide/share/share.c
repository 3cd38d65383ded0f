/* share.c: the picture's own changes from shot to shot are shared out between light and exposure by
 * one joint least-squares problem (joint.c). What is exposure and what is light the pictures alone
 * do not say; three things settle it: light is smooth in time, once the sun's law is taken out;
 * exposure errors are small, or one and the same whenever a setting is used; and a doubtful
 * comparison (cloud, headlights) counts little. docs/method/steadying.md gives the noise model
 * behind every weight. */
#include "decide/share/share.h"
#include "decide/share/mixing.h"
#include "decide/share/moonlight.h"
#include "decide/solve/third.h"
#include "base/robust.h"

#include <math.h>
#include <string.h>

/* Room for the solution's weights, and whether s, e and offset hold something. */
struct weighing {
    double *change; /* of the law, per pair */
    double *value;  /* and what it is, per shot */
    double *weight, *stiff, *tie, *work;
    double *last; /* errors before the last solution */
    bool *told;   /* per shot: it tells what own errors are worth */
    int *served;  /* per setting: shots */
    bool solved;
    struct dw_light_law law;
    struct dw_mixing mixing; /* of fog and cloud */
    struct dw_moonlight moon;
    struct dw_follow *follow; /* by what light follows all factors of both */
    int follows;
};

static enum dw_status no_room(struct dw_error *err)
{
    return dw_fail(err, DW_ERR_MEMORY, "out of memory for the steadying");
}

double dw_share_own(const struct dw_share *t, size_t i)
{
    double own = t->e[i];
    for (int p = 0; p < DW_MAX_CLASSES; p++)
        own -= t->setting[i][p] >= 0 ? t->offset[t->setting[i][p]] : 0;
    return own;
}

/* law: for a solution in which it is learnt. */
static void set_weights(const struct dw_share *t, struct weighing *w, bool law)
{
    double tail = law ? t->p->law_tail : t->p->light_tail;
    double light = t->p->light_stops * pow(t->unit_s / 120, 2.5);
    for (size_t i = 0; i + 3 < t->n; i++) {
        double lawful = w->change[i + 1] + dw_moonlight_change(&w->moon, i + 1, i + 2);
        double sigma = light + t->p->law_share * fabs(lawful), bend = 0, third[4];
        /* what the law's own bends may explain is no unrest */
        double unrest = t->unrest[i] > 2 * sigma ? t->p->unrest_share * t->unrest[i] : 0;
        if (dw_mixing_tells(&w->mixing, i))
            unrest = fmax(t->p->veiled_share * t->rest[i], law ? t->p->veiled_stops : 0);
        w->stiff[i] = 1 / (sigma * sigma + unrest * unrest);
        if (!w->solved)
            continue;
        /* Student's weight: fog that clears, a sun that comes out bend the light at once */
        dw_third_difference(t->time + i, t->unit_s, third);
        for (int p = 0; p < 4; p++)
            bend += third[p] * t->s[i + (size_t)p];
        w->stiff[i] *= (tail + 1) / (tail + bend * bend * w->stiff[i]);
    }
    for (size_t i = 0; i < t->n; i++) {
        double error = t->loose[i] ? t->p->loose_stops : t->sigma;
        w->tie[i] = 1 / (error * error);
        if (!t->loose[i] && w->solved) {
            double own = dw_share_own(t, i);
            /* Student's weight: a wrong record is an error of any size (not under cloud: cloudy.c)
             */
            w->tie[i] *= (t->p->tail + 1) / (t->p->tail + own * own * w->tie[i]);
        }
    }
    /* pairs are not weighed again: pairs.c has weighed their tiles, and says in their variance how
     * much another reading of them is worth */
    for (size_t k = 0; k < t->n_pairs; k++)
        w->weight[k] = 1 / t->pair[k].var;
}

/* How many shots a setting must have served before one of them tells what own errors are worth:
 * where it served one alone, nearly all of the error goes to the setting's offset, the more so the
 * smaller own errors are thought to be. */
#define TELLING 4

/* told: room for a value a shot, whether it tells. */
static void find_telling(const struct dw_share *t, bool *told, int *served)
{
    memset(served, 0, (size_t)t->classes * sizeof *served);
    for (size_t i = 0; i < t->n; i++)
        for (int p = 0; p < DW_MAX_CLASSES; p++)
            if (t->setting[i][p] >= 0)
                served[t->setting[i][p]]++;
    for (size_t i = 0; i < t->n; i++) {
        told[i] = !t->loose[i];
        for (int p = 0; p < DW_MAX_CLASSES; p++)
            if (t->setting[i][p] >= 0 && served[t->setting[i][p]] < TELLING)
                told[i] = false;
    }
}

/* What a shot's own error is worth, from the better known half. */
static void learn_sigma(struct dw_share *t, const bool *told, double *work)
{
    size_t n = 0;
    for (size_t i = 0; i < t->n; i++)
        if (told[i])
            work[n++] = t->e_var[i];
    if (n < 8)
        return;
    double limit = dw_quantile(work, n, 0.4);
    n = 0;
    for (size_t i = 0; i < t->n; i++) {
        if (!told[i] || t->e_var[i] > limit)
            continue;
        work[n++] = fabs(dw_share_own(t, i));
    }
    t->sigma = fmax(0.002, DW_MAD_TO_SIGMA * dw_median(work, n));
}

/* Whether a solution, or the want of one, loses mixtures: light must be found again without them.
 */
static bool loses_mixtures(const struct dw_share *t, struct weighing *w, enum dw_status status)
{
    return status == DW_ERR_NUMERIC ? dw_mixing_give_up(&w->mixing)
                                    : !dw_mixing_learn(&w->mixing, t->offset + t->classes);
}

static void take_moon(const struct dw_share *t, struct weighing *w)
{
    dw_moonlight_take(&w->moon, t, &w->law);
    if (w->moon.n > 0)
        w->follow[w->mixing.follows] = w->moon.by;
}

/* law: it is learnt, and light is found with it. */
static enum dw_status solve(struct dw_share *t, struct weighing *w, bool law,
                            struct dw_arena *arena, struct dw_error *err)
{
    struct dw_joint joint = {.n = t->n,
                             .time = t->time,
                             .n_pairs = t->n_pairs,
                             .pair = t->pair,
                             .weight = w->weight,
                             .stiff = w->stiff,
                             .unit_s = t->unit_s,
                             .tie = w->tie,
                             .classes = t->classes,
                             .setting = t->setting,
                             .offset_weight = 1 / (t->p->offset_stops * t->p->offset_stops),
                             .follows = w->follows,
                             .follow = w->follow};
    enum dw_status status;
    if (law)
        joint.law = &w->law;
    do {
        set_weights(t, w, law);
        dw_mix(&w->mixing, t, w->work);
        if (law)
            take_moon(t, w);
        status = dw_joint_solve(&joint, arena, t->s, t->e, t->e_var, t->e_fast, t->offset);
    } while ((status >= 0 || status == DW_ERR_NUMERIC) && loses_mixtures(t, w, status));
    if (status < 0)
        return dw_fail(err, status, "the steadying of %zu frames could not be solved", t->n);
    w->solved = true;
    if (law && w->moon.n > 0)
        dw_moonlight_learn(&w->moon, t->offset[t->classes + w->mixing.follows]);
    learn_sigma(t, w->told, w->work);
    return DW_OK;
}

/* What the law did in each pair; light is from now on what is beside it. */
static void take_law_off(const struct dw_share *t, struct weighing *w)
{
    const struct dw_light_law *law = &w->law;
    for (size_t i = 0; i < t->n; i++) {
        w->value[i] = dw_law_at(law, i);
        t->s[i] -= w->value[i];
    }
    for (size_t k = 0; k < t->n_pairs; k++)
        w->change[k] = w->value[t->pair[k].b] - w->value[t->pair[k].a];
}

/* Solves until nothing moves. law: as for solve. */
static enum dw_status settle(struct dw_share *t, struct weighing *w, bool law,
                             struct dw_arena *arena, struct dw_error *err)
{
    double moved = INFINITY;
    for (int round = 0; round < t->p->rounds && moved > t->p->settled; round++) {
        memcpy(w->last, t->e, t->n * sizeof *t->e);
        enum dw_status status = solve(t, w, law, arena, err);
        if (status < 0)
            return status;
        if (law)
            take_law_off(t, w);
        moved = law && dw_moonlight_is_led(&w->moon) ? (double)INFINITY : 0;
        for (size_t i = 0; i < t->n; i++)
            moved = fmax(moved, fabs(t->e[i] - w->last[i]));
    }
    return DW_OK;
}

/* Solves once more with the law, to learn how well it is known, which is half of the work. */
static enum dw_status doubt_law(struct dw_share *t, struct weighing *w, struct dw_arena *arena,
                                struct dw_error *err)
{
    w->law.doubted = true;
    t->law_doubt = w->law.doubt;
    enum dw_status status = solve(t, w, true, arena, err);
    if (status >= 0)
        take_law_off(t, w);
    return status;
}

/* Factors of mixtures, then the moon's level. */
static bool list_follows(struct weighing *w, struct dw_arena *arena)
{
    w->follows = w->mixing.follows;
    w->follow = DW_TAKE(arena, (size_t)w->follows + 1, struct dw_follow);
    if (!w->follow)
        return false;
    memcpy(w->follow, w->mixing.follow, (size_t)w->follows * sizeof *w->follow);
    if (w->moon.n > 0)
        w->follow[w->follows++] = w->moon.by;
    return true;
}

/* Solves, learning the law; then takes it out of the pairs and solves again. */
enum dw_status dw_share_out(struct dw_share *t, struct dw_arena *arena, struct dw_error *err)
{
    struct weighing w = {
        .change = DW_TAKE(arena, 2 * t->n, double),
        .weight = DW_TAKE(arena, 2 * t->n, double),
        .stiff = DW_TAKE(arena, t->n, double),
        .tie = DW_TAKE(arena, t->n, double),
        .work = DW_TAKE(arena, t->n, double),
        .last = DW_TAKE(arena, t->n, double),
        .value = DW_TAKE(arena, t->n, double),
        .told = DW_TAKE(arena, t->n, bool),
        .served = DW_TAKE(arena, (size_t)t->classes, int),
    };
    if (!w.change || !w.weight || !w.stiff || !w.tie || !w.work || !w.last || !w.value || !w.told ||
        !w.served || !dw_mixing_lay_out(&w.mixing, t, arena) ||
        !dw_moonlight_lay_out(&w.moon, t, arena) || !list_follows(&w, arena) ||
        !dw_law_lay_out(&w.law, &t->p->law, t->n, t->time, t->alt, t->unit_s, arena))
        return no_room(err);
    find_telling(t, w.told, w.served);
    for (size_t k = 0; k < t->n_pairs; k++) /* first guess: the light itself */
        w.change[k] = t->pair[k].v;
    enum dw_status status = settle(t, &w, true, arena, err);
    if (status >= 0)
        status = doubt_law(t, &w, arena, err);
    for (size_t k = 0; k < t->n_pairs; k++)
        t->pair[k].v -= w.change[k];
    if (status >= 0)
        status = settle(t, &w, false, arena, err);
    dw_unmix(&w.mixing, t);
    dw_moonlight_give_back(&w.moon, t, t->offset[t->classes + w.mixing.follows]);
    return status;
}
