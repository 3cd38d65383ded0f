/* open.h: where a picture shows open sky, by what the shoot has told. */
#ifndef DW_RENDER_OPEN_H
#define DW_RENDER_OPEN_H

#include <daywheel/decide.h>

/* Whether stars were seen about this place, mosaic pixels (0, 0 is the middle of the first). False
 * outside the mosaic. */
bool dw_open_at(const struct dw_facts *facts, double x, double y);

#endif
