/*
 * test_invent.c - the invented-shoot generator against published values and against itself.
 */
#include "check_main.h"

#include "astro.h"
#include "dng.h"
#include "exposure.h"
#include "fault.h"
#include "frame.h"
#include "ghost.h"
#include "lens.h"
#include "light.h"
#include "ljpeg.h"
#include "optics.h"
#include "params.h"
#include "rng.h"
#include "run.h"
#include "sensor.h"
#include "shot.h"
#include "sky.h"
#include "stars.h"
#include "truth.h"

#include <dirent.h>
#include <libraw/libraw.h>
#include <math.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

static const double DEG = M_PI / 180;

static char folder[64];

static void setup(void)
{
    dwi_rng_init();
    dwi_light_init();
    strcpy(folder, "/tmp/dw-test-invent-XXXXXX");
    ck_assert_ptr_nonnull(mkdtemp(folder));
}

static void empty(const char *path)
{
    DIR *d = opendir(path);
    struct dirent *e;
    while (d && (e = readdir(d))) {
        char name[700];
        if (!strcmp(e->d_name, ".") || !strcmp(e->d_name, ".."))
            continue;
        snprintf(name, sizeof name, "%s/%s", path, e->d_name);
        if (e->d_type == DT_DIR)
            empty(name);
        else
            unlink(name);
    }
    if (d)
        closedir(d);
    rmdir(path);
}

static void teardown(void)
{
    empty(folder);
}

/* Explanatory Supplement to the Astronomical Almanac (Seidelmann 1992), ground illumination;
 * table evaluated from its polynomials independently. */
START_TEST(sunlight_follows_the_published_polynomials)
{
    static const double table[][2] = {
        {90, 128820},   {60, 103120},   {45, 77848},    {30, 46297},    {20, 27318},
        {10, 11121},    {5, 4499},      {2, 1921},      {0, 758.6},     {-0.8333, 453.5},
        {-2, 189.4},    {-4, 29.94},    {-5, 10.41},    {-6, 3.412},    {-8, 0.3481},
        {-10, 0.04211}, {-12, 0.00814}, {-14, 0.00292}, {-16, 0.00144}, {-18, 0.000645}};
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++) {
        double h = table[i][0], e = table[i][1];
        /* where two branches meet the table holds one of them, up to 0.005 apart in log10 */
        double tol = h == 20 || h == 5 || h == -5 || h == -12 ? 0.006 : 0.001;
        ck_assert_double_eq_tol(log10(dwi_sun_polynomial(h)), log10(e), tol);
        /* one smooth curve: within the polynomials' own stated error of 0.01 to 0.02 */
        ck_assert_double_eq_tol(log10(dwi_sun_lux(h)), log10(e), 0.012);
    }
}
END_TEST

START_TEST(sunlight_is_smooth)
{
    /* the second derivative of log2 E must not jump: 2-minute frames see 0.5 degree at most */
    double worst = 0, was = 0;
    for (double h = -24; h < 60; h += 0.05) {
        double d2 =
            (log2(dwi_sun_lux(h + 0.05)) - 2 * log2(dwi_sun_lux(h)) + log2(dwi_sun_lux(h - 0.05))) /
            (0.05 * 0.05);
        if (h > -23.9)
            worst = fmax(worst, fabs(d2 - was));
        was = d2;
    }
    ck_assert_double_lt(worst, 0.02);
    /* AMS Glossary of Meteorology: 0.008 lx at -12, 6e-4 lx at -18 */
    ck_assert_double_eq_tol(dwi_sun_lux(-12), 0.008, 0.0005);
    ck_assert_double_eq_tol(dwi_sun_lux(-18), 6e-4, 1e-4);
}
END_TEST

/* The same source: full moon, mean parallax 0.951 degrees. */
START_TEST(moonlight_follows_the_published_polynomials)
{
    static const double table[][2] = {{90, 0.269}, {60, 0.216}, {30, 0.098}, {10, 0.024}};
    for (int i = 0; i < 4; i++)
        ck_assert_double_eq_tol(dwi_moon_polynomial(table[i][0], M_PI, 0.951 * DEG), table[i][1],
                                0.0006);
    ck_assert_double_lt(dwi_moon_lux(30, M_PI / 2, 0.951 * DEG), 0.098 / 8); /* half moon */
    ck_assert_double_eq(dwi_moon_lux(-4, M_PI, 0.951 * DEG), 0);
}
END_TEST

/* Altitude and azimuth of the sun's centre, geometric, UT1 = UTC: computed with astropy 5.2
 * (ERFA), confirmed by the NREL solar position algorithm and by libastro to 0.0002 degrees.
 * The first row is the worked example of NREL/TP-560-34302. */
