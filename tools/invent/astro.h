/*
 * astro.h - where sun, moon and stars stand, by the IAU routines of ERFA.
 *
 * Horizon frame: east, north, up. UT1 is taken as UTC (at most 0.9 s, 0.004 degrees).
 */
#ifndef DWI_ASTRO_H
#define DWI_ASTRO_H

struct dwi_astro {
    double gcrs_to_enu[3][3]; /* turns a celestial direction into the horizon frame */
    double beta[3];           /* earth's velocity over that of light, GCRS: aberration */
    double sun[3];            /* unit, topocentric, unrefracted */
    double sun_alt, sun_az;   /* radians, azimuth from north through east */
    double moon[3];
    double moon_alt, moon_az; /* radians */
    double moon_parallax;     /* horizontal parallax, radians */
    double moon_elongation;   /* from the sun as seen from the earth's centre, radians */
};

/**
 * Given: utc Unix seconds; latitude, longitude radians, geodetic, east positive; height metres.
 * Status: 0; -1 when the date is outside the leap-second table.
 * Accuracy: sun 0.0005 degrees against published examples (test_invent.c).
 */
int dwi_astro(double utc, double lat, double lon, double height, struct dwi_astro *out);

/** Star of date: GCRS unit vector to the horizon frame with aberration, no refraction. */
void dwi_astro_star(const struct dwi_astro *a, const double gcrs[3], double enu[3]);

/**
 * Lifts a direction by refraction, in place.
 * Saemundsson 1986: R = 1.02' cot(h + 10.3/(h + 5.11)) at 1010 mbar and 10 C, faded out below
 * -2 degrees (hidden by the ground anyway).
 */
void dwi_refract(double enu[3]);

/** Unix seconds of "YYYY-MM-DDThh:mm:ss[Z]". Status: 0; -1 unreadable. */
int dwi_time_parse(const char *text, double *utc);

/** Calendar of Unix seconds (proleptic Gregorian), in y, m, d, h, min, s order. */
void dwi_time_calendar(double utc, int out[6], double *fraction);

#endif
