/* edged.h: which saturated areas of a frame end at edges. A lamp, a lit pane, a lit room about a
 * window stand sharply against what is beside them, and that tells nothing of them. A glow, a lit
 * cloud or the light about the sun falls off smoothly, and what lies about it is of the same light.
 */
#ifndef DW_RENDER_EDGED_H
#define DW_RENDER_EDGED_H

#include <daywheel/base.h>

#include "render/grow.h"
#include "render/wider.h"

#include <stdint.h>

/* In a map of levels, a byte a cell: all channels are saturated; some are; else the highest
 * channel's share of saturation in steps of 1 / DW_LEVEL_STEPS. */
#define DW_ALL_LOST 255
#define DW_SOME_LOST 254
#define DW_LEVEL_STEPS 200.0f

/* Zero it before the first use; work space is kept. */
struct dw_edged {
    struct dw_space_kept run; /* saturated cells side by side in a row */
    size_t n;
};

/* Finds the areas: cells that touch and have lost all, or some, of their channels. Each kind has
 * areas of its own, so that a lamp-lit wall does not make a lamp of the glow that it touches; where
 * all is lost beside where some is, light falls off. level: width * height. marked, a row each: it
 * may hold saturated cells, or lies within two rows of one that does; other rows are not looked at.
 * Errors: DW_ERR_MEMORY. */
enum dw_status dw_edged_find(struct dw_edged *e, const uint8_t *level, const bool *marked,
                             int width, int height, struct dw_error *err);
/* Adds the areas' cells to `lost` and their share of edges, 0 to 1, to `edged` of the tiles of a
 * map of cols * rows; an area that touches no other light tells nothing. A
 * seam of cells that an edge cuts through belongs to the area that it lies along. */
void dw_edged_add(const struct dw_edged *e, int width, int height, struct dw_sums *map, int cols,
                  int rows);
void dw_edged_free(struct dw_edged *e);

#endif