START_TEST(sun_stands_where_almanacs_put_it)
{
    static const struct {
        double lat, lon, m;
        const char *utc;
        double alt, az;
    } t[] = {
        {39.742476, -105.1786, 1830.14, "2003-10-17T19:30:30Z", 39.872034, 194.340121},
        {51.4779, -0.0015, 46, "2000-01-01T12:00:00Z", 15.4838, 179.2142},
        {51.4779, -0.0015, 46, "2024-06-20T03:43:00Z", -0.7930, 49.0046},
        {51.4779, -0.0015, 46, "2024-12-21T17:58:00Z", -18.0703, 254.8134},
        {69.6492, 18.9553, 10, "2024-06-21T22:42:00Z", 3.0841, 359.0360},
        {78.2232, 15.6267, 10, "2024-12-21T10:56:00Z", -11.6640, 180.0557},
        {-33.8688, 151.2093, 20, "2024-06-20T18:58:00Z", -24.5469, 77.2837},
        {-54.8019, -68.3030, 10, "2024-06-20T16:35:00Z", 11.7577, 359.9904},
        {-77.8419, 166.6863, 10, "2024-12-21T12:50:00Z", 11.2781, 180.3656},
    };
    for (size_t i = 0; i < sizeof t / sizeof t[0]; i++) {
        struct dwi_astro a;
        double utc;
        ck_assert_int_eq(dwi_time_parse(t[i].utc, &utc), 0);
        ck_assert_int_eq(dwi_astro(utc, t[i].lat * DEG, t[i].lon * DEG, t[i].m, &a), 0);
        ck_assert_double_eq_tol(a.sun_alt / DEG, t[i].alt, 0.0005);
        ck_assert_double_eq_tol(a.sun_az / DEG, t[i].az, 0.001);
    }
}
END_TEST

START_TEST(sky_turns_once_in_a_sidereal_day)
{
    struct dwi_params p;
    struct dwi_lens_map m;
    struct dwi_astro a, b;
    double utc, x0, y0, x1, y1, alt;
    dwi_params_default(&p);
    p.refraction = 0;
    dwi_lens_init(&m, &p);
    dwi_time_parse(p.start, &utc);
    double dir[3] = {cos(1.4) * cos(0.3), cos(1.4) * sin(0.3), sin(1.4)};
    dwi_astro(utc, p.lat_deg * DEG, p.lon_deg * DEG, 0, &a);
    dwi_astro(utc + 86164.0905, p.lat_deg * DEG, p.lon_deg * DEG, 0, &b);
    ck_assert_int_eq(dwi_star_place(&p, &m, &a, dir, &x0, &y0, &alt), 0);
    ck_assert_int_eq(dwi_star_place(&p, &m, &b, dir, &x1, &y1, &alt), 0);
    ck_assert_double_lt(hypot(x1 - x0, y1 - y0), 0.002); /* precession and aberration of a day */
    dwi_astro(utc + 3600, p.lat_deg * DEG, p.lon_deg * DEG, 0, &b);
    dwi_star_place(&p, &m, &b, dir, &x1, &y1, &alt);
    /* facing north the stars go anticlockwise about the pole: geometry */
    double pole[3] = {0, cos(p.lat_deg * DEG), sin(p.lat_deg * DEG)}, px, py;
    dwi_lens_project(&m, pole, &px, &py);
    ck_assert_double_lt((x0 - px) * (y1 - py) - (y0 - py) * (x1 - px), 0); /* y points down */
}
END_TEST

/* Polaris' distance from the true pole, apparent place: computed from its Hipparcos place with
 * astropy 5.2 (true equator and equinox of date): 43.98' in 2000.0, 37.83' in 2024.0. */
START_TEST(polaris_stands_off_the_pole)
{
    static const struct {
        const char *utc;
        double years, arcmin;
    } t[] = {{"2000-01-01T12:00:00Z", 0, 43.98}, {"2024-01-01T00:00:00Z", 24, 37.83}};
    const struct dwi_catalogue_star *c = dwi_catalogue;
    while (strcmp(c->name, "Polaris"))
        c++;
    for (int i = 0; i < 2; i++) {
        struct dwi_astro a;
        double utc, e[3], lat = 46 * DEG, mas = DEG / 3.6e6;
        double dec = c->dec_deg * DEG + c->pm_dec * mas * t[i].years;
        double ra = c->ra_h * M_PI / 12 + c->pm_ra * mas * t[i].years / cos(dec);
        double dir[3] = {cos(dec) * cos(ra), cos(dec) * sin(ra), sin(dec)};
        dwi_time_parse(t[i].utc, &utc);
        ck_assert_int_eq(dwi_astro(utc, lat, 0, 0, &a), 0);
        dwi_astro_star(&a, dir, e);
        double off = acos(e[1] * cos(lat) + e[2] * sin(lat)) / DEG * 60;
        ck_assert_double_eq_tol(off, t[i].arcmin, 0.02);
    }
}
END_TEST

