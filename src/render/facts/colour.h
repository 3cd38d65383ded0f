/* colour.h: the colour spaces of finished pictures. */
#ifndef DW_RENDER_COLOUR_H
#define DW_RENDER_COLOUR_H

#include <daywheel/render.h>

#include "base/primaries.h"

/* Its primaries. */
const struct dw_primaries *dw_space_primaries(enum dw_space space);

/* Linear RGB of a space to CIE XYZ with Y of white = 1, white D65. */
void dw_space_to_xyz(enum dw_space space, double m[9]);

/* Linear BT.2020, in which all light is carried, to linear RGB of a space. */
void dw_wide_to_space(enum dw_space space, double m[9]);

/* Linear RGB of a space to the cones of Oklab, white to 1, 1, 1, and back. A colour and greys whose
 * cube roots of cones differ by the same in parts, (l', m', s') - grey, are of one hue. */
void dw_space_to_cones(enum dw_space space, float to[9], float from[9]);

/* The luminance of BT.2020's primaries. */
#define DW_WIDE_LUMA                                                                               \
    {                                                                                              \
        0.262700212f, 0.677998072f, 0.0593017165f                                                  \
    }

#endif
