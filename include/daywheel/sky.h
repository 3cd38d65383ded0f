/* sky.h: pure angles. Where the sun stands and how far the sky has turned, for a place and an
 * instant. Angles are degrees here because people and documents speak in degrees. */
#ifndef DAYWHEEL_SKY_H
#define DAYWHEEL_SKY_H

#include <daywheel/base.h>

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

#ifdef __cplusplus
}
#endif
#endif