START_TEST(lens_goes_there_and_back)
{
    for (int kind = 0; kind < 4; kind++)
        for (int o = 0; o < 4; o++) {
            static const int orientation[] = {1, 3, 6, 8};
            struct dwi_params p;
            struct dwi_lens_map m;
            dwi_params_default(&p);
            p.lens = kind;
            p.orientation = orientation[o];
            dwi_lens_init(&m, &p);
            for (int i = 0; i < 40; i++) {
                double x = i * 23.1, y = (i * 37) % 600, d[3], x1, y1;
                dwi_lens_direction(&m, x, y, d);
                ck_assert_double_eq_tol(d[0] * d[0] + d[1] * d[1] + d[2] * d[2], 1, 1e-6);
                ck_assert_int_eq(dwi_lens_project(&m, d, &x1, &y1), 0);
                ck_assert_double_lt(hypot(x1 - x, y1 - y), 0.005);
            }
            /* up in the land is where the orientation tag (Exif 2.3x) says the top is shown */
            double low[3], high[3], x0, y0, x1, y1;
            dwi_lens_direction(&m, m.cx, m.cy, low);
            memcpy(high, low, sizeof low);
            high[2] += 0.05;
            dwi_lens_project(&m, low, &x0, &y0);
            dwi_lens_project(&m, high, &x1, &y1);
            static const int up[4][2] = {{0, -1}, {0, 1}, {-1, 0}, {1, 0}};
            ck_assert_double_gt(
                ((x1 - x0) * up[o][0] + (y1 - y0) * up[o][1]) / hypot(x1 - x0, y1 - y0), 0.99);
        }
}
END_TEST

/* Marked shutter against the true 2^(k/3): arithmetic; largest error 0.0931 stop. */
START_TEST(marked_times_name_true_ones)
{
    static const struct {
        int k, num, den;
        double err;
    } t[] = {{15, 30, 1, -0.0931},  {12, 15, 1, -0.0931},   {8, 6, 1, -0.0817},
             {1, 13, 10, 0.0452},   {0, 1, 1, 0},           {-5, 3, 10, -0.0703},
             {-8, 1, 6, 0.0817},    {-12, 1, 15, 0.0931},   {-18, 1, 60, 0.0931},
             {-21, 1, 125, 0.0342}, {-31, 1, 1250, 0.0456}, {-36, 1, 4000, 0.0342},
             {-39, 1, 8000, 0.0342}};
    for (size_t i = 0; i < sizeof t / sizeof t[0]; i++) {
        int num, den;
        dwi_shutter_marked(t[i].k, &num, &den);
        ck_assert_int_eq(num, t[i].num);
        ck_assert_int_eq(den, t[i].den);
        ck_assert_double_eq_tol(log2((double)num / den / dwi_shutter_true(t[i].k)), t[i].err, 6e-5);
    }
    ck_assert_int_eq(dwi_iso_marked(4), 250);
    ck_assert_double_eq_tol(dwi_iso_true(4), 251.9842, 1e-4);
    ck_assert_int_eq(dwi_iso_marked(9), 800);
    ck_assert_double_eq_tol(dwi_aperture_true(11), 11.313708, 1e-6);
    ck_assert_double_eq_tol(dwi_aperture_true(2.8), 2.828427, 1e-6);
    /* (1/4000, ISO 100) to (30 s, ISO 800): 17 + 3 stops */
    int s, iso;
    dwi_program_split(-36, -36, 15, 9, &s, &iso);
    ck_assert(s == -36 && iso == 0);
    dwi_program_split(-36 + 60, -36, 15, 9, &s, &iso);
    ck_assert(s == 15 && iso == 9);
}
END_TEST

/* Marks of a lens that is closed by thirds of a stop: each names the true one (common practice, no
 * source). */
START_TEST(marked_apertures_name_true_ones)
{
    for (int k = 0; k <= 18; k++) {
        double mark = dwi_aperture_closed(2.8, k);
        ck_assert_double_eq_tol(dwi_aperture_true(mark), dwi_aperture_true(2.8) * exp2(k / 6.0),
                                1e-9);
        ck_assert_double_le(fabs(log2(mark / dwi_aperture_true(mark))), 0.05);
    }
    ck_assert_double_eq(dwi_aperture_closed(2.8, 3), 4);
    /* the light stays the program's: what the lens loses the shutter gives */
    ck_assert_int_eq(dwi_program_close(-12, 9), 0);
    ck_assert_int_eq(dwi_program_close(-18, 9), 3);
    ck_assert_int_eq(dwi_program_close(-40, 9), 9);
}
END_TEST

