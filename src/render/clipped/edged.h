/* edged.h: how far saturated light ends at edges, place by place. A lamp, a lit pane, a lit room
 * about a window stand sharply against what is beside them, and that tells nothing of them. A glow,
 * a lit cloud or the light about the sun falls off smoothly, and what lies about it is of the same
 * light. Every part of a rim speaks for the saturated light near it, the less the farther away that
 * lies, and next to nothing beyond a step in what is still measured: so no place changes its kind
 * at once as the exposure does, nor because some other place does. */
#ifndef DW_RENDER_EDGED_H
#define DW_RENDER_EDGED_H

#include <daywheel/base.h>

#include "render/planes/grow.h"
#include "render/kernels/kernels.h"

/* Zero it before the first use; work space is kept. */
struct dw_edged {
    int width, height, cols, rows; /* cells, patches of them */
    float red_to_blue;             /* balanced, of light whose levels of these two are alike */
    int first, last;               /* rows that came one after the other, up to the last */
    struct dw_space_kept ring;     /* levels of the last rows, of which five are held */
    struct dw_space_kept patch;    /* what each patch saw */
    struct dw_space_kept glow;     /* how far warm light that falls off there is a glow all the same
                                    * and no lamp's, 0 to 1: rows * cols floats, 0 if not set */
    struct dw_space_kept line;     /* work space of a line of patches */
    struct dw_space_kept pass;     /* how much goes from one patch to the next */
    struct dw_space_kept share;    /* of edges in its rims, 0 to 1: rows * cols floats */
};

/* For a picture of so many cells, on patches of about `patch` cells along. Errors: DW_ERR_MEMORY.
 */
enum dw_status dw_edged_begin(struct dw_edged *e, int width, int height, int patch,
                              struct dw_error *err);
/* Three rows of levels to be filled, of row y of the cells, red, green, blue: 1, or more, where a
 * channel counts as saturated; then dw_edged_row is told so. Rising rows; those that hold nothing
 * saturated and do not lie within two rows of one that does may be left out. */
float *dw_edged_levels(struct dw_edged *e, int y);
void dw_edged_row(struct dw_edged *e, int y);
/* After all rows but perhaps the last two: how far the colour of a saturated cell may be believed,
 * 0 to 1. Along a dark edge a cell may be a mixture of both its sides, and so of another colour.
 * That counts where a glow is known (see above), and elsewhere to `least`, 0 to 1. */
float dw_edged_inside(const struct dw_edged *e, int x, int y, float least);
/* After the last row: makes `share`. */
void dw_edged_end(struct dw_edged *e);
void dw_edged_free(struct dw_edged *e);

#endif
