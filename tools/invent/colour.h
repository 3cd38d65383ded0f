/*
 * colour.h - colour of lights and surfaces, and what the invented camera makes of them.
 *
 * Light is carried in linear sRGB primaries (signed, not limited), scaled so that the luminance
 * 0.2126 R + 0.7152 G + 0.0722 B is in cd/m2 (or lux for light that falls on something).
 */
#ifndef DWI_COLOUR_H
#define DWI_COLOUR_H

/** XYZ to camera (the DNG ColorMatrix1, D65); D65 of Y = 1 gives green 1.021. */
extern const double dwi_color_matrix[3][3];

/** D65 white (Y = 1) in camera values; its reciprocal are the daylight multipliers. */
void dwi_camera_neutral(double out[3]);

/** Linear sRGB light to camera values, of the same scale. */
void dwi_camera_rgb(const double rgb[3], double out[3]);

/** Linear sRGB of unit luminance with CIE 1931 chromaticity x, y. */
void dwi_rgb_of_xy(double x, double y, double out[3]);

/** XYZ to linear sRGB and to camera. */
void dwi_rgb_of_xyz(const double xyz[3], double out[3]);
void dwi_camera_of_xyz(const double xyz[3], double out[3]);

/** Black body of temperature T (1667 to 25000 K), unit luminance. Kim et al. 2002. */
void dwi_rgb_of_kelvin(double kelvin, double out[3]);

/** Star temperature from B-V. Ballesteros 2012, EPL 97, 34008. */
double dwi_kelvin_of_bv(double b_v);

/** Sunlight of unit luminance after m air masses: reddens. */
void dwi_rgb_of_sun(double air_mass, double out[3]);

#endif
