/* coarse.h: coarse maps of tiles, and a row of a picture from one, bilinear between their centres.
 */
#ifndef DW_RENDER_COARSE_H
#define DW_RENDER_COARSE_H

/* How many tiles of about this size go along so many pixels: at least 1. */
int dw_coarse_tiles(int pixels, int tile);
/* Position `at` between tile centres (0: the first one's): index of the lower one and the share of
 * the next. */
int dw_coarse_between(float at, int tiles, float *share);
/* level: rows * cols tiles of a picture of any size of the same shape; line: room for cols; out:
 * row y of a picture of width x height pixels. */
void dw_coarse_row(const float *level, int cols, int rows, int y, int width, int height,
                   float *line, float *out);

#endif
