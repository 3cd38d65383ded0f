/*
 * light.h - how much light falls on level ground.
 */
#ifndef DWI_LIGHT_H
#define DWI_LIGHT_H

/**
 * Illuminance by the polynomials themselves, lux; x = altitude/90, log10 E cubic in x.
 * Explanatory Supplement to the Astronomical Almanac (Seidelmann 1992), ground illumination.
 * Stated error 0.01 to 0.02 in log10; the branches differ by up to 0.005 where they meet.
 */
double dwi_sun_polynomial(double altitude_deg);
double dwi_moon_polynomial(double altitude_deg, double elongation_rad, double parallax_rad);

/**
 * The same for the sun as one curve with two continuous derivatives: a cubic spline in log10
 * through the polynomials, because steps of the formula are not steps of the light. Below -18
 * degrees it goes on falling; the floor of night is added elsewhere. Init before any thread.
 */
void dwi_light_init(void);
double dwi_sun_lux(double altitude_deg);

/** Moon on level ground, smoothly to nothing between 0.5 and -3 degrees; facing the moon. */
double dwi_moon_lux(double altitude_deg, double elongation_rad, double parallax_rad);
double dwi_moon_direct_normal(double altitude_deg, double elongation_rad, double parallax_rad);

/**
 * Direct sunlight on a surface facing the sun, lux: 122000 exp(-0.26 m), m the air mass of
 * Kasten & Young 1989; at most 0.79 of what falls on level ground; goes with the disc.
 */
double dwi_sun_direct_normal(double altitude_deg);
double dwi_air_mass(double altitude_deg);

/** 0 below a, 1 above b, two continuous derivatives. */
double dwi_step(double x, double a, double b);

#endif
