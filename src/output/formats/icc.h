/* icc.h: the colour profiles that stand in the pictures. */
#ifndef DW_OUTPUT_ICC_H
#define DW_OUTPUT_ICC_H

#include <daywheel/base.h>
#include <daywheel/render.h>

/* Makes the profile of an output space: primaries of sRGB (IEC 61966-2-1), Display P3
 * (SMPTE EG 432-1 primaries with D65) or Rec. 2020 (ITU-R BT.2020), each with white D65 and the
 * sRGB curve as a parametric type. *data is malloc'd. The bytes are the same in every run.
 * Errors: DW_ERR_MEMORY, DW_ERR_USAGE (unknown space). */
enum dw_status dw_icc_profile(enum dw_space space, unsigned char **data, size_t *n,
                              struct dw_error *err);

#endif
