/* place.h: puts a picture where it belongs: cropped, and moved and turned back by as much as the
 * camera was displaced, by parts of a pixel. Works on rows of scene-linear light. */
#ifndef DW_RENDER_PLACE_H
#define DW_RENDER_PLACE_H

#include <daywheel/base.h>

#include "render/planes/grow.h"

/* Pixel (x, y) of the result, p from the middle of the whole picture, shows the source at
 * p + shift + roll * (-p.y, p.x). What lies outside the source repeats its border. */
struct dw_placing {
    int in_w, in_h; /* the source's rows */
    int left, top;  /* crop: the result's first pixel in a source that is not displaced */
    int out_w, out_h;
    double shift_x, shift_y; /* source pixels */
    double roll;             /* radians, clockwise; small: its square is nothing */
};

/* Zero it before the first use; work space is kept. */
struct dw_place {
    struct dw_placing how;
    struct dw_space_kept work; /* ring of source rows; one row made of them, with borders */
    int rows, *held;           /* of the ring; which source row each holds, -1: none */
    struct dw_space_kept held_room;
    int border;
};

/* Source row y, in_w pixels of R, G and B. */
typedef void dw_place_source(void *ctx, int y, float *const rgb[3]);

/* True when rows come out as they are: nothing is cropped or moved. */
bool dw_place_idle(const struct dw_placing *how);
/* Errors: DW_ERR_MEMORY. */
enum dw_status dw_place_open(struct dw_place *p, const struct dw_placing *how,
                             struct dw_error *err);
/* Row y of the result. Rows in rising order fetch each source row once. A displacement by whole
 * pixels without a roll copies; others go through Lagrange's weights of six pixels down and six
 * across (exact for polynomials of the fifth degree: stars stay as sharp as they were), never
 * below the darkest of the six, so that no star gets a dark ring. */
void dw_place_row(struct dw_place *p, int y, dw_place_source *source, void *ctx,
                  float *const rgb[3]);
void dw_place_free(struct dw_place *p);

#endif
