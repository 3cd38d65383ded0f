/* test_sky.c: the sun, the moon and the turning of the sky against published and independent
 * values. */
#include "check_main.h"

#include <daywheel/sky.h>

#include <erfa.h>
#include <erfam.h>
#include <math.h>
#include <stdio.h>

#define DEG (180 / 3.14159265358979323846)

/* Unix seconds of a civil date, by ERFA's calendar. */
static double unix_time(int y, int mo, int d, int h, int mi, double s)
{
    double djm0, djm;
    ck_assert_int_eq(eraCal2jd(y, mo, d, &djm0, &djm), 0);
    return (djm - 40587) * 86400 + h * 3600 + mi * 60 + s;
}

/* Geometric topocentric altitude and azimuth: astropy 5 (get_sun to AltAz, UT1 = UTC, no
 * refraction), which the Solar Position Algorithm of NREL/TP-560-34302 and libastro confirm to
 * 0.0002 degrees in altitude. Near the zenith the azimuth is ill-conditioned and is not compared.
 */
static const struct row {
    const char *site;
    double lat, lon, height;
    int y, mo, d, h, mi, s;
    double alt, az;
} table[] = {
    {"Greenwich", 51.4779, -0.0015, 46, 2000, 1, 1, 12, 0, 0, 15.4838, 179.2142},
    {"Greenwich", 51.4779, -0.0015, 46, 2024, 3, 20, 3, 6, 0, -26.3057, 51.6152},
    {"Greenwich", 51.4779, -0.0015, 46, 2024, 3, 20, 12, 7, 0, 38.6686, 179.8996},
    {"Equator", 0, 0, 0, 2024, 3, 20, 12, 0, 0, 88.1668, 85.4154},
    {"Greenwich", 51.4779, -0.0015, 46, 2024, 6, 20, 12, 2, 0, 61.9587, 180.1406},
    {"Greenwich", 51.4779, -0.0015, 46, 2024, 6, 20, 3, 43, 0, -0.7930, 49.0046},
    {"Greenwich", 51.4779, -0.0015, 46, 2024, 6, 21, 0, 0, 0, -15.0852, 359.5678},
    {"Greenwich", 51.4779, -0.0015, 46, 2024, 12, 21, 16, 35, 0, -6.1926, 239.5926},
    {"Greenwich", 51.4779, -0.0015, 46, 2024, 12, 21, 17, 58, 0, -18.0703, 254.8134},
    {"Golden", 39.742476, -105.1786, 1830.14, 2024, 9, 22, 0, 58, 0, -0.7642, 270.8816},
    {"Golden", 39.742476, -105.1786, 1830.14, 2024, 9, 22, 1, 27, 0, -6.3350, 275.5350},
    {"Golden", 39.742476, -105.1786, 1830.14, 2024, 9, 22, 1, 59, 0, -12.4292, 280.7936},
    {"Golden", 39.742476, -105.1786, 1830.14, 2024, 9, 22, 2, 30, 0, -18.2301, 286.1282},
    {"Tromso", 69.6492, 18.9553, 10, 2024, 6, 21, 22, 42, 0, 3.0841, 359.0360},
    {"Tromso", 69.6492, 18.9553, 10, 2024, 12, 21, 10, 43, 0, -3.0901, 180.1278},
    {"Longyearbyen", 78.2232, 15.6267, 10, 2024, 6, 21, 10, 57, 0, 35.2112, 179.3247},
    {"Longyearbyen", 78.2232, 15.6267, 10, 2024, 12, 21, 10, 56, 0, -11.6640, 180.0557},
    {"Quito", -0.1807, -78.4678, 2850, 2024, 3, 20, 17, 21, 0, 89.5838, 3.9302},
    {"Sydney", -33.8688, 151.2093, 20, 2024, 12, 21, 2, 0, 0, 79.4646, 351.4982},
    {"Sydney", -33.8688, 151.2093, 20, 2024, 6, 20, 18, 58, 0, -24.5469, 77.2837},
    {"Ushuaia", -54.8019, -68.3030, 10, 2024, 6, 20, 16, 35, 0, 11.7577, 359.9904},
    {"McMurdo", -77.8419, 166.6863, 10, 2024, 12, 21, 12, 50, 0, 11.2781, 180.3656},
    {"Tokyo", 35.6762, 139.6503, 40, 2010, 5, 5, 9, 30, 0, -0.6714, 290.6938},
    {"CapeTown", -33.9249, 18.4241, 20, 2035, 7, 1, 16, 30, 0, -8.7125, 292.0158},
};

