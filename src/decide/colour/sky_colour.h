/* sky_colour.h: the colour of the sky as one shot's tiles show it, before any balance but the
 * shoot's white. */
#ifndef DW_DECIDE_SKY_COLOUR_H
#define DW_DECIDE_SKY_COLOUR_H

#include "decide/work.h"

/* Which tiles count as sky in the dark: what is bright and even, but no lamp. */
struct dw_sky_params {
    double quantile; /* of the shot's tiles: at least this bright */
    double lamp;     /* beyond so many times their median are lamps */
    double held;     /* stops by which its light rises beside the key, at most: else a town's */
};
#define DW_SKY_DEFAULTS                                                                            \
    {                                                                                              \
        0.6, 8, 0.5                                                                                \
    }

/* What the sky's tiles of some shots say, each once. */
struct dw_sky_tiles {
    double *red, *blue; /* level over that of green, white balanced */
    double noise;       /* relative, of one half-size pixel; summed */
    double keys;        /* summed */
    size_t n;
};

/* Adds the sky of shot i: at most w->tiles more. work: w->tiles. */
void dw_sky_tiles_add(const struct dw_work *w, const struct dw_facts *facts, size_t i, double *work,
                      struct dw_sky_tiles *sky);

/* The middle colour of these tiles in linear BT.2020, not scaled. The tiles' order is changed.
 * sky->n must not be 0. */
void dw_sky_tiles_colour(const struct dw_facts *facts, const struct dw_sky_tiles *sky,
                         double rgb[3]);

#endif
