/* demosaic.h: the missing two colours of every pixel, for `full`. */
#ifndef DW_RENDER_DEMOSAIC_H
#define DW_RENDER_DEMOSAIC_H

#include <stddef.h>
#include <stdint.h>

#include "render/kernels/demosaic.h"

/* No pixel's colours depend on samples more rows or columns away than this. */
#define DW_DEMOSAIC_REACH 8
/* So many more rows above and below are computed and thrown away, so that a picture made in strips
 * is the same as one made at once. Even, and at least the reach. */
#define DW_DEMOSAIC_MARGIN 8

/* Where the samples come from: black subtracted, white balanced, so that a grey scene is one
 * smooth surface; values may be slightly negative, but must be finite. */
struct dw_demosaic_source {
    int width, height;  /* both >= 2 */
    uint8_t pattern[4]; /* colour (0 R, 1 G, 2 B) of (row % 2) * 2 + column % 2 */
    /* Row y: (width + 1) / 2 even and width / 2 odd columns. Asked for in rising y, but that the
     * first and last rows are asked for again to be mirrored. */
    void (*row)(void *ctx, int y, float *even, float *odd);
    void *ctx;
};

/* A window that goes down the frame and gives a finished row at each step. It holds as few rows
 * as the method reaches over: about 44 floats for a pixel of the row. */
struct dw_demosaic {
    const struct dw_demosaic_kernels *k;
    struct dw_demosaic_source source;
    size_t cells;  /* of a row, rounded up to whole vectors */
    size_t stride; /* of the half rows held */
    float *space;
    int front; /* last row read */
};

/* Floats of work space for rows of so many pixels. */
size_t dw_demosaic_space(int width);
/* Sets the window above the first row. space: dw_demosaic_space(width) floats, the caller's, used
 * until the last row was given. */
void dw_demosaic_start(struct dw_demosaic *d, const struct dw_demosaic_kernels *k,
                       const struct dw_demosaic_source *source, float *space);
/* The next row, at most `height` times: `width` pixels of three colours. Measured samples are kept
 * as they are. The frame's edges are mirrored. */
void dw_demosaic_next(struct dw_demosaic *d, float *const rgb[3]);

/* A whole picture at once: fills three planes of w x h from a mosaic of w x h; w, h >= 2. */
void dw_demosaic_full(const struct dw_demosaic_kernels *k, const float *mosaic, int w, int h,
                      const uint8_t pattern[4], float *space, float *const rgb[3]);

#endif
