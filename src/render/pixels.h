/* pixels.h: one pixel per pixel of the mosaic: `full`. */
#ifndef DW_RENDER_PIXELS_H
#define DW_RENDER_PIXELS_H

#include "render/geometry.h"
#include "render/samples.h"

/* The picture is made in strips, so that a full-size frame needs no full-size float planes. */
struct dw_pixels {
    struct dw_samples *s;
    float mul[3];              /* balance under which colours are compared */
    struct dw_space_kept work; /* mosaic, three planes, peaks of the strip and its margins */
    int first, rows;           /* of the strip held, margins included */
    int good_from, good_to;    /* rows that may be used */
};

enum dw_status dw_pixels_open(struct dw_pixels *p, struct dw_samples *s, const float mul[3],
                              struct dw_error *err);
/* Row y in *balanced* camera levels (times mul), and the largest unbalanced green level in each
 * pixel's 3x3 surround. Rows in rising order cost least. */
void dw_pixels_row(struct dw_pixels *p, int y, float *const rgb[3], float *peak);
void dw_pixels_free(struct dw_pixels *p);

#endif