/* Of the sensor alone, by hand: a colour's error, and shading at the corner and half way to it. */
START_TEST(settings_change_colours_and_shading)
{
    struct dwi_params p;
    struct dwi_sensor s;
    struct dwi_shot shot = {.red_error = 1, .blue_error = -1, .closed_k = 3};
    dwi_params_default(&p);
    p.width = p.height = 101;
    p.vignetting = 2, p.stop_down = 1;
    p.prnu = p.hot_share = p.dead_share = 0;
    ck_assert_int_eq(dwi_sensor_make(&s, &p), 0);
    const struct dwi_answer a = dwi_sensor_answer(&p, &shot);
    size_t middle = 50 * 101 + 50, edge = 50 * 101;
    ck_assert_double_eq_tol((double)dwi_sensor_flat(&s, &a, middle, 0), 2, 1e-6);
    ck_assert_double_eq_tol((double)dwi_sensor_flat(&s, &a, middle, 1), 1, 1e-6);
    ck_assert_double_eq_tol((double)dwi_sensor_flat(&s, &a, middle, 2), 0.5, 1e-6);
    /* closed by one stop 2 (0.4 + 0.6/2) = 1.4 stops are lost in the corner, at half of r^2
     * 0.425 of that */
    ck_assert_double_eq_tol(log2((double)dwi_sensor_flat(&s, &a, 0, 1)), -1.4, 1e-5);
    ck_assert_double_eq_tol(log2((double)dwi_sensor_flat(&s, &a, edge, 1)), -1.4 * 0.425, 1e-5);
    dwi_sensor_free(&s);
}
END_TEST

START_TEST(normal_numbers_are_normal)
{
    double sum = 0, sq = 0, q4 = 0;
    for (int i = 0; i < 65536; i++) {
        double v = (double)dwi_normal_table[i];
        sum += v, sq += v * v, q4 += v * v * v * v;
    }
    ck_assert_double_eq_tol(sum / 65536, 0, 1e-6);
    ck_assert_double_eq_tol(sq / 65536, 1, 1e-5);
    ck_assert_double_eq_tol(q4 / 65536, 3, 0.01);
    for (uint64_t k = 0; k < 2000; k++) { /* the inverse against erfc of the C library */
        double v = dwi_normal(k);
        ck_assert_double_eq_tol(0.5 * erfc(-v / M_SQRT2), dwi_uniform(k), 1e-14);
    }
}
END_TEST

/* EMVA 1288 linear model: mean K N, variance K^2 (N + s^2) + d^2 + 1/12. */
START_TEST(noise_fits_the_sensor_model)
{
    struct dwi_params p;
    struct dwi_sensor s;
    struct dwi_shot shot = {.iso_k = 3, .time_s = 1, .n_true = 2.828427};
    dwi_params_default(&p);
    p.width = 400, p.height = 400;
    p.vignetting = p.prnu = p.column_dn = p.hot_share = p.dark_e = 0;
    ck_assert_int_eq(dwi_sensor_make(&s, &p), 0);
    size_t n = 400 * 400;
    float *light = malloc(n * sizeof *light);
    uint16_t *raw = malloc(n * sizeof *raw);
    double k = 0.48; /* 0.24 DN per electron at ISO 100, at ISO 200 */
    static const double electrons[] = {0, 3, 20, 30, 300, 3000, 25000};
    for (int i = 0; i < 7; i++) {
        double per = dwi_sensor_electrons(&p, &shot), mean = 0, var = 0, e = electrons[i];
        for (size_t j = 0; j < n; j++)
            light[j] = (float)(e / per);
        shot.index = i;
        dwi_sensor_expose(&s, (const uint8_t[]){0, 1, 1, 2}, &shot, light, raw);
        for (size_t j = 0; j < n; j++)
            mean += raw[j];
        mean /= (double)n;
        for (size_t j = 0; j < n; j++)
            var += (raw[j] - mean) * (raw[j] - mean);
        var /= (double)n - 1;
        double want = k * k * (e + 2.2 * 2.2) + 1.0 + 1.0 / 12;
        /* four standard errors; kurtosis of a Poisson of small mean widens that of the variance */
        ck_assert_double_eq_tol(mean, 512 + k * e, 4 * sqrt(want / (double)n));
        ck_assert_double_eq_tol(var / want, 1, 4 * sqrt((2 + 1 / (e + 5)) / (double)n));
    }
    free(light);
    free(raw);
    dwi_sensor_free(&s);
}
END_TEST

static uint16_t *noise_mosaic(int w, int h)
{
    uint16_t *raw = malloc((size_t)w * (size_t)h * sizeof *raw);
    for (int i = 0; i < w * h; i++) { /* quiet, wild, constant, extreme: all categories */
        uint64_t r = dwi_mix((uint64_t)i);
        int band = i / w * 4 / h;
        raw[i] = (uint16_t)(band == 0   ? 600 + r % 9
                            : band == 1 ? r % 16384
                            : band == 2 ? 15000
                                        : (i & 1 ? 16383 : 0));
    }
    return raw;
}

