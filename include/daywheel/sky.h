/* sky.h: pure angles. Where the sun stands and how far the sky has turned, for a place and an
 * instant. Angles are degrees here because people and documents speak in degrees. */
#ifndef DAYWHEEL_SKY_H
#define DAYWHEEL_SKY_H

#include <daywheel/base.h>

#include <stdbool.h>

#ifdef __cplusplus
extern "C" {
#endif

#define DW_SIDEREAL_DAY_S 86164.0905 /* mean sidereal day in SI seconds (IAU 1982) */

/* A place on the ground. */
struct dw_site {
    double lat_deg; /* geodetic, north positive, -90..90 */
    double lon_deg; /* east positive, -180..360 */
    double height_m;
};

/* Direction of a body seen from a site: no refraction, disc centre. */
struct dw_horizontal {
    double alt_deg; /* topocentric altitude */
    double az_deg;  /* north through east, 0..360 */
};

/* The sun's topocentric, unrefracted altitude and azimuth.
 * utc_s: Unix seconds (UTC), years 1972..2099. UT1-UTC is taken as 0 (at most 0.004 degrees).
 * Returns DW_OK; DW_WARN when the leap-second table is older than the date (answer still
 * good to the second); DW_ERR_USAGE outside the range of years or for a latitude beyond 90.
 * Accuracy 0.001 degrees (measured against three independent programs, see the tests).
 * Source: IAU SOFA routines by way of ERFA. */
enum dw_status dw_sun(const struct dw_site *site, double utc_s, struct dw_horizontal *out);

/* The moon likewise, with topocentric parallax; *lit (may be NULL) is the lit share of its disc. */
enum dw_status dw_moon(const struct dw_site *site, double utc_s, struct dw_horizontal *out,
                       double *lit);

/* Local apparent sidereal angle of the site, degrees 0..360, east longitude included. */
enum dw_status dw_sidereal(const struct dw_site *site, double utc_s, double *deg);

/* Clear-sky illuminance on the level ground from the sun, lux, for altitudes -18..90 degrees;
 * clamped below -18. Source: Explanatory Supplement to the Astronomical Almanac (1992),
 * ground-illumination polynomials; stated error 0.02 in log10. */
double dw_sun_illuminance_lx(double alt_deg);

/* What a moon gives of what the sun gives from the same altitude, at mean distance (which adds or
 * takes a tenth). lit: share of the disc; 0 for none. Source: the same. */
double dw_moon_beside_sun(double lit);

/* How a camera that stands still sees the sky. A pixel at distance r from the middle (cx, cy) shows
 * what lies theta from the axis: r = focal_px theta (1 + bend[0] theta^2 + bend[1] theta^4). Rays
 * are unit vectors x right, y down, z into the picture; pixels count from the first one's centre.
 * All of the sensor's own orientation. */
struct dw_aim {
    double focal_px; /* 0: the view is not known */
    double bend[2];
    double cx, cy;
    double pole[3]; /* ray to the celestial north pole */
    double
        meridian[3]; /* ray to the meridian's crossing with the celestial equator; normal to it */
    double lat_deg;  /* of the site */
};

/* The ray that a pixel shows; false beyond what the lens shows (there r no longer grows). */
bool dw_aim_ray(const struct dw_aim *v, double x, double y, double ray[3]);
/* The pixel that a ray falls on; false behind the camera or beyond what the lens shows. */
bool dw_aim_pixel(const struct dw_aim *v, const double ray[3], double *x, double *y);
/* The ray to an hour angle (from the meridian westwards) and declination. */
void dw_aim_towards(const struct dw_aim *v, double hour_deg, double dec_deg, double ray[3]);
/* Altitude of a ray above the horizon, as it is seen: the pole's own refraction aside. */
double dw_aim_altitude(const struct dw_aim *v, const double ray[3]);

/* Relative air mass: Kasten & Young 1989 (Applied Optics 28, 4735). Altitude in degrees, refracted;
 * below 0 that of the horizon, 37.9. */
double dw_air_mass(double alt_deg);
/* Magnitudes that one air mass takes of light of this wavelength (0.3 to 1 micrometres, ozone
 * aside) at this height above the sea: Rayleigh scattering after Hayes & Latham 1975
 * (Astrophysical Journal 197, 593) and aerosol 0.05 um^-1.3 exp(-h/1.5 km), as Green 1992
 * (International Comet Quarterly 14, 55) gives both for clear sites. */
double dw_extinction(double um, double height_m);

/* Where a camera's red, green and blue pixels see most, micrometres (common practice, no source).
 */
#define DW_RED_UM 0.60
#define DW_GREEN_UM 0.53
#define DW_BLUE_UM 0.46

/* The brightest stars, brightest first. */
struct dw_bright_star {
    double ra_hours, dec_deg;     /* ICRS, epoch J2000 */
    double pm_ra_mas, pm_dec_mas; /* proper motion a year; pm_ra times cos dec */
    double mag;
};
/* NULL beyond the last. Source: src/sky/bright.c. */
const struct dw_bright_star *dw_bright_star(int i);
/* Where the first n of them (fewer where the list ends) stood at an instant: apparent right
 * ascension and declination, degrees, so that hour angle = dw_sidereal - right ascension. ra_deg,
 * dec_deg: n each. Errors: DW_ERR_USAGE for a date outside 1972 to 2099. */
enum dw_status dw_bright_stars_at(double utc_s, int n, double *ra_deg, double *dec_deg);

#ifdef __cplusplus
}
#endif
#endif
