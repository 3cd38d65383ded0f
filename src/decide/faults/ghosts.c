/* ghosts.c: see ghosts.h. What looks like a ghost is one if it stays where it is, as no moon and no
 * cloud do, and adds the same light all the time, as no glow of dusk or dawn does. */
#include "decide/faults/ghosts.h"
#include "decide/faults/judges.h"
#include "decide/faults/same_light.h"
#include "decide/faults/sights.h"
#include "base/robust.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const struct dw_ghosts_params {
    double below_deg; /* by day no lamp inside outshines what is outside */
    double apart_s;   /* shots looked at are this far apart: a ghost is no matter of seconds */
    double least_s;   /* one that lasts less may be the moon or a cloud on its way, */
    int least_shots;
    double drift;       /* and what moves by so many tiles in that time as well */
    double steady;      /* times that a ghost's light may differ over its shots */
    double high;        /* quantile of a ghost's light over its shots: its own */
    double on;          /* share of that without which the lamp is off */
    double as_dark;     /* times the light behind it in which it was seen: as dark as then */
    double least_stops; /* by which it stands out there, */
    double fades;       /* and the ground's detail fades by this share of them */
} params = {-1, 100, 1500, 4, 0.5, 2, 0.9, 0.8, 1.5, 0.25, 0.25};

/* Whether the sights of one place last long enough and stand still. */
static bool stays(const struct dw_work *w, const struct dw_sight *s, const size_t *of, size_t n)
{
    size_t proven = 0;
    for (size_t j = 0; j < n; j++)
        proven += s[of[j]].proven;
    if (proven < (size_t)params.least_shots ||
        w->utc[s[of[n - 1]].shot] - w->utc[s[of[0]].shot] < params.least_s)
        return false;
    /* over every such time within it */
    for (size_t a = 0, b = 0; a < n; a++) {
        while (b < n && w->utc[s[of[b]].shot] - w->utc[s[of[a]].shot] < params.least_s)
            b++;
        if (b == n)
            break;
        if (hypot(s[of[b]].x - s[of[a]].x, s[of[b]].y - s[of[a]].y) > params.drift)
            return false;
    }
    return true;
}

/* Sights in the same place as the first one that is left, in order of time; marks them taken. A
 * ghost that is not seen for as long as it must last has ended. */
static size_t follow(const struct dw_work *w, const struct dw_sight *s, size_t n, size_t from,
                     bool *taken, size_t *of)
{
    size_t got = 0;
    double x = s[from].x, y = s[from].y;
    for (size_t j = from; j < n; j++) {
        if (taken[j] || hypot(s[j].x - x, s[j].y - y) > 1.5)
            continue;
        if (got > 0 && (w->utc[s[j].shot] - w->utc[s[of[got - 1]].shot] > params.least_s ||
                        s[j].shot == s[of[got - 1]].shot))
            continue;
        taken[j] = true;
        of[got++] = j;
        x = s[j].x;
        y = s[j].y;
    }
    return got;
}

/* Light of tile k, of any scale that all shots share. */
static double light_of(const struct dw_work *w, size_t i, int k)
{
    return exp2(dw_tile_level(&w->survey->measure[i], k) + w->ev[i] - w->error[i]);
}

/* The sight that shows a ghost best: where it is not burnt out, for burnt out its brightest tile
 * may be any of it; of those the brightest, else the middle one. */
static const struct dw_sight *best_of(const struct dw_work *w, const struct dw_sight *s,
                                      const size_t *of, size_t n)
{
    const struct dw_sight *best = NULL;
    double most = 0;
    for (size_t j = 0; j < n; j++) {
        const struct dw_sight *one = &s[of[j]];
        double added = one->added * exp2(w->ev[one->shot] - w->error[one->shot]);
        if ((double)w->survey->measure[one->shot].tile[one->tile].clipped < DW_GHOST_BURNT &&
            added > most) {
            most = added;
            best = one;
        }
    }
    return best ? best : &s[of[n / 2]];
}

/* What a ghost adds, in light: a lamp is as bright whatever it is outside. Where most of its sights
 * are burnt out the most that they tell. NAN where it rises or falls: a glow in the sky. Also the
 * usual light behind it. */
static double height_of(struct dw_finder *f, const struct dw_sight *s, const size_t *of, size_t n,
                        double *behind)
{
    struct dw_work *w = f->w;
    int tile = best_of(f->w, s, of, n)->tile;
    size_t known = 0, all = 0;
    double *sound = f->work, *base = f->work + w->n, most = 0;
    for (size_t j = 0; j < n; j++) {
        size_t i = s[of[j]].shot;
        double light = light_of(w, i, tile), own = exp2(-dw_stands_out(f, i, tile));
        if (!(own < 1) || !isfinite(light))
            continue;
        base[all++] = light * own;
        most = fmax(most, light * (1 - own));
        if ((double)w->survey->measure[i].tile[tile].clipped < DW_GHOST_BURNT)
            sound[known++] = light * (1 - own);
    }
    *behind = all ? dw_median(base, all) : 0;
    if (known < 3)
        return most;
    double low = dw_quantile(sound, known, 1 - params.high),
           high = dw_quantile(sound, known, params.high);
    return known < 8 || high < params.steady * low ? high : (double)NAN;
}

/* How bright the ghost is beside what lies behind it: as much as it adds is taken off. 0 where the
 * lamp is off. */