/* LibRaw as an independent decoder. */
static void decodes_to(const char *path, const uint16_t *raw, int w, int h)
{
    libraw_data_t *l = libraw_init(0);
    ck_assert_int_eq(libraw_open_file(l, path), 0);
    ck_assert_int_eq(libraw_unpack(l), 0);
    ck_assert_int_eq(l->sizes.raw_width, w);
    ck_assert_int_eq(l->sizes.raw_height, h);
    ck_assert_ptr_nonnull(l->rawdata.raw_image);
    for (int y = 0; y < h; y++)
        ck_assert_mem_eq((const char *)l->rawdata.raw_image + (size_t)y * l->sizes.raw_pitch,
                         raw + (size_t)y * (size_t)w, (size_t)w * 2);
    libraw_close(l);
}

START_TEST(both_kinds_of_file_decode_bit_for_bit)
{
    struct dwi_params p;
    struct dwi_shot shot = {.shutter_k = -18, .iso_k = 4};
    dwi_params_default(&p);
    static const int sizes[][2] = {{64, 48}, {2, 2}, {900, 600}, {258, 130}};
    for (int k = 0; k < 4; k++) {
        if (sizes[k][0] < 22)
            continue; /* too small for the decoder's own sense of a picture */
        p.width = sizes[k][0], p.height = sizes[k][1];
        uint16_t *raw = noise_mosaic(p.width, p.height);
        for (p.compress = DWI_NONE; p.compress <= DWI_LJPEG; p.compress++) {
            char path[200];
            snprintf(path, sizeof path, "%s/%d-%d.dng", folder, k, p.compress);
            ck_assert_int_eq(dwi_dng_write(path, &p, &shot, (const uint8_t[]){0, 1, 1, 2}, raw), 0);
            decodes_to(path, raw, p.width, p.height);
        }
        free(raw);
    }
}
END_TEST

START_TEST(record_reads_back)
{
    struct dwi_params p;
    struct dwi_shot shot = {.shutter_k = -18, .iso_k = 4, .start_utc = 1743163200.25};
    dwi_params_default(&p);
    p.width = 64, p.height = 48;
    p.orientation = 6;
    uint16_t *raw = noise_mosaic(64, 48);
    char path[200];
    snprintf(path, sizeof path, "%s/record.dng", folder);
    ck_assert_int_eq(dwi_dng_write(path, &p, &shot, (const uint8_t[]){2, 1, 1, 0}, raw), 0);
    libraw_data_t *l = libraw_init(0);
    ck_assert_int_eq(libraw_open_file(l, path), 0);
    ck_assert_double_eq_tol((double)l->other.shutter, 1.0 / 60, 1e-6);
    ck_assert_double_eq_tol((double)l->other.aperture, 2.8, 1e-6);
    ck_assert_double_eq_tol((double)l->other.iso_speed, 250, 1e-6);
    ck_assert_int_eq(l->sizes.flip, 6);
    ck_assert_int_eq(libraw_COLOR(l, 0, 0), 2); /* BGGR */
    ck_assert_str_eq(l->idata.make, "Invented Optics");
    ck_assert_uint_eq(l->color.black, 512);
    ck_assert_uint_eq(l->color.maximum, 15000);
    ck_assert_double_eq_tol((double)l->other.parsed_gps.latitude[0], 46, 1e-6);
    ck_assert_double_eq_tol((double)l->other.parsed_gps.latitude[1], 24, 0.02);
    libraw_close(l);
    free(raw);
}
END_TEST

static void small(struct dwi_params *p, const char *scene, const char *sub)
{
    char err[300];
    dwi_params_default(p);
    ck_assert_msg(!dwi_params_scene(p, scene, err, sizeof err), "%s", err);
    snprintf(p->out, sizeof p->out, "%s/%s", folder, sub);
    p->width = 240, p->height = 160;
}

static void same_files(const char *a, const char *b)
{
    DIR *d = opendir(a);
    struct dirent *e;
    int seen = 0;
    ck_assert_ptr_nonnull(d);
    while ((e = readdir(d))) {
        char pa[700], pb[700];
        if (e->d_name[0] == '.')
            continue;
        snprintf(pa, sizeof pa, "%s/%s", a, e->d_name);
        snprintf(pb, sizeof pb, "%s/%s", b, e->d_name);
        if (e->d_type == DT_DIR) {
            same_files(pa, pb);
            continue;
        }
        FILE *fa = fopen(pa, "rb"), *fb = fopen(pb, "rb");
        ck_assert_ptr_nonnull(fa);
        ck_assert_ptr_nonnull(fb);
        int ca, cb;
        do {
            ca = getc(fa), cb = getc(fb);
            ck_assert_msg(ca == cb, "%s differs from %s", pa, pb);
        } while (ca != EOF);
        fclose(fa);
        fclose(fb);
        seen++;
    }
    closedir(d);
    ck_assert_int_gt(seen, 4);
}

