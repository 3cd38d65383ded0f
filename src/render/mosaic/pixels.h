/* pixels.h: one pixel per pixel of the mosaic: `full`. */
#ifndef DW_RENDER_PIXELS_H
#define DW_RENDER_PIXELS_H

#include "render/mosaic/demosaic.h"
#include "render/planes/geometry.h"
#include "render/mosaic/samples.h"

#define DW_PIXELS_RING 16 /* rows; the demosaic reads up to nine ahead of the one it gives */

/* The picture goes by in a window of a few rows, so that a full-size frame needs no full-size
 * float planes. */
struct dw_pixels {
    struct dw_samples *s;
    float mul[3]; /* balance under which colours are compared */
    struct dw_space_kept work;
    struct dw_demosaic window; /* Bayer */
    int next;                  /* the row that it gives next */
    float *ring;               /* per row: Bayer the largest green level of each pixel and its two
                                  neighbours, even and odd columns, and a row to work in; X-Trans
                                  levels of the mosaic */
    size_t stride;
    int held[DW_PIXELS_RING]; /* which row each slot of the ring holds; -1: none */
};

enum dw_status dw_pixels_open(struct dw_pixels *p, struct dw_samples *s, const float mul[3],
                              struct dw_error *err);
/* Row y in *balanced* camera levels (times mul), and the largest balanced green level in each
 * pixel's 3x3 surround. Rows in rising order cost least. */
void dw_pixels_row(struct dw_pixels *p, int y, float *const rgb[3], float *peak);
void dw_pixels_free(struct dw_pixels *p);

#endif
