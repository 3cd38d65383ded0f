/* demosaic.h: the missing two colours of every pixel, for `full`. */
#ifndef DW_RENDER_DEMOSAIC_H
#define DW_RENDER_DEMOSAIC_H

#include <stdint.h>

/* So many more rows above and below are computed and thrown away, so that a picture made in strips
 * is the same as one made at once. Even. */
#define DW_DEMOSAIC_MARGIN 16

/* Fills three planes of w x h from one Bayer mosaic of w x h.
 * mosaic: black subtracted, white balanced, so that a grey scene is one smooth surface; values
 * may be slightly negative. pattern: colour (0 R, 1 G, 2 B) of (row % 2) * 2 + col % 2.
 * Measured samples are kept as they are. Edges are mirrored. w, h >= 2. */
void dw_demosaic_full(const float *mosaic, int w, int h, const uint8_t pattern[4],
                      float *const rgb[3]);

#endif
