/* cells.h: one pixel per cell of the mosaic: `half`. */
#ifndef DW_RENDER_CELLS_H
#define DW_RENDER_CELLS_H

#include "render/planes/geometry.h"
#include "render/mosaic/samples.h"

struct dw_cells {
    struct dw_samples *s;
    int width, height, cell;
    struct dw_space_kept ring; /* Bayer: four mosaic rows split into even and odd samples */
    int held[4];               /* which row each slot holds; -1: none */
    size_t stride;
};

enum dw_status dw_cells_open(struct dw_cells *c, struct dw_samples *s, const struct dw_geometry *g,
                             struct dw_error *err);
/* Row y of cells in camera levels, and the largest green level in each cell. Rows may be asked for
 * in any order; neighbours in order cost least.
 *
 * Bayer: the two greens lie symmetrically about the cell's centre, so their mean is centred. Red
 * and blue lie a quarter of a cell off to opposite sides, which makes coloured edges and false star
 * colours; both are brought to the centre by linear interpolation with their three neighbours
 * (weights 9/16, 3/16, 3/16, 1/16). X-Trans: means over 3x3 cells, each of which holds five green,
 * two red and two blue. Monochrome and full-colour: means over 2x2. */
void dw_cells_row(struct dw_cells *c, int y, float *const rgb[3], float *peak);
void dw_cells_free(struct dw_cells *c);

#endif
