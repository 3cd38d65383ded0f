/* vote.h: one displacement of the whole frame from what its blocks say. Blocks that move by
 * themselves (stars, clouds, people) are outvoted. */
#ifndef DW_DECIDE_VOTE_H
#define DW_DECIDE_VOTE_H

#include "decide/poses/blocks.h"

/* A displacement of the frame: content at place p (from the frame's centre, cells) of the one shot
 * is at p + (x, y) + turn * (-p.y, p.x) of the other. */
struct dw_shift {
    double x, y;  /* cells */
    double turn;  /* radians, clockwise as seen (x right, y down) */
    double sigma; /* standard deviation of x and y, the larger; INFINITY: unknown */
    double turn_sigma;
    double agree; /* share of the voting blocks' information that agrees with it */
    double alike; /* their mean correlation */
    int voters;   /* blocks that agree */
};

/* Where the blocks lie: centres from the frame's centre, cells. */
struct dw_block_place {
    float x, y;
};

/* weight: 0..1 a block: how surely it is ground. The blocks' start was `start`, which is the answer
 * while nothing can be said. turn: whether a turn may be found too. */
void dw_vote(const struct dw_block *block, const float *weight, const struct dw_block_place *at,
             int n, bool turn, const struct dw_shift *start, struct dw_shift *out);
/* What a shift is at a place. */
static inline double dw_shift_x(const struct dw_shift *s, struct dw_block_place p)
{
    return s->x - s->turn * (double)p.y;
}
static inline double dw_shift_y(const struct dw_shift *s, struct dw_block_place p)
{
    return s->y + s->turn * (double)p.x;
}

#endif