START_TEST(sun_stands_where_three_programs_put_it)
{
    const struct row *r = &table[_i];
    struct dw_site site = {r->lat, r->lon, r->height};
    struct dw_horizontal h;
    enum dw_status s = dw_sun(&site, unix_time(r->y, r->mo, r->d, r->h, r->mi, r->s), &h);
    ck_assert_msg(s == (r->y > 2026 ? DW_WARN : DW_OK), "%s %d: status %d", r->site, r->y, s);
    ck_assert_msg(fabs(h.alt_deg - r->alt) <= 0.001, "%s: altitude %.5f, expected %.4f", r->site,
                  h.alt_deg, r->alt);
    double off = remainder(h.az_deg - r->az, 360);
    ck_assert_msg(r->alt > 85 || fabs(off) <= 0.001, "%s: azimuth %.5f, expected %.4f", r->site,
                  h.az_deg, r->az);
    ck_assert(h.az_deg >= 0 && h.az_deg < 360);
}
END_TEST

/* Reda & Andreas, NREL/TP-560-34302 (2008), appendix: zenith without refraction 90 - 39.872046,
 * azimuth 194.340241. Its example takes TT-UT1 = 67 s where 64.2 s was true: 0.00003 degrees. */
START_TEST(sun_of_the_published_worked_example)
{
    struct dw_site golden = {39.742476, -105.1786, 1830.14};
    struct dw_horizontal h;
    ck_assert_int_eq(dw_sun(&golden, unix_time(2003, 10, 17, 19, 30, 30), &h), DW_OK);
    ck_assert_double_eq_tol(h.alt_deg, 39.872046, 0.0003);
    ck_assert_double_eq_tol(h.az_deg, 194.340241, 0.0003);
}
END_TEST

/* Evening times at which the sun's centre crosses a limit, to 0.1 s (astropy, UT1 = UTC). */
START_TEST(sun_crosses_the_limits_of_twilight_on_time)
{
    static const double limit[5] = {0, -0.8333, -6, -12, -18};
    static const struct {
        double lat, lon;
        int y, mo, d;
        double t[5]; /* hh * 10000 + mm * 100 + ss.s */
    } rows[] = {
        {51.4779, -0.0015, 2024, 3, 20, {180828.0, 181349.5, 184710.7, 192638.8, 200748.6}},
        {39.742476, -105.1786, 2024, 9, 22, {5401.7, 5821.6, 12515.1, 15643.9, 22845.4}},
        {-33.8688, 151.2093, 2024, 12, 21, {90102.7, 90538.0, 93448.1, 101042.3, 105002.3}},
        {69.6492, 18.9553, 2024, 9, 22, {163556.0, 164529.4, 174538.2, 190203.6, 204417.4}},
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++)
        for (int k = 0; k < 5; k++) {
            struct dw_site site = {rows[i].lat, rows[i].lon, 0};
            struct dw_horizontal h;
            double t = rows[i].t[k];
            int hh = (int)(t / 10000), mm = (int)(t / 100) % 100;
            double utc =
                unix_time(rows[i].y, rows[i].mo, rows[i].d, hh, mm, t - hh * 10000 - mm * 100);
            ck_assert_int_eq(dw_sun(&site, utc, &h), DW_OK);
            ck_assert_double_eq_tol(h.alt_deg, limit[k], 0.001);
        }
}
END_TEST

/* Meeus, Astronomical Algorithms, example 47.a (from memory): 1992 April 12, 0h TD, apparent
 * declination +13.768368, distance 368409.7 km; example 48.a: lit share 0.6786. At the pole the
 * altitude is the declination less the parallax, whatever the hour. TD - UTC was 58.184 s. */
