/* bodies.c: the sun and the moon seen from a place on the ground.
 *
 * Both go the same way: a geocentric apparent vector in the celestial frame, turned into the
 * Earth-fixed frame, the observer subtracted (parallax), then read off against the local vertical.
 * Source: IAU SOFA models through ERFA (epv00, moon98, pnm00b, gst00b). The 77-term nutation
 * 00b is good to 1 mas, a millionth of what we promise, and ten times faster than 06a. */
#include <daywheel/sky.h>

#include "sky/instant.h"

#include <erfa.h>
#include <erfam.h>
#include <math.h>

#define DEG (180 / 3.14159265358979323846)
#define LIGHT_MOON_DAY (1.282 / 86400) /* light time from the moon: 384,400 km */

/* The observer and the turning of the Earth at one instant. */
struct observer {
    double to_earth[3][3]; /* celestial (GCRS) to Earth-fixed axes */
    double place_au[3];    /* Earth-fixed */
    double lat, lon;       /* radians */
};

static enum dw_status set_observer(const struct dw_site *site, const struct dw_instant *t,
                                   struct observer *o)
{
    if (!(fabs(site->lat_deg) <= 90) || !(fabs(site->lon_deg) <= 360) || !isfinite(site->height_m))
        return DW_ERR_USAGE;
    o->lat = site->lat_deg / DEG;
    o->lon = site->lon_deg / DEG;
    if (eraGd2gc(ERFA_WGS84, o->lon, o->lat, site->height_m, o->place_au) != 0)
        return DW_ERR_USAGE;
    for (int i = 0; i < 3; i++)
        o->place_au[i] /= ERFA_DAU;
    eraPnm00b(t->day, t->tt, o->to_earth);
    eraRz(eraGst00b(t->day, t->ut1), o->to_earth);
    return DW_OK;
}

/* Direction of a body at `place` (au, geocentric, Earth-fixed axes), as the observer sees it;
 * *seen is the vector from the observer. Diurnal aberration (0.3") is added as v/c. */
static void look(const struct observer *o, const double place[3], double seen[3],
                 struct dw_horizontal *out)
{
    const double turn_per_day = 2 * 3.14159265358979323846 * 1.00273781191135448;
    const double light_au_per_day = 86400 / ERFA_AULT;
    double r = 0;
    for (int i = 0; i < 3; i++) {
        seen[i] = place[i] - o->place_au[i];
        r += seen[i] * seen[i];
    }
    r = sqrt(r);
    double x = seen[0] - r * turn_per_day * o->place_au[1] / light_au_per_day;
    double y = seen[1] + r * turn_per_day * o->place_au[0] / light_au_per_day;
    double z = seen[2];
    double sl = sin(o->lon), cl = cos(o->lon), sp = sin(o->lat), cp = cos(o->lat);
    double east = -sl * x + cl * y;
    double outward = cl * x + sl * y;
    double north = cp * z - sp * outward;
    double up = cp * outward + sp * z;
    out->alt_deg = atan2(up, hypot(east, north)) * DEG;
    double az = atan2(east, north) * DEG;
    out->az_deg = az < 0 ? az + 360 : az;
}

/* Apparent geocentric sun in celestial axes, au. The light time needs no step of its own: the sun
 * moves 7 km in it, so the geometric direction with aberration is the apparent one. */
static void apparent_sun(const struct dw_instant *t, double sun[3])
{
    double heliocentric[2][3], barycentric[2][3], direction[3], shifted[3], distance, v[3];
    /* the return value warns outside 1900..2100, which dw_instant_of excludes */
    (void)eraEpv00(t->day, t->tt, heliocentric, barycentric);
    double minus[3] = {-heliocentric[0][0], -heliocentric[0][1], -heliocentric[0][2]};
    eraPn(minus, &distance, direction);
    double v2 = 0;
    for (int i = 0; i < 3; i++) {
        v[i] = barycentric[1][i] * ERFA_AULT / 86400; /* au/day to units of light speed */
        v2 += v[i] * v[i];
    }
    eraAb(direction, v, distance, sqrt(1 - v2), shifted);
    for (int i = 0; i < 3; i++)
        sun[i] = distance * shifted[i];
}

enum dw_status dw_sun(const struct dw_site *site, double utc_s, struct dw_horizontal *out)
{
    struct dw_instant t;
    struct observer o;
    enum dw_status s = dw_instant_of(utc_s, &t);
    if (s < 0 || (s = set_observer(site, &t, &o)) < 0)
        return s;
    double sun[3], seen[3];
    apparent_sun(&t, sun);
    eraRxp(o.to_earth, sun, sun);
    look(&o, sun, seen, out);
    return t.warn;
}

enum dw_status dw_moon(const struct dw_site *site, double utc_s, struct dw_horizontal *out,
                       double *lit)
{
    struct dw_instant t;
    struct observer o;
    enum dw_status s = dw_instant_of(utc_s, &t);
    if (s < 0 || (s = set_observer(site, &t, &o)) < 0)
        return s;
    /* Earth and moon travel together, so of the planetary aberration only the moon's own motion
     * during the light time is left: its place 1.3 s earlier. */
    double moon[2][3], place[3], seen[3];
    eraMoon98(t.day, t.tt - LIGHT_MOON_DAY, moon);
    eraRxp(o.to_earth, moon[0], place);
    look(&o, place, seen, out);
    if (lit) {
        /* phase angle at the moon between observer and sun; k = (1 + cos i)/2 (Meeus, ch. 48) */
        double sun[3], from_moon_to_sun[3], cosine = 0, a = 0, b = 0;
        apparent_sun(&t, sun);
        eraRxp(o.to_earth, sun, sun);
        for (int i = 0; i < 3; i++) {
            from_moon_to_sun[i] = sun[i] - place[i];
            cosine -= from_moon_to_sun[i] * seen[i];
            a += from_moon_to_sun[i] * from_moon_to_sun[i];
            b += seen[i] * seen[i];
        }
        *lit = (1 + cosine / sqrt(a * b)) / 2;
    }
    return t.warn;
}

enum dw_status dw_sidereal(const struct dw_site *site, double utc_s, double *deg)
{
    struct dw_instant t;
    enum dw_status s = dw_instant_of(utc_s, &t);
    if (s < 0)
        return s;
    if (!(fabs(site->lon_deg) <= 360))
        return DW_ERR_USAGE;
    *deg = eraAnp(eraGst00b(t.day, t.ut1) + site->lon_deg / DEG) * DEG;
    return t.warn;
}
