/* steady.h: what is wrong with records, blacks and errors beside the joint problem (joint.h). */
#ifndef DW_DECIDE_STEADY_H
#define DW_DECIDE_STEADY_H

#include "decide/arena.h"
#include "decide/compare/pairs.h"

/* Finds stretches whose record is wrong: all tiles leap together by more than any light or shutter
 * does, and leap back later. pair: the lag-1 pairs, in order (n-1 of them); usual_s: the usual
 * interval; loose: no record. jump: n values, 0 where the record stands. */
void dw_find_jumps(const struct dw_pair *pair, size_t n, const double *time, double usual_s,
                   const bool *loose, double *jump);
/* The slow part of shots' own errors, which is light that its prior did not expect (fog clearing,
 * a moon rising): errors follow each other at random, light does not. own, tie: n values and their
 * weights (0: not looked at); sigma: rms of an own error; slow: n values, 0 where chance explains
 * it. Errors: DW_ERR_MEMORY, DW_ERR_NUMERIC. */
enum dw_status dw_slow_light(const double *own, const double *tie, size_t n, double sigma,
                             struct dw_arena *arena, double *slow);
/* How far the black of every shot lies from its class's, as its dark tiles tell beside those of its
 * neighbours. black: n values, DN; all 0 where it wanders too little to be seen. Errors:
 * DW_ERR_MEMORY, DW_ERR_NUMERIC. */
enum dw_status dw_black_wander(const struct dw_beside *beside, const double *time, size_t n,
                               struct dw_arena *arena, double *black);

#endif
