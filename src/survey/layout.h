/* layout.h: where colours, tiles and thumbnail blocks lie on a mosaic. */
#ifndef DW_SURVEY_LAYOUT_H
#define DW_SURVEY_LAYOUT_H

#include <daywheel/survey.h>

/* The picture's geometry as every pass over it needs it. Columns count samples, not pixels:
 * without a mosaic (DW_CFA_RGB) a pixel holds three. */
struct dw_layout {
    int width, height;    /* pixels that the grid covers: the mosaic's, cut to whole units */
    int stride;           /* samples from row to row of the mosaic */
    int samples;          /* of a row that the grid covers */
    int spp;              /* samples per pixel, 1 or 3 */
    int unit;             /* tile and block edges are multiples of it: 2 pixels, 6 for X-Trans */
    int hp, vp;           /* period of the colours: in samples along a row, in rows */
    uint8_t colour[6][6]; /* [row % vp][sample % hp]: 0 R, 1 G, 2 B */
    int step_x, step_y;   /* to the next pixel of equal colour, samples and rows */

    int cols, rows; /* of the light grid */
    int *tile_x;    /* cols + 1 edges, pixels */
    int *tile_y;    /* rows + 1 edges, pixels */
    int block;      /* pixels of a thumbnail block's side */
    int thumb_width, thumb_height;
};

/* Lays tiles and blocks over a mosaic. Tile i of n spans units floor(i*m/n) to
 * floor((i+1)*m/n) of the m units there are, so a picture smaller than the grid has empty tiles.
 * Errors: DW_ERR_USAGE (parameters out of range), DW_ERR_FORMAT (a mosaic that makes no sense:
 * sizes, period, sample count), DW_ERR_MEMORY. */
enum dw_status dw_layout_make(const struct dw_mosaic *m, const struct dw_survey_params *params,
                              struct dw_layout *out, struct dw_error *err);
void dw_layout_free(struct dw_layout *l);

/* Which tile holds pixel position p, given n + 1 edges. */
int dw_layout_find(const int *edge, int n, int p);

#endif
