/* background.h: the level of a picture's surroundings, smooth and coarse, from which stars stand
 * out. A picture is divided into tiles; each gives the 60th percentile of its norm (over half a
 * tile may be foreground: the darker half does not count), then the highest of 3x3 tiles (so that a
 * skyline does not pull the sky's level down beside it), smoothed and bilinear between centres. */
#ifndef DW_RENDER_BACKGROUND_H
#define DW_RENDER_BACKGROUND_H

#include <daywheel/base.h>

#include "render/grow.h"

/* Zero it before the first use; work space is kept. */
struct dw_background {
    int width, height, cols, rows;
    int step_x, step_y;         /* not every pixel is looked at */
    int tile_row;               /* being collected */
    struct dw_space_kept taken; /* samples of this tile row, `room` for each tile */
    struct dw_space_kept count; /* how many, per tile */
    struct dw_space_kept level; /* cols * rows, twice */
    struct dw_space_kept line;  /* one row of levels between tile rows */
    size_t room;
};

/* For a picture of this size. Errors: DW_ERR_MEMORY. */
enum dw_status dw_background_begin(struct dw_background *b, int width, int height,
                                   struct dw_error *err);
/* True for rows that add() wants to see. */
bool dw_background_wants(const struct dw_background *b, int y);
/* Rows in rising order. */
void dw_background_add(struct dw_background *b, int y, const float *norm);
void dw_background_end(struct dw_background *b);
/* Levels along row y of a picture of any size of the same shape. */
void dw_background_row(struct dw_background *b, int y, int width, int height, float *out);
void dw_background_free(struct dw_background *b);

#endif
