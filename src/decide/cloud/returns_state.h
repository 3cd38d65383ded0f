/* returns_state.h: what is learnt of shots and tiles from one another, shared by returns.c (what a
 * shot's tiles tell of its exposure), gaps.c (which tiles are open, at first sight), own_light.c
 * (what a tile's shots tell of its own light) and voices.c (which regions go together). */
#ifndef DW_DECIDE_RETURNS_STATE_H
#define DW_DECIDE_RETURNS_STATE_H

#include "decide/cloud/returns.h"
#include "decide/compare/compare.h"

#define DW_RETURNS_SPAN 64 /* shots that share one judgement of the regions */

/* Grids are kept tile after tile, n shots each. */
struct dw_returns {
    const struct dw_grids *g;
    const struct dw_returns_params *p;
    size_t n, tiles;
    const double *turn;   /* per shot: by how much more slopes of own light bend */
    size_t *from, *to;    /* per shot: the first within reach, and the one after the last */
    double *found;        /* per shot: light beside `start` */
    double *spread;       /* per shot: variance that its error may still have */
    float *beside;        /* light without `start`; NAN */
    float *weight;        /* how much it came back, 0..1 */
    float *open;          /* the same, by its contrasts with the tiles beside it */
    int regions, *region; /* of each tile */
    double *leap;         /* regions a shot: what its light does beside the shots about */
    double *alike;        /* regions^2 a span: how much they leap together, 0..1 */
    double *voice;        /* regions a span: share that each has of what is its own */
    float *off, *var;     /* from what other shots expect, and its variance; INFINITY: not known */
    struct dw_own_light *before; /* per shot: a tile's own light as those before it tell; */
};

/* Variance of tile k's light in shot i, but for the shot's own error. */
static inline double dw_returns_noise(const struct dw_returns *r, size_t i, size_t k)
{
    return (double)r->g->noise[i * r->tiles + k] + r->p->floor_stops * r->p->floor_stops;
}

/* Tukey's weight of a squared departure in units of its variance; tighter than usual, because what
 * is covered a little is what has to go. */
static inline double dw_returns_tukey(double square)
{
    const double tuning = 3.5;
    double t = 1 - square / (tuning * tuning);
    return t > 0 ? t * t : 0;
}

/* gaps.c. First weights: sets `open` and `weight`; uses up off and var. work: 3n values. */
void dw_returns_find_open(struct dw_returns *r, double *work);
/* own_light.c. How far tile k is in each shot from what the others about it let expect: sets its
 * off, var. */
void dw_returns_expect(struct dw_returns *r, size_t k);
/* Bytes that `before` needs. */
size_t dw_returns_own_room(size_t n);
/* voices.c. Sets `leap`, `alike` and `voice`. */
void dw_returns_find_voices(struct dw_returns *r);

#endif
