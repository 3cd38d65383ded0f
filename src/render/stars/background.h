/* background.h: the sky that stars stand out from: its level, grain and colour, smooth and coarse.
 * A picture is divided into tiles; each gives the level below which 60 % of its pixels lie (over
 * half a tile may be foreground: the darker half does not count), the grain from there to 80 %, and
 * the colour of what is near that level. Where a tile is much darker than those on either side of
 * it together, it shows foreground, and the brightest of the 3x3 about it counts (so that a skyline
 * does not pull the sky's level down beside it), with its neighbours' grain and colour. All are
 * smoothed and bilinear between centres. */
#ifndef DW_RENDER_BACKGROUND_H
#define DW_RENDER_BACKGROUND_H

#include <daywheel/base.h>

#include "render/planes/grow.h"

/* Zero it before the first use; work space is kept. */
struct dw_background {
    int width, height, cols, rows;
    int step_x, step_y; /* not every pixel is looked at */
    int tile_row;       /* being collected */
    /* Samples of this tile row: their level and three colours, a plane each of `lines` rows of a
     * column for each tile (and some to spare), of which so many are taken; then what columns
     * tell. */
    struct dw_space_kept taken;
    size_t columns, lines, n_taken;
    struct dw_space_kept first; /* pixel of each tile along a row, and of none behind the last */
    struct dw_space_kept level; /* cols * rows of all that tiles tell, a plane each */
    struct dw_space_kept line;  /* one row of levels between tile rows */
    float no_sky;               /* what is brighter is none */
};

/* For a picture of this size. Errors: DW_ERR_MEMORY. */
enum dw_status dw_background_begin(struct dw_background *b, int width, int height,
                                   struct dw_error *err);
/* True for rows that add() wants to see. */
bool dw_background_wants(const struct dw_background *b, int y);
/* Rows in rising order, their colours and level (luminance, none below 0). */
void dw_background_add(struct dw_background *b, int y, float *const rgb[3], const float *level);
struct dw_sky_wanted {
    float
        floor; /* the night sky's level; what lies below foreground stands out from that at least */
    float noisier; /* how much more grain the picture has that the sky is wanted for */
    int turn_deg;  /* clockwise to upright */
};
void dw_background_end(struct dw_background *b, const struct dw_sky_wanted *want);
/* After that: by what share the air asks red and blue light of stars to be changed, a number for
 * each tile. Else, and on and beside lit walls, it is 0. */
void dw_background_air(struct dw_background *b, const float *red, const float *blue);
#define DW_SKY_ROWS 8
/* The sky along row y of a picture of any size of the same shape: its level, the level that stars
 * stand out from, its grain (one sigma), its red, green and blue, and what dw_background_air set.
 */
void dw_background_row(struct dw_background *b, int y, int width, int height,
                       float *const out[DW_SKY_ROWS]);
void dw_background_free(struct dw_background *b);

#endif
