/* cloudy.c: see cloudy.h. Pairs of shots are a start; then what comes back to where it was, between
 * two clouds, tells a shot's light better than any neighbour does. */
#include "decide/cloud/cloudy.h"
#include "decide/cloud/returns.h"

#include <math.h>
#include <string.h>

#define LOOKS 2      /* at what comes back, each from what was shared out before */
#define DISAGREE 0.3 /* of the steps: cloud */
#define ABOUT 32     /* shots on either side that tell how wrong pairs are, */
#define FEW 8        /* if more of their pairs than these are known */
/* Degrees of freedom of the shots' errors: what is many times as large as most is a cloud before
 * the sun, which shades all at once, and no wrong record. */
#define NO_TAIL 1e6

static enum dw_status no_room(struct dw_error *err)
{
    return dw_fail(err, DW_ERR_MEMORY, "out of memory for the steadying under cloud");
}

bool dw_cloudy(const struct dw_pair *pair, size_t n)
{
    size_t disagree = 0;
    for (size_t i = 0; i + 1 < n; i++)
        disagree += !pair[i].agree;
    return disagree > DISAGREE * (double)n;
}

/* By how much pairs of shots are wrong where what comes back tells better: under cloud they all can
 * agree about what no exposure did, whatever they say of their variance. */
struct wrong {
    double *square; /* n+1: sum of it, stops^2, over the known pairs that begin before each shot; */
    double *known;  /* n+1: how many these are */
};

static void find_wrong(const struct dw_share *share, const double *light, const double *var,
                       struct wrong *w)
{
    memset(w->square, 0, (share->n + 1) * sizeof *w->square);
    memset(w->known, 0, (share->n + 1) * sizeof *w->known);
    for (size_t k = 0; k < share->n_pairs; k++) {
        const struct dw_pair *p = &share->pair[k];
        double both = var[p->a] + var[p->b], d = light[p->b] - light[p->a] - p->v;
        if (!isfinite(both))
            continue;
        w->square[p->a + 1] += fmax(0, d * d - both);
        w->known[p->a + 1]++;
    }
    for (size_t i = 1; i <= share->n; i++) {
        w->square[i] += w->square[i - 1];
        w->known[i] += w->known[i - 1];
    }
}

/* The mean of it near shot i, of n; of the whole shoot where hardly a pair is known there. */
static double wrong_about(const struct wrong *w, size_t n, size_t i)
{
    size_t from = i > ABOUT ? i - ABOUT : 0, to = i + ABOUT < n ? i + ABOUT + 1 : n;
    if (w->known[to] - w->known[from] <= FEW) {
        from = 0;
        to = n;
    }
    double known = w->known[to] - w->known[from];
    return known > 0 ? (w->square[to] - w->square[from]) / known : 0;
}

/* Takes over what the shots' light is by what comes back to where it was, where that is known
 * better; the pairs of other shots are trusted less by as much as they are seen to be wrong. */
static void take_over(struct dw_share *share, const struct wrong *w, const double *light,
                      const double *var)
{
    for (size_t k = 0; k < share->n_pairs; k++) {
        struct dw_pair *p = &share->pair[k];
        double both = var[p->a] + var[p->b];
        p->var += wrong_about(w, share->n, p->a);
        if (both < p->var) {
            p->v = light[p->b] - light[p->a];
            p->var = both;
        }
    }
}

/* Contrasts bend where clouds pass. Light that comes back has none in it, so light may bend with
 * them only where nothing came back in four shots, as in fog. */
static void calm_unrest(const double *var, size_t n, const double *unrest, double *out)
{
    for (size_t i = 0; i < n; i++) {
        bool came = false;
        for (size_t p = i; p < i + 4 && p < n; p++)
            came |= isfinite(var[p]);
        out[i] = came ? 0 : unrest[i];
    }
}

/* Everything that a look at what comes back needs; n values each, or as many as there are pairs. */
struct looking {
    struct dw_pair *pair, *last; /* as they were, and as the last sharing out went by them */
    double *start, *light, *var, *unrest, *turn;
    struct wrong wrong;
};

static bool take_room(struct looking *l, const struct dw_share *share, struct dw_arena *arena)
{
    l->pair = DW_TAKE(arena, share->n_pairs + 1, struct dw_pair);
    l->last = DW_TAKE(arena, share->n_pairs + 1, struct dw_pair);
    l->start = DW_TAKE(arena, share->n, double);
    l->light = DW_TAKE(arena, share->n, double);
    l->var = DW_TAKE(arena, share->n, double);
    l->unrest = DW_TAKE(arena, share->n, double);
    l->turn = DW_TAKE(arena, share->n, double);
    l->wrong.square = DW_TAKE(arena, share->n + 1, double);
    l->wrong.known = DW_TAKE(arena, share->n + 1, double);
    return l->pair && l->last && l->start && l->light && l->var && l->unrest && l->turn &&
           l->wrong.square && l->wrong.known;
}

/* Finds what the shots' light is by what comes back, from what was shared out last, and puts it
 * into the pairs. unrest: as contrasts show it. */
static bool look(const struct dw_cloudy *cloud, struct dw_share *share, struct looking *l,
                 const double *unrest, struct dw_arena *arena)
{
    const struct dw_returns_params params = DW_RETURNS_DEFAULTS;
    const double *e = share->e, *jump = cloud->jump;
    /* the law went off the pairs, but belongs to what all tiles did */
    for (size_t i = 0; i + 1 < share->n; i++)
        l->start[i + 1] =
            l->start[i] + e[i + 1] - e[i] + jump[i + 1] - jump[i] + l->last[i].v - share->pair[i].v;
    if (dw_returns_find(cloud->grids, &params, l->start, share->e_fast, l->turn, cloud->bump, arena,
                        l->light, l->var) < 0)
        return false;
    for (size_t i = 0; i < share->n; i++) /* pairs are without it */
        l->light[i] -= jump[i];
    memcpy(share->pair, l->pair, share->n_pairs * sizeof *l->pair);
    find_wrong(share, l->light, l->var, &l->wrong);
    take_over(share, &l->wrong, l->light, l->var);
    memcpy(l->last, share->pair, share->n_pairs * sizeof *l->last);
    calm_unrest(l->var, share->n, unrest, l->unrest);
    share->unrest = l->unrest;
    return true;
}

enum dw_status dw_cloudy_share_out(const struct dw_cloudy *cloud, struct dw_share *share,
                                   struct dw_arena *arena, struct dw_error *err)
{
    const double *unrest = share->unrest;
    const struct dw_share_params *usual = share->p;
    struct dw_share_params params = *usual;
    struct looking l = {0};
    if (!take_room(&l, share, arena))
        return no_room(err);
    dw_turns_find(&cloud->by, share->time, share->n, l.turn);
    memcpy(l.pair, share->pair, share->n_pairs * sizeof *l.pair);
    memcpy(l.last, share->pair, share->n_pairs * sizeof *l.last);
    params.tail = NO_TAIL;
    share->p = &params;
    enum dw_status status = dw_share_out(share, arena, err);
    for (int i = 0; status >= 0 && i < LOOKS; i++)
        status =
            look(cloud, share, &l, unrest, arena) ? dw_share_out(share, arena, err) : no_room(err);
    share->p = usual;
    return status;
}
