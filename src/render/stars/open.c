/* open.c: see open.h. */
#include "render/stars/open.h"

#include <math.h>

bool dw_open_at(const struct dw_facts *facts, double x, double y)
{
    double u = floor((x + 0.5) * DW_OPEN_COLS / facts->mosaic_width);
    double v = floor((y + 0.5) * DW_OPEN_ROWS / facts->mosaic_height);
    return u >= 0 && v >= 0 && u < DW_OPEN_COLS && v < DW_OPEN_ROWS && facts->open[(int)v][(int)u];
}
