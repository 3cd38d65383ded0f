/* colour.h: from a camera's colour matrix to balanced, wide-gamut light. */
#ifndef DW_DECIDE_COLOUR_H
#define DW_DECIDE_COLOUR_H

#include <stdbool.h>

/* Camera multipliers that make `white` (XYZ) neutral, green = 1. cam_xyz: XYZ to camera.
 * False when the matrix sees no light of some colour. Source: DNG specification 1.4, chapter 6. */
bool dw_camera_balance(const double cam_xyz[9], const double white[3], double mul[3]);
/* Balanced camera RGB to linear RGB with the given primaries (RGB to XYZ, whose white is
 * `white`), rows summing to 1 so that neutral stays neutral. False for a singular matrix. */
bool dw_camera_to_rgb(const double cam_xyz[9], const double rgb_to_xyz[9], double out[9]);

#endif