START_TEST(moon_of_the_published_example_with_its_parallax)
{
    struct dw_site pole = {90, 0, 0};
    struct dw_horizontal h;
    double lit, utc = unix_time(1992, 4, 12, 0, 0, 0) - 58.184;
    ck_assert_int_eq(dw_moon(&pole, utc, &h, &lit), DW_OK);
    double dec = 13.768368 / DEG, z = 6356.752 / 368409.7; /* polar radius, WGS 84 */
    double expected = atan2(sin(dec) - z, cos(dec)) * DEG;
    ck_assert_double_eq_tol(h.alt_deg, expected, 0.004);
    ck_assert_double_eq_tol(lit, 0.6786, 0.002);
    ck_assert(13.768368 - h.alt_deg > 0.8); /* the parallax is there */
}
END_TEST

/* The same example's apparent right ascension 134.688470: on the meridian when the sidereal angle
 * equals it, due south from a northern site; an hour later it has gone west. */
START_TEST(moon_culminates_when_the_sky_says_so)
{
    struct dw_site site = {47, 8, 400};
    double utc = unix_time(1992, 4, 12, 0, 0, 0) - 58.184, sidereal;
    ck_assert_int_eq(dw_sidereal(&site, utc, &sidereal), DW_OK);
    site.lon_deg += remainder(134.688470 - sidereal, 360);
    site.lon_deg = remainder(site.lon_deg, 360);
    struct dw_horizontal h;
    ck_assert_int_eq(dw_moon(&site, utc, &h, NULL), DW_OK);
    ck_assert_double_eq_tol(h.az_deg, 180, 0.01);
    ck_assert_int_eq(dw_moon(&site, utc + 3600, &h, NULL), DW_OK);
    ck_assert(h.az_deg > 185 && h.az_deg < 230);
}
END_TEST

/* Total eclipse of 2024-04-08 seen from Mazatlan (23.25 N, 106.41 W): greatest eclipse about
 * 18:09 UTC (public circumstances, NASA). Sun and moon, each from its own theory, coincide. */
START_TEST(sun_and_moon_meet_in_an_eclipse)
{
    struct dw_site site = {23.25, -106.41, 0};
    struct dw_horizontal sun, moon;
    double lit, utc = unix_time(2024, 4, 8, 18, 9, 30);
    ck_assert_int_eq(dw_sun(&site, utc, &sun), DW_OK);
    ck_assert_int_eq(dw_moon(&site, utc, &moon, &lit), DW_OK);
    double off =
        hypot(sun.alt_deg - moon.alt_deg, (sun.az_deg - moon.az_deg) * cos(sun.alt_deg / DEG));
    ck_assert_msg(off < 0.03, "%.4f degrees apart", off);
    ck_assert(lit < 0.001);
}
END_TEST

/* Meeus, Astronomical Algorithms, ex. 12.a: 1987 April 10, 0h UT: apparent sidereal time at
 * Greenwich 13h10m46.1351s (IAU 1980 nutation; the models differ by milliseconds). */
START_TEST(sidereal_angle_of_the_published_example)
{
    struct dw_site greenwich = {51.48, 0, 0}, east = {0, 15, 0};
    double deg, deg_east;
    ck_assert_int_eq(dw_sidereal(&greenwich, unix_time(1987, 4, 10, 0, 0, 0), &deg), DW_OK);
    ck_assert_double_eq_tol(deg, (13 + 10 / 60. + 46.1351 / 3600) * 15, 0.0002);
    ck_assert_int_eq(dw_sidereal(&east, unix_time(1987, 4, 10, 0, 0, 0), &deg_east), DW_OK);
    ck_assert_double_eq_tol(deg_east - deg, 15, 1e-9);
    /* eraGst06a(2400000.5, 53736, 2400000.5, 53736) = 1.754166137675019159 (ERFA's own tests) */
    ck_assert_int_eq(dw_sidereal(&greenwich, unix_time(2006, 1, 1, 0, 0, 0), &deg), DW_OK);
    ck_assert_double_eq_tol(deg / DEG, 1.754166137675019159, 2e-8);
}
END_TEST

