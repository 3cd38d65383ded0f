/* coarse.h: a row of a picture from a coarse map of tiles, bilinear between their centres. */
#ifndef DW_RENDER_COARSE_H
#define DW_RENDER_COARSE_H

/* level: rows * cols tiles of a picture of any size of the same shape; line: room for cols; out:
 * row y of a picture of width x height pixels. */
void dw_coarse_row(const float *level, int cols, int rows, int y, int width, int height,
                   float *line, float *out);

#endif
