/*
 * sky.h - luminance and colour of the clear sky by day, through twilight and at night.
 *
 * The whole sky gives exactly the illuminance of light.c on level ground; where on the sky that
 * light stands, and in which colour, is a smooth function of the sun's altitude.
 */
#ifndef DWI_SKY_H
#define DWI_SKY_H

#include "astro.h"
#include "params.h"

struct dwi_sky {
    const struct dwi_params *p;
    struct dwi_astro a;
    double sun_alt_deg;
    double sun_lux, sun_normal_lux; /* on level ground, sun and sky; direct, facing the sun */
    double moon_lux, moon_normal_lux;
    double axis_az; /* azimuth of the optical axis, radians */
    double day, dusk, glow_amount, glow_height, glow_power;            /* weights and shape */
    double scale_day, scale_dusk, scale_moon, scale_night, scale_town; /* cd/m2 per unit pattern */
    double day_light[3]; /* where the day pattern's light comes from (sun, not below 1 degree) */
    double sky_rgb[3];   /* illuminance of the sky on level ground, linear sRGB, lux */
    double sun_rgb[3];   /* direct sun facing it */
    double moon_rgb[3];
    double to_gcrs[3][3]; /* horizon frame to celestial, for the Milky Way */
};

/** Prepares the sky of one instant. axis_az in radians, north through east. */
void dwi_sky_at_time(struct dwi_sky *s, const struct dwi_params *p, const struct dwi_astro *a,
                     double axis_az);

/** Sky light from a unit direction (east, north, up; up > -0.05), linear sRGB cd/m2. */
void dwi_sky_radiance(const struct dwi_sky *s, const double dir[3], double rgb[3]);

#endif
