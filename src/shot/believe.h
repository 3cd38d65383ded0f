/* believe.h: whether decoded pixels can come from a sensor. */
#ifndef DW_SHOT_BELIEVE_H
#define DW_SHOT_BELIEVE_H

#include <daywheel/shot.h>

/* Judges a decoded frame. Returns true when it may be a picture; otherwise false with the reason in
 * `why` (no file name). Dark, clipped and flat frames are pictures; see believe.c for the rules.
 * Time: about 3 % of decoding the same frame from lossless JPEG. */
bool dw_believe(const struct dw_mosaic *m, char *why, size_t why_size);

#endif
