/* tears.h: rows that a broken stream has torn. */
#ifndef DW_SHOT_TEARS_H
#define DW_SHOT_TEARS_H

#include <daywheel/shot.h>

/* What was found: rows torn, and at how many different places along the row. */
struct dw_tears {
    size_t rows, places;
};

/* Looks for the mark of a flipped bit in a stream of differences (lossless JPEG, ITU-T T.81
 * process 14, and the makers' relatives): from some place to the right end, one row is brighter or
 * darker than the rows of its colour above and below, by a constant. A scene can do that too
 * (a wire, the edge of a roof), but its wires end at one pole; bits flip anywhere. Finds nothing
 * in pictures of fewer than four blocks of 64 samples, and none without memory. */
struct dw_tears dw_find_tears(const struct dw_mosaic *m);

#endif
