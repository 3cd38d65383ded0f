/* primaries.h: the RGB colour spaces that light and pictures are expressed in; white is D65. */
#ifndef DW_BASE_PRIMARIES_H
#define DW_BASE_PRIMARIES_H

/* Chromaticities of red, green and blue: x, y. */
struct dw_primaries {
    double xy[3][2];
};

extern const struct dw_primaries dw_primaries_srgb; /* IEC 61966-2-1 */
extern const struct dw_primaries dw_primaries_p3;   /* SMPTE EG 432-1, white D65 (Display P3) */
extern const struct dw_primaries
    dw_primaries_bt2020; /* ITU-R BT.2020; all light is carried in it */

#define DW_D65_X 0.3127 /* CIE 15 */
#define DW_D65_Y 0.3290

/* XYZ of D65, Y = 1. */
void dw_d65_xyz(double xyz[3]);

/* Linear RGB to CIE XYZ with Y of white = 1; the second row is the primaries' luminance. */
void dw_primaries_to_xyz(const struct dw_primaries *p, double m[9]);

#endif
