/* shade.h: the lens' shading of one shot brought to what all shots have in common. */
#ifndef DW_RENDER_SHADE_H
#define DW_RENDER_SHADE_H

#include <daywheel/render.h>

#define DW_MOST_SHADE 8.0 /* stops, of either part */

static inline bool dw_shade_idle(const struct dw_source *s)
{
    return s->shade[0] == 0 && s->shade[1] == 0;
}
/* Lifts row y of `height` in place, `width` pixels that span the whole mosaic, by
 * 2^(shade[0] r^2 + shade[1] r^4), r = 1 in the mosaic's corners. */
void dw_shade_row(const struct dw_source *source, int y, int width, int height,
                  float *const rgb[3]);

#endif