START_TEST(number_of_threads_changes_nothing)
{
    struct dwi_params p;
    char err[300], a[600];
    small(&p, "everything-moves", "one");
    p.frames = 7, p.interval_s = 9000, p.compress = DWI_LJPEG, p.jobs = 1;
    ck_assert_msg(!dwi_run(&p, err, sizeof err), "%s", err);
    snprintf(a, sizeof a, "%s", p.out);
    snprintf(p.out, sizeof p.out, "%s/three", folder);
    p.jobs = 3;
    ck_assert_msg(!dwi_run(&p, err, sizeof err), "%s", err);
    same_files(a, p.out);
}
END_TEST

/* Reads "index,file,patch,..." rows of one table back and holds them against decoded pixels. */
START_TEST(truth_tables_agree_with_the_pixels)
{
    struct dwi_params p;
    char err[300], path[700], line[600];
    /* invented; the second with colours and shading that change with the settings */
    small(&p, _i ? "uneven-settings" : "clear", "truth");
    p.frames = 12, p.interval_s = 7800, p.jobs = 2;
    p.hot_share = 0; /* a hot pixel is no part of the patch truth */
    ck_assert_msg(!dwi_run(&p, err, sizeof err), "%s", err);
    struct {
        int x, y, w, h;
        char kind[20];
    } q[DWI_PATCHES];
    int n = 0, rows = 0, wild = 0;
    snprintf(path, sizeof path, "%s/truth/patches.csv", p.out);
    FILE *f = fopen(path, "r");
    ck_assert_ptr_nonnull(f);
    ck_assert_ptr_nonnull(fgets(line, sizeof line, f));
    while (fgets(line, sizeof line, f) && sscanf(line, "%*d,%19[^,],%d,%d,%d,%d", q[n].kind,
                                                 &q[n].x, &q[n].y, &q[n].w, &q[n].h) == 5)
        n++;
    fclose(f);
    ck_assert_int_ge(n, 8);
    snprintf(path, sizeof path, "%s/truth/patch_light.csv", p.out);
    f = fopen(path, "r");
    ck_assert_ptr_nonnull(fgets(line, sizeof line, f));
    libraw_data_t *l = NULL;
    int open = -1;
    double chi2 = 0, terms = 0;
    while (fgets(line, sizeof line, f)) {
        int i, patch;
        char file[64];
        double dn[4], var[4], clipped, got[4] = {0}, count[4] = {0};
        ck_assert_int_eq(sscanf(line,
                                "%d,%63[^,],%d,%*f,%*f,%*f,%*f,%lf,%lf,%lf,%lf,%lf,%lf,%lf,"
                                "%lf,%lf",
                                &i, file, &patch, &dn[0], &dn[1], &dn[2], &dn[3], &var[0], &var[1],
                                &var[2], &var[3], &clipped),
                         12);
        if (i != open) {
            if (l)
                libraw_close(l);
            l = libraw_init(0);
            open = i;
            snprintf(path, sizeof path, "%s/%s", p.out, file);
            ck_assert_int_eq(libraw_open_file(l, path), 0);
            ck_assert_int_eq(libraw_unpack(l), 0);
        }
        if (clipped > 0)
            continue;
        for (int y = q[patch - 1].y; y < q[patch - 1].y + q[patch - 1].h; y++)
            for (int x = q[patch - 1].x; x < q[patch - 1].x + q[patch - 1].w; x++) {
                int c = (y & 1) * 2 + (x & 1); /* RGGB: red, green 1, green 2, blue */
                got[c] +=
                    l->rawdata.raw_image[(size_t)y * (l->sizes.raw_pitch / 2) + (size_t)x] - 512.0;
                count[c]++;
            }
        for (int c = 0; c < 4; c++) {
            double z = (got[c] / count[c] - dn[c]) / sqrt(var[c]);
            chi2 += z * z, terms++, rows++;
            wild += fabs(z) > 4.5;
        }
    }
    if (l)
        libraw_close(l);
    fclose(f);
    ck_assert_int_gt(rows, 300);
    ck_assert_int_eq(wild, 0);
    ck_assert_double_eq_tol(chi2 / terms, 1, 5 * sqrt(2 / terms));
}
END_TEST

