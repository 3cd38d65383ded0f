/* wider.h: colours of a map's tiles from what was gathered in each; tiles without any take theirs
 * from ever wider surroundings. */
#ifndef DW_RENDER_WIDER_H
#define DW_RENDER_WIDER_H

#include <stddef.h>

/* Weighted light, and its weights' sum. */
struct dw_sums {
    float weight, rgb[3];
};

/* How many sums such a map needs: its tiles, row by row, and behind them work space. */
size_t dw_wider_room(int cols, int rows);
/* In place: the tiles' rgb become colours, the largest channel 1 and none far below. A map without
 * any light is neutral: white. lean: weight of wider
 * surroundings beside a tile's own light; the less there is of that, the more it takes theirs. */
void dw_wider_colours(struct dw_sums *map, int cols, int rows, float lean);

#endif