/* IAU 1982: the sky is back after 86164.0905 s; nutation moves it by a few hundredths of a second
 * of arc a day. A solar day misses by 0.986 degrees. */
START_TEST(a_sidereal_day_closes_and_a_solar_day_does_not)
{
    struct dw_site site = {46.4, 8.1, 1400};
    double t = unix_time(2025, 3, 28, 22, 0, 0), a, b;
    ck_assert_int_eq(dw_sidereal(&site, t, &a), DW_OK);
    ck_assert_int_eq(dw_sidereal(&site, t + DW_SIDEREAL_DAY_S, &b), DW_OK);
    ck_assert_double_eq_tol(remainder(b - a, 360), 0, 0.2 / 3600);
    ck_assert_int_eq(dw_sidereal(&site, t + 86400, &b), DW_OK);
    ck_assert_double_eq_tol(remainder(b - a, 360), 3548.3 / 3600, 0.2 / 3600);
}
END_TEST

START_TEST(nothing_jumps_across_a_leap_second)
{
    struct dw_site site = {46.4, 8.1, 1400};
    struct dw_horizontal a, b;
    double midnight = unix_time(2017, 1, 1, 0, 0, 0); /* TAI-UTC went from 36 s to 37 s */
    ck_assert_int_eq(dw_sun(&site, midnight - 0.5, &a), DW_OK);
    ck_assert_int_eq(dw_sun(&site, midnight + 0.5, &b), DW_OK);
    ck_assert(fabs(a.alt_deg - b.alt_deg) < 0.0045);
}
END_TEST

START_TEST(senseless_questions_are_refused)
{
    struct dw_site site = {46.4, 8.1, 1400};
    struct dw_horizontal h;
    double deg;
    ck_assert_int_eq(dw_sun(&site, unix_time(1971, 12, 31, 23, 0, 0), &h), DW_ERR_USAGE);
    ck_assert_int_eq(dw_sun(&site, unix_time(2100, 1, 1, 0, 0, 0), &h), DW_ERR_USAGE);
    ck_assert_int_eq(dw_sun(&site, NAN, &h), DW_ERR_USAGE);
    ck_assert_int_eq(dw_sun(&site, INFINITY, &h), DW_ERR_USAGE);
    ck_assert_int_eq(dw_sun(&site, unix_time(2099, 12, 31, 0, 0, 0), &h), DW_WARN);
    site.lat_deg = 90.001;
    ck_assert_int_eq(dw_sun(&site, 1.7e9, &h), DW_ERR_USAGE);
    ck_assert_int_eq(dw_moon(&site, 1.7e9, &h, NULL), DW_ERR_USAGE);
    site = (struct dw_site){0, NAN, 0};
    ck_assert_int_eq(dw_sun(&site, 1.7e9, &h), DW_ERR_USAGE);
    ck_assert_int_eq(dw_sidereal(&site, 1.7e9, &deg), DW_ERR_USAGE);
}
END_TEST

/* Explanatory Supplement to the Astronomical Almanac (1992), ground illumination: values of its
 * polynomials; and the Glossary of Meteorology (AMS): 585-410 lx at sunset, 3.5-2 lx at -6,
 * 0.008 lx at -12, 0.0006 lx at -18 degrees. */
START_TEST(illuminance_follows_the_published_tables)
{
    static const double v[][2] = {
        {90, 128820},   {60, 103120},   {45, 77848},    {30, 46297},    {20, 27318},
        {10, 11121},    {5, 4499},      {2, 1921},      {0, 758.6},     {-0.8333, 453.5},
        {-2, 189.4},    {-4, 29.94},    {-5, 10.41},    {-6, 3.412},    {-8, 0.3481},
        {-10, 0.04211}, {-12, 0.00814}, {-14, 0.00292}, {-16, 0.00144}, {-18, 0.000645}};
    for (size_t i = 0; i < sizeof v / sizeof *v; i++) {
        double e = dw_sun_illuminance_lx(v[i][0]);
        /* branches meet within 0.02 in log10, which covers values quoted exactly at a joint */
        bool joint = v[i][0] == 20 || v[i][0] == 5 || v[i][0] == -5 || v[i][0] == -12;
        ck_assert_msg(fabs(log10(e / v[i][1])) < (joint ? 0.02 : 0.001),
                      "%g degrees: %g lx, expected %g", v[i][0], e, v[i][1]);
    }
    ck_assert_double_eq_tol(log10(dw_sun_illuminance_lx(-12) / 0.008), 0, 0.02);
    ck_assert(dw_sun_illuminance_lx(-6) > 2 && dw_sun_illuminance_lx(-6) < 3.5);
    ck_assert_double_eq(dw_sun_illuminance_lx(-40), dw_sun_illuminance_lx(-18));
    ck_assert(isnan(dw_sun_illuminance_lx(NAN)));
}
END_TEST