static double share_of(struct dw_finder *f, size_t i, int tile, int tiles, double height,
                       double behind)
{
    double light = light_of(f->w, i, tile);
    if (!isfinite(light))
        return (double)NAN;
    if (light < params.on * height &&
        (double)f->w->survey->measure[i].tile[tile].clipped < DW_GHOST_BURNT)
        return 0;
    double own = fmax(light - height, behind);
    /* in light as dark as it was seen in it must stand out still; in more, dusk falls unalike */
    if (light - height < params.as_dark * behind) {
        double over = dw_stands_out(f, i, tile);
        bool burnt = (double)f->w->survey->measure[i].tile[tile].clipped > DW_GHOST_BURNT;
        double faded =
            f->ground[tile] && !burnt ? dw_fading(f, i, f->blob, tiles) : (double)INFINITY;
        if (!(over > params.least_stops) || !(faded > params.fades * over))
            return 0;
        own = fmin(own, light * exp2(-over));
    }
    return height / own;
}

/* DW_WARN: it is none. */
static enum dw_status make_ghost(struct dw_finder *f, const struct dw_sight *s, const size_t *of,
                                 size_t n, struct dw_ghost *out, struct dw_error *err)
{
    struct dw_work *w = f->w;
    const struct dw_sight *best = best_of(w, s, of, n);
    double behind, height = height_of(f, s, of, n, &behind);
    if (!(height > 0))
        return DW_WARN;
    *out = (struct dw_ghost){.first = s[of[0]].shot,
                             .last = s[of[n - 1]].shot,
                             .tile = best->tile,
                             .tiles = best->tiles,
                             .share = DW_TAKE(&w->arena, w->n, float)};
    if (!out->share)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for %zu shots", w->n);
    int tiles = dw_ghost_tiles(f, best->shot, out->tile);
    for (size_t i = 0; i < w->n; i++)
        out->share[i] = f->in[i] && w->alt[i] < params.below_deg
                            ? (float)share_of(f, i, out->tile, tiles, height, behind)
                            : NAN;
    return DW_OK;
}

struct search {
    struct dw_finder finder;
    struct dw_ghost *ghost;
    size_t n;
    bool *in;
    enum dw_status status;
    struct dw_error *err;
};

/* The ghosts of one place. */
static enum dw_status find(struct dw_finder *f, struct dw_ghost **ghost, size_t *n,
                           struct dw_error *err)
{
    enum { A_SHOT = 8 };
    struct dw_work *w = f->w;
    enum dw_status status = DW_OK;
    struct dw_sight *s = malloc((A_SHOT * w->n + 1) * sizeof *s);
    bool *taken = calloc(A_SHOT * w->n + 1, sizeof *taken);
    size_t *of = malloc((A_SHOT * w->n + 1) * sizeof *of), seen = 0;
    if (!s || !taken || !of)
        status = dw_fail(err, DW_ERR_MEMORY, "out of memory for %zu shots", w->n);
    double last = -INFINITY;
    for (size_t i = 0; i < w->n && status >= 0; i++) {
        if (!f->in[i] || !(w->alt[i] < params.below_deg) || w->utc[i] - last < params.apart_s)
            continue;
        last = w->utc[i];
        seen += dw_look_for_ghosts(f, i, s + seen, A_SHOT);
    }
    for (size_t j = 0; j < seen && status >= 0; j++) {
        if (taken[j])
            continue;
        size_t got = follow(w, s, seen, j, taken, of);
        if (!stays(w, s, of, got))
            continue;
        struct dw_ghost *more = DW_TAKE(&w->arena, *n + 1, struct dw_ghost);
        if (!more) {
            status = dw_fail(err, DW_ERR_MEMORY, "out of memory for %zu ghosts", *n + 1);
            break;
        }
        if (*n > 0)
            memcpy(more, *ghost, *n * sizeof **ghost);
        *ghost = more;
        status = make_ghost(f, s, of, got, &more[*n], err);
        *n += status == DW_OK;
    }
    free(s);
    free(taken);
    free(of);
    return status;
}

/* Where the camera was moved a tile shows something else: each place by itself. */
static void search_place(void *ctx, const struct dw_light_class *c, void *work)
{
    (void)work;
    struct search *s = ctx;
    struct dw_work *w = s->finder.w;
    if (s->status < 0)
        return;
    memset(s->in, 0, w->n * sizeof *s->in);
    for (size_t j = 0; j < c->n_mine; j++)
        s->in[c->mine[j]] = true;
    if (dw_finder_learn(&s->finder, s->in))
        s->status = find(&s->finder, &s->ghost, &s->n, s->err);
}

enum dw_status dw_find_ghosts(struct dw_work *w, const struct dw_ledger_row *ledger,
                              struct dw_ghost **ghost, size_t *n, struct dw_error *err)
{
    struct search s = {.in = DW_TAKE(&w->arena, w->n, bool), .err = err};
    if (!s.in)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for %zu shots", w->n);
    s.status = dw_finder_make(w, &s.finder, err);
    if (s.status >= 0) {
        enum dw_status status = dw_same_place(w, ledger, DW_SPOILED, search_place, &s, 0, err);
        s.status = status < 0 ? status : s.status;
    }
    *ghost = s.ghost;
    *n = s.n;
    return s.status < 0 ? s.status : DW_OK;
}
