/*
 * astro.c - see astro.h.
 */
#include "astro.h"

#include <erfa.h>
#include <erfam.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

static const double AU_PER_DAY_LIGHT = 173.1446326846693; /* c, au per day */

static void normalise(double v[3])
{
    double r = sqrt(v[0] * v[0] + v[1] * v[1] + v[2] * v[2]);
    for (int i = 0; i < 3; i++)
        v[i] /= r;
}

static void horizontal(const double enu[3], double *alt, double *az)
{
    *alt = asin(enu[2]);
    *az = atan2(enu[0], enu[1]);
    if (*az < 0)
        *az += 2 * M_PI;
}

int dwi_astro(double utc, double lat, double lon, double height, struct dwi_astro *out)
{
    double day = floor(utc / 86400), u1 = 2440587.5 + day, u2 = utc / 86400 - day;
    double tai1, tai2, tt1, tt2, pvh[2][3], pvb[2][3], npb[3][3], site[3];
    if (eraUtctai(u1, u2, &tai1, &tai2) < 0 || eraTaitt(tai1, tai2, &tt1, &tt2) < 0)
        return -1;
    if (eraEpv00(tt1, tt2, pvh, pvb) < 0)
        return -1;
    eraPnm06a(tt1, tt2, npb);
    double last = eraGst06(u1, u2, tt1, tt2, npb) + lon; /* local apparent sidereal time */
    if (eraGd2gc(1, 0, lat, height, site) < 0) /* longitude 0: frame of the local meridian */
        return -1;
    double st = sin(last), ct = cos(last), sp = sin(lat), cp = cos(lat);
    /* true equator to the local meridian (x towards it, y east), then to east, north, up */
    double local[3][3] = {{ct, st, 0}, {-st, ct, 0}, {0, 0, 1}};
    double enu[3][3] = {{0, 1, 0}, {-sp, 0, cp}, {cp, 0, sp}};
    double m[3][3];
    eraRxr(local, npb, m);
    eraRxr(enu, m, out->gcrs_to_enu);
    for (int i = 0; i < 3; i++)
        out->beta[i] = pvb[1][i] / AU_PER_DAY_LIGHT;

    double sun[3], moon[2][3], v[3], d_sun = 0, d_moon = 0, dot = 0;
    for (int i = 0; i < 3; i++) {
        sun[i] = -pvh[0][i];
        d_sun += sun[i] * sun[i];
    }
    d_sun = sqrt(d_sun);
    eraMoon98(tt1, tt2, moon);
    for (int i = 0; i < 3; i++) {
        dot += sun[i] * moon[0][i];
        d_moon += moon[0][i] * moon[0][i];
        sun[i] += d_sun * out->beta[i]; /* aberration, first order: neglects 0.002 arcsec */
    }
    d_moon = sqrt(d_moon);
    out->moon_elongation = acos(dot / (d_sun * d_moon));
    out->moon_parallax = asin(6378140.0 / (d_moon * ERFA_DAU));
    for (int body = 0; body < 2; body++) {
        eraRxp(m, body ? moon[0] : sun, v);
        for (int i = 0; i < 3; i++)
            v[i] -= site[i] / ERFA_DAU; /* seen from the site, not from the earth's centre */
        double *to = body ? out->moon : out->sun;
        eraRxp(enu, v, to);
        normalise(to);
    }
    horizontal(out->sun, &out->sun_alt, &out->sun_az);
    horizontal(out->moon, &out->moon_alt, &out->moon_az);
    return 0;
}

void dwi_astro_star(const struct dwi_astro *a, const double gcrs[3], double enu[3])
{
    double v[3];
    for (int i = 0; i < 3; i++)
        v[i] = gcrs[i] + a->beta[i];
    normalise(v);
    eraRxp((double(*)[3])a->gcrs_to_enu, v, enu);
}

void dwi_refract(double enu[3])
{
    double h = asin(enu[2]) * 180 / M_PI;
    if (h < -2)
        return;
    double r = 1.02 / tan((h + 10.3 / (h + 5.11)) * M_PI / 180) / 60; /* degrees */
    if (h < 0)
        r *= 1 + h / 2;
    double lifted = (h + r) * M_PI / 180, c = hypot(enu[0], enu[1]);
    if (c < 1e-12)
        return;
    enu[0] *= cos(lifted) / c;
    enu[1] *= cos(lifted) / c;
    enu[2] = sin(lifted);
}

int dwi_time_parse(const char *text, double *utc)
{
    int y, mo, d, h, mi, used = 0;
    double s, jd0, jd;
    if (sscanf(text, "%d-%d-%dT%d:%d:%lf%n", &y, &mo, &d, &h, &mi, &s, &used) != 6 ||
        (text[used] && strcmp(text + used, "Z")) || h < 0 || h > 23 || mi < 0 || mi > 59 || s < 0 ||
        s >= 60 || eraCal2jd(y, mo, d, &jd0, &jd) != 0)
        return -1;
    *utc = (jd - 40587.0) * 86400 + h * 3600 + mi * 60 + s;
    return 0;
}

void dwi_time_calendar(double utc, int out[6], double *fraction)
{
    double day = floor(utc / 86400), left = utc - day * 86400, fd;
    int sec = (int)floor(left);
    eraJd2cal(2440587.5, day, &out[0], &out[1], &out[2], &fd);
    out[3] = sec / 3600;
    out[4] = sec / 60 % 60;
    out[5] = sec % 60;
    *fraction = left - sec;
}
