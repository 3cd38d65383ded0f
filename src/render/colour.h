/* colour.h: the colour spaces of finished pictures. */
#ifndef DW_RENDER_COLOUR_H
#define DW_RENDER_COLOUR_H

#include <daywheel/render.h>

/* Linear RGB of a space to CIE XYZ with Y of white = 1, white D65 (x .3127, y .3290).
 * Primaries: IEC 61966-2-1 (sRGB), SMPTE EG 432-1 (P3, with D65 as Display P3 has it),
 * ITU-R BT.2020. */
void dw_space_to_xyz(enum dw_space space, double m[9]);

/* Linear BT.2020, in which all light is carried, to linear RGB of a space. */
void dw_wide_to_space(enum dw_space space, double m[9]);

/* The luminance of BT.2020's primaries. */
#define DW_WIDE_LUMA {0.262700212f, 0.677998072f, 0.0593017165f}

#endif
