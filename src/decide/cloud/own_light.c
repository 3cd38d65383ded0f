/* own_light.c: the light that a tile has when no cloud is before it, or before what lights it. It
 * goes smoothly with the hour but for a little that wanders: faint stars drift through a tile of
 * sky, grass stirs. So a tile's own light has a level and a slope, both of which wander, and is
 * followed from shot to shot (Kalman 1960) as far as it came back, from before and from after; what
 * both expect of a shot, in which it has no part itself, are put together by what each knows
 * (Fraser & Potter 1969). */
#include "decide/cloud/returns_state.h"

#include <math.h>

#define UNIT_S 120.0 /* of time: a slope is stops in this, */
#define SLOPE 0.03   /* and of this size when nothing is known */
#define UNKNOWN 1e6  /* stops^2: of a level that nothing is known about */
/* In variances of a shot itself: if the others know less of it than this, hardly any came back. */
#define FAINT 3.3

/* A tile's own light and its slope, with their variances. */
struct dw_own_light {
    double level, slope;
    double ll, ls, ss;
};

size_t dw_returns_own_room(size_t n)
{
    return n * sizeof(struct dw_own_light);
}

static struct dw_own_light unknown(void)
{
    return (struct dw_own_light){0, 0, UNKNOWN, 0, SLOPE * SLOPE};
}

/* Goes on by `seconds`, forwards or, where these are negative, backwards, to a shot. turn: by how
 * much more slopes bend there. */
static void go_on(struct dw_own_light *z, const struct dw_returns_params *p, double seconds,
                  double turn)
{
    double u = seconds / UNIT_S, time = fabs(u);
    double wander = p->wander_stops * p->wander_stops;
    double bend = p->bend_stops * p->bend_stops + turn * turn;
    z->level += u * z->slope;
    z->ll += u * (2 * z->ls + u * z->ss) + time * (wander + time * time * bend / 3);
    z->ls += u * (z->ss + time * bend / 2);
    z->ss += time * bend;
}

/* Takes in that the tile has light y, of variance var. */
static void take_in(struct dw_own_light *z, double y, double var)
{
    double all = z->ll + var, off = y - z->level, kept = var / all;
    z->level += z->ll / all * off;
    z->slope += z->ls / all * off;
    z->ss -= z->ls / all * z->ls;
    z->ls *= kept;
    z->ll *= kept;
}

/* Takes in what shot i of tile k shows, as far as it came back. */
static void take_shot(const struct dw_returns *r, size_t k, size_t i, struct dw_own_light *z)
{
    double x = (double)r->beside[k * r->n + i], weight = (double)r->weight[k * r->n + i];
    if (isfinite(x) && weight > 0)
        take_in(z, x - r->found[i], (dw_returns_noise(r, i, k) + r->spread[i]) / weight);
}

/* What two that know nothing of each other say of a level together. */
static double together(const struct dw_own_light *a, const struct dw_own_light *b, double *var)
{
    double da = a->ll * a->ss - a->ls * a->ls, db = b->ll * b->ss - b->ls * b->ls;
    double ll = a->ss / da + b->ss / db, ls = -a->ls / da - b->ls / db;
    double ss = a->ll / da + b->ll / db, det = ll * ss - ls * ls;
    double l =
        (a->ss * a->level - a->ls * a->slope) / da + (b->ss * b->level - b->ls * b->slope) / db;
    double s =
        (a->ll * a->slope - a->ls * a->level) / da + (b->ll * b->slope - b->ls * b->level) / db;
    *var = ss / det;
    return (ss * l - ls * s) / det;
}

void dw_returns_expect(struct dw_returns *r, size_t k)
{
    const double *t = r->g->time;
    const float *x = r->beside + k * r->n;
    float *off = r->off + k * r->n, *var = r->var + k * r->n;
    struct dw_own_light z = unknown(), *before = r->before;
    for (size_t i = 0; i < r->n; i++) {
        if (r->from[i] == i)
            z = unknown(); /* of another view, or long ago */
        else
            go_on(&z, r->p, t[i] - t[i - 1], r->turn[i]);
        before[i] = z;
        take_shot(r, k, i, &z);
    }
    for (size_t i = r->n; i-- > 0;) {
        if (i + 1 == r->n || r->from[i + 1] == i + 1)
            z = unknown();
        else
            go_on(&z, r->p, t[i] - t[i + 1], r->turn[i]);
        var[i] = INFINITY;
        if (isfinite(x[i])) {
            double others, value = together(&before[i], &z, &others);
            double noise = dw_returns_noise(r, i, k);
            if (others < FAINT * (noise + r->spread[i])) {
                off[i] = (float)((double)x[i] - r->found[i] - value);
                var[i] = (float)(noise + others);
            }
        }
        take_shot(r, k, i, &z);
    }
}
