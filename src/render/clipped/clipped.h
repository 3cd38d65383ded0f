/* clipped.h: the colour of the light about what a sensor could not hold. Where one channel is
 * saturated its level must be guessed from the others, where all are, nothing is left but the
 * surroundings: beside a blown stretch of a yellow evening sky lies yellow, and a neutral patch
 * there looks like a hole. A picture is divided into tiles; each gathers the colour of its
 * brightest light that was still measured. Tiles without any take it from ever wider surroundings,
 * and a picture without any is neutral. */
#ifndef DW_RENDER_CLIPPED_H
#define DW_RENDER_CLIPPED_H

#include "render/mosaic/cells.h"
#include "render/clipped/edged.h"

/* Zero it before the first use; work space is kept. */
struct dw_clipped {
    bool any; /* something is saturated: only then are colours known, and needed */
    int width, height, cols, rows;
    struct dw_space_kept marked; /* bool per row of cells: one of its samples is saturated */
    struct dw_space_kept map; /* byte per cell: 0, or it is, or lies beside, something saturated: 1
                               * to 255, of which all channels are */
    struct dw_edged edged;
    struct dw_space_kept lost; /* per tile: light of which green alone is lost */
    struct dw_space_kept sums; /* per tile weight, r, g, b; then the same for every coarser level */
    struct dw_space_kept colour; /* three planes of cols * rows */
    struct dw_space_kept line;   /* colours between two rows of tiles, then work space of one row */
};

/* Looks for saturated samples and, if there are any, learns the colours about them; d: as for the
 * cells; green: as in struct dw_source. Errors: DW_ERR_MEMORY. */
enum dw_status dw_clipped_learn(struct dw_clipped *c, struct dw_cells *cells,
                                const struct dw_develop *d, const struct dw_facts *facts,
                                const double green[4], struct dw_error *err);
/* True if row y of a picture of this height, of any size of the same shape, may hold anything
 * saturated. */
bool dw_clipped_in_row(const struct dw_clipped *c, int y, int height);
/* The colours along that row, balanced camera channels, the largest of the three 1; in out[3] how
 * far what is lost there ends at edges, 0 to 1; and in out[4] how near light within two cells
 * has come to losing all three channels: 0 where nothing is saturated, else above it, to 1. */
void dw_clipped_row(struct dw_clipped *c, int y, int width, int height, float *const out[5]);
void dw_clipped_free(struct dw_clipped *c);

#endif
