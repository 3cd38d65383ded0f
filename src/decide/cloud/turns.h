/* turns.h: how fast tiles part while one source of light takes over from another. */
#ifndef DW_DECIDE_TURNS_H
#define DW_DECIDE_TURNS_H

#include <stddef.h>

/* Where sun and moon stand in each of n shots: altitudes, degrees; and what the moon gives of what
 * the sun would give from there, 0 where there is none. moon_deg NULL: there is none. */
struct dw_sources {
    const double *alt, *moon_deg, *moon_beside;
};

/* bend: n values, stops in 120 s: the rms of what the slope of a tile's own light then changes by
 * in 120 s, beside the usual: much where a moon is as bright as dusk, or as the night; 0 without
 * one. time: s. */
void dw_turns_find(const struct dw_sources *by, const double *time, size_t n, double *bend);

#endif