/* The sky sends down what the polynomials promise: summed on another lattice than its own. */
START_TEST(sky_gives_its_illuminance)
{
    for (double utc = 1743163200; utc < 1743163200 + 86400; utc += 3111) {
        struct dwi_params p;
        struct dwi_astro a;
        struct dwi_sky s;
        dwi_params_default(&p);
        p.milky_way = 0;
        ck_assert_int_eq(dwi_astro(utc, p.lat_deg * DEG, p.lon_deg * DEG, 0, &a), 0);
        dwi_sky_at_time(&s, &p, &a, 0);
        double sum = 0;
        for (int i = 0; i < 60; i++)
            for (int j = 0; j < 120; j++) {
                double alt = (i + 0.5) / 60 * M_PI / 2, az = j * 2 * M_PI / 120, rgb[3];
                double d[3] = {sin(az) * cos(alt), cos(az) * cos(alt), sin(alt)};
                dwi_sky_radiance(&s, d, rgb);
                sum += (0.2126 * rgb[0] + 0.7152 * rgb[1] + 0.0722 * rgb[2]) * sin(alt) * cos(alt) *
                       (M_PI / 2 / 60) * (2 * M_PI / 120);
            }
        double want =
            dwi_sun_lux(s.sun_alt_deg) + p.night_lx - fmax(0, a.sun[2]) * s.sun_normal_lux;
        ck_assert_double_eq_tol(log2(sum / want), 0, 0.08);
    }
}
END_TEST

START_TEST(faults_are_read_and_named)
{
    struct dwi_faults f[20];
    char err[200], names[200];
    ck_assert_int_eq(dwi_faults_parse("truncated@3 gap@5 moved@8*9 shake@12 bright@50%*2 soft@20",
                                      20, f, err, sizeof err),
                     0);
    ck_assert_int_eq(f[2].damage, DWI_TRUNCATED);
    ck_assert(f[4].missing && !f[5].missing);
    ck_assert(f[7].bump && f[7].moved_x == 9 && f[8].moved_x == 9 && !f[8].bump && !f[6].moved_x);
    ck_assert(f[11].bump && !f[12].bump);
    dwi_faults_names(&f[10], 1, names, sizeof names);
    ck_assert_str_eq(names, "gap bright");
    ck_assert_int_eq(dwi_faults_parse("moved@3*0.3 moved@9*2 reflection@5-6*2 drops@11-14", 20, f,
                                      err, sizeof err),
                     0);
    ck_assert_double_eq_tol(f[5].moved_x, 0.3, 1e-12);
    ck_assert_double_eq_tol(f[5].moved_y, -0.18, 1e-12);
    ck_assert_double_eq_tol(f[19].moved_x, 2.3, 1e-12);
    ck_assert_double_eq_tol(f[19].moved_y, -1.18, 1e-12); /* whole pixels both ways */
    ck_assert(f[4].ghost == 2 && f[5].ghost == 2 && f[6].ghost == 0);
    ck_assert(f[10].drops == 0.25 && f[13].drops == 1 && f[14].drops == 0);
    static const char *bad[] = {"sunspot@3", "flash@0", "flash@21",
                                "flash@7-3", "flash3",  "flash@3*"};
    for (int i = 0; i < 6; i++)
        ck_assert_int_eq(dwi_faults_parse(bad[i], 20, f, err, sizeof err), -1);
}
END_TEST

/* A Gaussian point, shifted by parts of a pixel: its middle goes there, its light stays. */
START_TEST(a_blurred_picture_is_shifted_by_parts_of_a_pixel)
{
    enum { N = 41 };
    static float light[N * N];
    const double by[4][2] = {{0, 0}, {0.2, -0.12}, {-0.5, 0.5}, {0.37, 0.03}};
    for (int k = 0; k < 4; k++) {
        double sum = 0, x = 0, y = 0;
        memset(light, 0, sizeof light);
        light[20 * N + 20] = 1000;
        ck_assert_int_eq(dwi_lens_blur(light, N, N, 0.7, by[k][0], by[k][1]), 0);
        for (int i = 0; i < N * N; i++) {
            sum += (double)light[i];
            x += (double)light[i] * (i % N - 20);
            y += (double)light[i] * (i / N - 20.0);
        }
        ck_assert_double_eq_tol(sum, 1000, 0.01);
        ck_assert_double_eq_tol(x / sum, by[k][0], 1e-3);
        ck_assert_double_eq_tol(y / sum, by[k][1], 1e-3);
    }
}
END_TEST

/* A ghost falls off from its middle to nearly nothing, without a step, and its share of the light
 * behind it grows as dusk falls. */