START_TEST(illuminance_only_falls_as_the_sun_goes_down)
{
    double last = dw_sun_illuminance_lx(90);
    for (double alt = 89.9; alt > -18; alt -= 0.1) {
        double e = dw_sun_illuminance_lx(alt);
        ck_assert_msg(log10(e) < log10(last) + 0.02, "%g degrees", alt);
        last = e;
    }
}
END_TEST

/* Full moon: Explanatory Supplement (1992), ground illumination, as computed from its polynomials.
 * Phases: magnitudes -12.73 + 0.026 a + 4e-9 a^4 for a degrees from full (Krisciunas & Schaefer
 * 1991, PASP 103, 1033; from memory). */
START_TEST(moonlight_follows_the_published_figures)
{
    static const double full[][2] = {{90, 0.269}, {60, 0.216}, {30, 0.098}, {10, 0.024}};
    for (size_t i = 0; i < sizeof full / sizeof *full; i++)
        ck_assert_double_eq_tol(
            dw_sun_illuminance_lx(full[i][0]) * dw_moon_beside_sun(1) / full[i][1], 1, 0.1);
    for (double a = 0; a <= 150; a += 30) {
        double lit = 0.5 * (1 + cos(a * M_PI / 180)), magnitudes = 0.026 * a + 4e-9 * pow(a, 4);
        double stops = log2(dw_moon_beside_sun(lit) / dw_moon_beside_sun(1));
        ck_assert_double_eq_tol(stops, -magnitudes * log2(10) / 2.5, 0.5);
    }
    ck_assert_double_eq(dw_moon_beside_sun(0), 0);
    ck_assert_double_eq(dw_moon_beside_sun(NAN), 0);
}
END_TEST

/* Bemporad's air masses as Allen, Astrophysical Quantities, gives them (from memory): zenith
 * distances of 0, 30, 60, 75, 80, 85 degrees. Kasten & Young differ by less than 1 %. */
START_TEST(air_mass_follows_the_tables)
{
    static const double table_of[6][2] = {{90, 1},     {60, 1.154}, {30, 1.995},
                                          {15, 3.816}, {10, 5.60},  {5, 10.39}};
    for (int i = 0; i < 6; i++)
        ck_assert_double_eq_tol(dw_air_mass(table_of[i][0]) / table_of[i][1], 1, 0.01);
    ck_assert_double_eq_tol(dw_air_mass(0), 37.92, 0.1); /* Kasten & Young 1989; from memory */
    ck_assert_double_eq_tol(dw_air_mass(-3), dw_air_mass(0), 1e-12);
}
END_TEST

/* Green 1992 (ICQ 14, 55): at 0.51 um Rayleigh scattering takes 0.1451 magnitudes an air mass at
 * the sea, with a scale height of 7.996 km, aerosol 0.120 with one of 1.5 km (from memory). */
START_TEST(extinction_follows_the_published_coefficients)
{
    for (double h = 0; h <= 4000; h += 500)
        ck_assert_double_eq_tol(dw_extinction(0.51, h),
                                0.1451 * exp(-h / 7996) + 0.120 * exp(-h / 1500), 5e-4);
    ck_assert(dw_extinction(0.45, 0) > dw_extinction(0.55, 0));
}
END_TEST

