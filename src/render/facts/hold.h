/* hold.h: light that does not go with the sun, a town's glow above all, is held while the exposure
 * follows the dusk: it grows no brighter in the pictures than it was when it was darkest. */
#ifndef DW_RENDER_HOLD_H
#define DW_RENDER_HOLD_H

#include "render/planes/grow.h"

#include <daywheel/decide.h>

struct dw_hold_params {
    double share; /* of the night curve's slope by which the key still falls as light does: the line
                   * lets 0.163 stop a stop be seen, the curve makes 1.35 of one */
    double knee;  /* what is darker than the sky there, as the ground before it, is left; the
                   * middle between lies where the light is so many times less */
    double whole; /* from so much of the sky's light on all is held alike, stars with their sky */
};
#define DW_HOLD_DEFAULTS                                                                           \
    {                                                                                              \
        0.12, 4, 0.35                                                                              \
    }

/* Zero it before the first use; room is kept from frame to frame. */
struct dw_hold_map {
    struct dw_space_kept room;
    bool on;
    int cols, rows; /* points, from edge to edge of the picture */
    float most;     /* light over that at the middle from which on all is held alike */
    float *inverse; /* 1 / light at the middle, keys */
    float *depth;   /* bright light is held by a factor of 1 + depth */
    float *line;    /* a row of points of both */
    float *row;     /* and of pixels */
};

/* What part of the mosaic a picture shows, shares of its width and height, sensor orientation; by
 * how much it has been turned clockwise since; and the widest of its rows. */
struct dw_hold_view {
    double left, top, right, bottom;
    int turn_deg, width;
};

/* Stops by which light rises beside the key from dusk to night at a place of the mosaic, x and y
 * shares of its width and height; 0 where nothing is held. */
double dw_hold_rise(const struct dw_facts *facts, double x, double y);

/* Stops by which light is held whose place rises by `rise` stops beside the key from dusk to night,
 * in a frame whose key is log2(key / night key) stops above the night's. */
double dw_hold_stops(double rise, double above);

/* For a frame; ->on is false where nothing is to be held. Errors: DW_ERR_MEMORY. */
enum dw_status dw_hold_make(struct dw_hold_map *m, const struct dw_facts *facts,
                            const struct dw_frame *frame, const struct dw_hold_view *view,
                            struct dw_error *err);
/* Row y of a picture w x h of tame linear BT.2020, in place. */
void dw_hold_row(const struct dw_hold_map *m, int y, int w, int h, float *const rgb[3]);
void dw_hold_free(struct dw_hold_map *m);

#endif