START_TEST(a_ghost_is_a_soft_patch)
{
    struct dwi_params p;
    dwi_params_default(&p);
    for (int id = 0; id < 5; id++) {
        double most = 0, at = 0, step = 0, last = 0, rgb[3], edge = 0;
        for (int y = 0; y < p.height; y += 3)
            for (int x = 0; x < p.width; x++) {
                dwi_ghost_light(&p, id, 2, x, y, rgb);
                double v = 0.21263901 * rgb[0] + 0.71516868 * rgb[1] + 0.07219232 * rgb[2];
                if (x > 0)
                    step = fmax(step, fabs(v - last));
                last = v;
                at = v > most ? x : at;
                most = fmax(most, v);
                edge = x == 0 || x == p.width - 1 ? fmax(edge, v) : edge;
            }
        ck_assert_double_eq_tol(most, 2, 0.1);
        ck_assert(at > 0.15 * p.width && at < 0.85 * p.width);
        ck_assert_double_lt(step, 0.3);
        ck_assert_double_lt(edge, 0.05);
    }
}
END_TEST

START_TEST(damaged_files_are_damaged)
{
    struct dwi_params p;
    char err[300], path[700];
    small(&p, "clear", "damage");
    p.frames = 6, p.interval_s = 600, p.cards = 2, p.first_number = 9998;
    strcpy(p.faults, "truncated@1 empty@2 gap@3 wrong-magic@5 no-exposure@6");
    ck_assert_msg(!dwi_run(&p, err, sizeof err), "%s", err);
    static const struct {
        const char *name;
        int opens, unpacks;
    } want[] = {{"card1/DW_9998.DNG", 1, 0},
                {"card1/DW_9999.DNG", 0, 0},
                {"card2/DW_0002.DNG", 1, 1},
                {"card2/DW_0003.DNG", 0, 0},
                {"card2/DW_0004.DNG", 1, 1}};
    for (int i = 0; i < 5; i++) {
        snprintf(path, sizeof path, "%s/%s", p.out, want[i].name);
        libraw_data_t *l = libraw_init(0);
        ck_assert_int_eq(libraw_open_file(l, path) == 0, want[i].opens);
        if (want[i].opens)
            ck_assert_int_eq(libraw_unpack(l) == 0, want[i].unpacks);
        libraw_close(l);
    }
    snprintf(path, sizeof path, "%s/card1/DW_0001.DNG", p.out); /* after 9999 comes 0001: the gap */
    ck_assert_int_ne(access(path, F_OK), 0);
}
END_TEST

START_TEST(senseless_options_are_refused)
{
    struct dwi_params p;
    char err[300];
    dwi_params_default(&p);
    static const char *bad[][2] = {{"frames", "0"},     {"size", "0x0"},     {"site", "95,x"},
                                   {"compress", "zip"}, {"interval", "nan"}, {"colour", "1"},
                                   {"seed", "-"},       {"moon", "maybe"}};
    for (int i = 0; i < 8; i++) {
        ck_assert_int_eq(dwi_params_set(&p, bad[i][0], bad[i][1], err, sizeof err), -1);
        ck_assert_ptr_nonnull(strstr(err, bad[i][0]));
    }
    ck_assert_int_eq(dwi_params_scene(&p, "moonbase", err, sizeof err), -1);
    for (const struct dwi_scene *s = dwi_scenes; s->name; s++)
        ck_assert_msg(!dwi_params_scene(&p, s->name, err, sizeof err), "%s", err);
}
END_TEST

int main(void)
{
    Suite *s = suite_create("invent");
    TCase *t = tcase_create("invent");
    tcase_add_checked_fixture(t, setup, teardown);
    tcase_add_test(t, sunlight_follows_the_published_polynomials);
    tcase_add_test(t, sunlight_is_smooth);
    tcase_add_test(t, moonlight_follows_the_published_polynomials);
    tcase_add_test(t, sun_stands_where_almanacs_put_it);
    tcase_add_test(t, sky_turns_once_in_a_sidereal_day);
    tcase_add_test(t, polaris_stands_off_the_pole);
    tcase_add_test(t, lens_goes_there_and_back);
    tcase_add_test(t, marked_times_name_true_ones);
    tcase_add_test(t, marked_apertures_name_true_ones);
    tcase_add_test(t, settings_change_colours_and_shading);
    tcase_add_test(t, normal_numbers_are_normal);
    tcase_add_test(t, noise_fits_the_sensor_model);
    tcase_add_test(t, both_kinds_of_file_decode_bit_for_bit);
    tcase_add_test(t, record_reads_back);
    tcase_add_test(t, number_of_threads_changes_nothing);
    tcase_add_loop_test(t, truth_tables_agree_with_the_pixels, 0, 2);
    tcase_add_test(t, sky_gives_its_illuminance);
    tcase_add_test(t, faults_are_read_and_named);
    tcase_add_test(t, a_blurred_picture_is_shifted_by_parts_of_a_pixel);
    tcase_add_test(t, a_ghost_is_a_soft_patch);
    tcase_add_test(t, damaged_files_are_damaged);
    tcase_add_test(t, senseless_options_are_refused);
    suite_add_tcase(s, t);
    return dw_check_main(s);
}