/* Hour angle and declination, turned to the horizon, are where ERFA's whole chain has a star. */
START_TEST(bright_stars_stand_where_erfa_has_them)
{
    struct dw_site site = {46.4, 8.1, 0};
    double utc = unix_time(2025, 3, 28, 22, 0, 0), sidereal, faintest = -2;
    ck_assert_int_ge(dw_sidereal(&site, utc, &sidereal), 0);
    enum { MOST = 200 };
    double ras[MOST], decs[MOST];
    int n = 0;
    ck_assert_int_ge(dw_bright_stars_at(utc, MOST, ras, decs), 0);
    for (; dw_bright_star(n); n++) {
        const struct dw_bright_star *b = dw_bright_star(n);
        ck_assert_int_lt(n, MOST);
        double ra = ras[n], dec = decs[n], mas = ERFA_DMAS2R, ri, di;
        double az, zd, hob, dob, rob, eo, cosine = cos(b->dec_deg / DEG);
        ck_assert(b->mag >= faintest); /* brightest first */
        faintest = b->mag;
        eraAtco13(b->ra_hours * 15 / DEG, b->dec_deg / DEG, b->pm_ra_mas / 3.6e6 / DEG / cosine,
                  b->pm_dec_mas / 3.6e6 / DEG, 0, 0, 2440587.5, utc / 86400, 0, site.lon_deg / DEG,
                  site.lat_deg / DEG, 0, 0, 0, 0, 0, 0, 0.55, &az, &zd, &hob, &dob, &rob, &eo);
        /* each as if it were asked for alone */
        eraAtci13(b->ra_hours * 15 / DEG, b->dec_deg / DEG, b->pm_ra_mas * mas / cosine,
                  b->pm_dec_mas * mas, 0, 0, 2440587.5, utc / 86400 + 69.184 / 86400, &ri, &di,
                  &eo);
        ck_assert_double_eq_tol(ra, eraAnp(ri - eo) * DEG, 1e-9);
        ck_assert_double_eq_tol(dec, di * DEG, 1e-9);
        double h = (sidereal - ra) / DEG, d = dec / DEG, lat = site.lat_deg / DEG;
        double alt = asin(sin(lat) * sin(d) + cos(lat) * cos(d) * cos(h)) * DEG;
        ck_assert_double_eq_tol(alt, 90 - zd * DEG, 0.001); /* diurnal aberration is not in it */
    }
    ck_assert_int_gt(n, 70);
    /* Vega at J2000: 18 36 56.3, +38 47 01 (from memory) */
    bool vega = false;
    for (int i = 0; i < n; i++)
        vega = vega || (fabs(dw_bright_star(i)->ra_hours - 18.61565) < 1e-4 &&
                        fabs(dw_bright_star(i)->dec_deg - 38.7836) < 1e-3);
    ck_assert(vega);
}
END_TEST

int main(void)
{
    Suite *s = suite_create("sky");
    TCase *t = tcase_create("sky");
    tcase_add_loop_test(t, sun_stands_where_three_programs_put_it, 0,
                        (int)(sizeof table / sizeof *table));
    tcase_add_test(t, sun_of_the_published_worked_example);
    tcase_add_test(t, sun_crosses_the_limits_of_twilight_on_time);
    tcase_add_test(t, moon_of_the_published_example_with_its_parallax);
    tcase_add_test(t, moon_culminates_when_the_sky_says_so);
    tcase_add_test(t, sun_and_moon_meet_in_an_eclipse);
    tcase_add_test(t, sidereal_angle_of_the_published_example);
    tcase_add_test(t, a_sidereal_day_closes_and_a_solar_day_does_not);
    tcase_add_test(t, nothing_jumps_across_a_leap_second);
    tcase_add_test(t, senseless_questions_are_refused);
    tcase_add_test(t, illuminance_follows_the_published_tables);
    tcase_add_test(t, illuminance_only_falls_as_the_sun_goes_down);
    tcase_add_test(t, moonlight_follows_the_published_figures);
    tcase_add_test(t, air_mass_follows_the_tables);
    tcase_add_test(t, extinction_follows_the_published_coefficients);
    tcase_add_test(t, bright_stars_stand_where_erfa_has_them);
    suite_add_tcase(s, t);
    return dw_check_main(s);
}
