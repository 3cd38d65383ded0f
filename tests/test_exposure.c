/* test_exposure.c: marks and the true settings behind them, and the records around them. */
#include "check_main.h"

#include "shot/exif.h"
#include "shot/exposure.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/* True shutter t = 2^(k/3) s behind every mark from 30 s to 1/8000 s; the errors of the marks in
 * stops are computed from the definition. That timers run the true value is common practice;
 * Exif 2.31 Annex C names 1/60 s Tv 6, that is 1/64 s. Values below 1 are 1/x. */
START_TEST(shutter_marks_name_powers_of_two)
{
    static const struct {
        double mark;
        int k;
        double error;
    } v[] = {{30, 15, -0.0931},
             {25, 14, -0.0228},
             {20, 13, -0.0114},
             {15, 12, -0.0931},
             {13, 11, 0.0338},
             {10, 10, -0.0114},
             {8, 9, 0},
             {6, 8, -0.0817},
             {5, 7, -0.0114},
             {4, 6, 0},
             {3.2, 5, 0.0114},
             {2.5, 4, -0.0114},
             {2, 3, 0},
             {1.6, 2, 0.0114},
             {1.3, 1, 0.0452},
             {1, 0, 0},
             {0.8, -1, 0.0114},
             {0.6, -2, -0.0703},
             {0.5, -3, 0},
             {0.4, -4, 0.0114},
             {0.3, -5, -0.0703},
             {1 / 4., -6, 0},
             {1 / 5., -7, 0.0114},
             {1 / 6., -8, 0.0817},
             {1 / 8., -9, 0},
             {1 / 10., -10, 0.0114},
             {1 / 13., -11, -0.0338},
             {1 / 15., -12, 0.0931},
             {1 / 20., -13, 0.0114},
             {1 / 25., -14, 0.0228},
             {1 / 30., -15, 0.0931},
             {1 / 40., -16, 0.0114},
             {1 / 50., -17, 0.0228},
             {1 / 60., -18, 0.0931},
             {1 / 80., -19, 0.0114},
             {1 / 100., -20, 0.0228},
             {1 / 125., -21, 0.0342},
             {1 / 160., -22, 0.0114},
             {1 / 200., -23, 0.0228},
             {1 / 250., -24, 0.0342},
             {1 / 320., -25, 0.0114},
             {1 / 400., -26, 0.0228},
             {1 / 500., -27, 0.0342},
             {1 / 640., -28, 0.0114},
             {1 / 800., -29, 0.0228},
             {1 / 1000., -30, 0.0342},
             {1 / 1250., -31, 0.0456},
             {1 / 1600., -32, 0.0228},
             {1 / 2000., -33, 0.0342},
             {1 / 2500., -34, 0.0456},
             {1 / 3200., -35, 0.0228},
             {1 / 4000., -36, 0.0342},
             {1 / 5000., -37, 0.0456},
             {1 / 6400., -38, 0.0228},
             {1 / 8000., -39, 0.0342}};
    for (size_t i = 0; i < sizeof v / sizeof *v; i++) {
        double t = dw_true_shutter_s(v[i].mark);
        ck_assert_msg(fabs(t - exp2(v[i].k / 3.)) < 1e-12 * t, "mark %zu", i);
        ck_assert_msg(fabs(log2(v[i].mark / t) - v[i].error) < 6e-5, "mark %zu: %.4f", i,
                      log2(v[i].mark / t));
        ck_assert_double_eq_tol(dw_true_shutter_s((double)(float)v[i].mark), t, 1e-12 * t);
        ck_assert_double_eq_tol(dw_true_shutter_s(t), t, 1e-12 * t); /* a step stays itself */
        ck_assert(dw_exposure_on_series(v[i].mark) && dw_exposure_on_series(t));
    }
}
END_TEST

/* True N = 2^(i/6); errors 2 log2(mark / true), computed from the definition. */
START_TEST(aperture_marks_name_powers_of_two)
{
    static const struct {
        double mark, n, error;
    } v[] = {{1.0, 1.000000, 0},       {1.1, 1.122462, -0.0583}, {1.2, 1.259921, -0.1406},
             {1.4, 1.414214, -0.0291}, {1.6, 1.587401, 0.0228},  {1.8, 1.781797, 0.0293},
             {2.0, 2.000000, 0},       {2.2, 2.244924, -0.0583}, {2.5, 2.519842, -0.0228},
             {2.8, 2.828427, -0.0291}, {3.2, 3.174802, 0.0228},  {3.5, 3.563595, -0.0520},
             {4.0, 4.000000, 0},       {4.5, 4.489848, 0.0065},  {5.0, 5.039684, -0.0228},
             {5.6, 5.656854, -0.0291}, {6.3, 6.349604, -0.0226}, {7.1, 7.127190, -0.0110},
             {8.0, 8.000000, 0},       {9.0, 8.979696, 0.0065},  {10, 10.079368, -0.0228},
             {11, 11.313708, -0.0811}, {13, 12.699208, 0.0675},  {14, 14.254379, -0.0520},
             {16, 16.000000, 0},       {18, 17.959393, 0.0065},  {20, 20.158737, -0.0228},
             {22, 22.627417, -0.0811}, {25, 25.398417, -0.0456}, {29, 28.508759, 0.0493},
             {32, 32.000000, 0}};
    for (size_t i = 0; i < sizeof v / sizeof *v; i++) {
        double n = dw_true_f_number(v[i].mark);
        ck_assert_double_eq_tol(n, v[i].n, 1e-6);
        ck_assert_double_eq_tol(2 * log2(v[i].mark / n), v[i].error, 6e-5);
        ck_assert_double_eq_tol(dw_true_f_number(n), n, 1e-12);
    }
}
END_TEST

/* True S = 100 2^(k/3); largest error of a mark 0.0228 stop. */
START_TEST(iso_marks_name_powers_of_two)
{
    static const double v[][2] = {
        {100, 100},        {125, 125.9921},   {160, 158.7401}, {200, 200},        {250, 251.9842},
        {320, 317.4802},   {400, 400},        {500, 503.9684}, {640, 634.9604},   {800, 800},
        {1000, 1007.9368}, {1250, 1269.9208}, {1600, 1600},    {2000, 2015.8737}, {2500, 2539.8417},
        {3200, 3200},      {6400, 6400},      {12800, 12800},  {25600, 25600},    {102400, 102400},
        {64, 62.99605},    {84, 84} /* no step: kept */};
    for (size_t i = 0; i < sizeof v / sizeof *v; i++)
        ck_assert_double_eq_tol(dw_true_iso(v[i][0]), v[i][1], 1e-4);
}
END_TEST

/* What is no mark is what it says: 1/17 s and 1/1859 s of real compact and action cameras, f/7.6
 * of a real one, times of minutes, half-stop marks. */
START_TEST(other_values_stay_as_they_are)
{
    static const double t[] = {1 / 17.,  1 / 1859., 1 / 3413., 1 / 230., 120.4,
                               30.1 * 2, 60,        1 / 90.,   1 / 45.,  1 / 350.};
    for (size_t i = 0; i < sizeof t / sizeof *t; i++) {
        ck_assert_double_eq(dw_true_shutter_s(t[i]), t[i]);
        ck_assert(!dw_exposure_on_series(t[i]));
    }
    ck_assert_double_eq(dw_true_f_number(7.6), 7.6);
    ck_assert_double_eq_tol(dw_true_shutter_s(4.96743), exp2(7 / 3.), 1e-9); /* 1/32 stop codes */
    ck_assert_double_eq(dw_true_shutter_s(0), 0);
    ck_assert_double_eq(dw_true_shutter_s(-1), -1);
    ck_assert(isnan(dw_true_shutter_s(NAN)) && isnan(dw_true_f_number(NAN)) &&
              isnan(dw_true_iso(NAN)));
    ck_assert_double_eq(dw_true_iso(0), 0);
}
END_TEST

static struct dw_shot filled(double t, double tv, double f, double iso, enum dw_timing timing)
{
    struct dw_shot s = {0};
    struct dw_exposure_record r = {t, tv, f, iso};
    dw_exposure_fill(&s, &r, timing);
    return s;
}

/* Exif 2.31 Annex C: Ev = Av + Tv - (Sv - 5); sunny 16 at ISO 100 is 15 by true stops and
 * log2(16^2 * 100) = 14.6439 by the marks of 1/100 s. Normalising examples: 29, 24, 22 and 1 stop
 * by true settings (28.9018, 23.9018, 21.9018, 1.0589 by marks). */
START_TEST(exposure_value_of_true_settings)
{
    const enum dw_timing steps = DW_TIMING_STEPS;
    ck_assert_double_eq_tol(filled(1 / 125., NAN, 16, 100, steps).ev100, 15, 1e-9);
    static const double pair[4][7] = {{1 / 8000., 8, 100, 30, 1.4, 6400, 29},
                                      {1 / 4000., 8, 100, 15, 2.8, 3200, 24},
                                      {1 / 250., 16, 100, 30, 2.8, 1600, 22},
                                      {1 / 125., 8, 100, 1 / 60., 8, 100, 1}};
    for (int i = 0; i < 4; i++) {
        const double *p = pair[i];
        double a = filled(p[0], NAN, p[1], p[2], steps).ev100;
        double b = filled(p[3], NAN, p[4], p[5], steps).ev100;
        ck_assert_double_eq_tol(a - b, p[6], 1e-9);
    }
}
END_TEST

/* Manual lenses write FNumber 0, 0/0, nothing (public issue threads); it must never become a
 * logarithm of zero. */
START_TEST(unknown_aperture_is_constant)
{
    static const double unknown[] = {0, NAN, -1, INFINITY};
    for (size_t i = 0; i < 4; i++) {
        struct dw_shot s = filled(1 / 60., NAN, unknown[i], 100, DW_TIMING_STEPS);
        ck_assert(!s.has_aperture && isnan(s.f_marked));
        ck_assert_double_eq(s.f_number, 1);
        ck_assert_double_eq_tol(s.ev100, 6, 1e-9);
    }
}
END_TEST

START_TEST(missing_or_senseless_records_are_no_record)
{
    struct dw_shot s = filled(NAN, NAN, 2.8, 100, DW_TIMING_STEPS);
    ck_assert(!s.has_shutter && s.has_iso && s.has_aperture && isnan(s.ev100));
    s = filled(1 / 60., NAN, 2.8, NAN, DW_TIMING_STEPS);
    ck_assert(s.has_shutter && !s.has_iso && isnan(s.ev100));
    /* what fuzzed files hold: ISO 1e62, 1/-1 s, f/3.4e-48 */
    s = filled(-1, NAN, 3.4e-48, 1e62, DW_TIMING_STEPS);
    ck_assert(!s.has_shutter && !s.has_iso && !s.has_aperture && isnan(s.ev100));
    /* without ExposureTime the APEX value counts: Tv 6 is 1/64 s; but 0 may be a blank */
    s = filled(NAN, 6, 2.8, 100, DW_TIMING_STEPS);
    ck_assert_double_eq_tol(s.shutter_s, 1 / 64., 1e-12);
    ck_assert(!filled(0, 0, 2.8, 100, DW_TIMING_STEPS).has_shutter);
}
END_TEST

/* ExposureTime 1/60 beside Tv 6 names a step; 30 s beside -log2(30) = -4.907 is timed exactly. */
START_TEST(apex_values_tell_how_a_camera_times)
{
    struct dw_exposure_record r = {1 / 60., 6, NAN, NAN};
    ck_assert_int_eq(dw_exposure_hint(&r), 1);
    r.tv = 5.906891;
    ck_assert_int_eq(dw_exposure_hint(&r), -1);
    r = (struct dw_exposure_record){30, -4.907, NAN, NAN};
    ck_assert_int_eq(dw_exposure_hint(&r), -1);
    r.tv = -5;
    ck_assert_int_eq(dw_exposure_hint(&r), 1);
    r = (struct dw_exposure_record){1 / 8., 3, NAN, NAN}; /* mark and step agree: no word */
    ck_assert_int_eq(dw_exposure_hint(&r), 0);
    r = (struct dw_exposure_record){30, NAN, NAN, NAN};
    ck_assert_int_eq(dw_exposure_hint(&r), 0);
    r.tv = 9; /* nonsense beside 30 s */
    ck_assert_int_eq(dw_exposure_hint(&r), 0);
    ck_assert_double_eq(filled(30, NAN, 2.8, 100, DW_TIMING_EXACT).shutter_s, 30);
    ck_assert_double_eq_tol(filled(30, NAN, 2.8, 100, DW_TIMING_STEPS).shutter_s, 32, 1e-12);
}
END_TEST

/* Formats after Exif 2.31; instants after POSIX (2000-03-01 0h is 951868800). */
START_TEST(exif_times_are_read_without_any_time_zone)
{
    double t;
    ck_assert(dw_exif_time("2000:03:01 00:00:00", &t));
    ck_assert_double_eq(t, 951868800);
    ck_assert(dw_exif_time("2024:02:29 23:59:59", &t));
    ck_assert_double_eq(t, 1709251199);
    ck_assert(dw_exif_time("2018-02-21T12:08:56", &t)); /* as some programs write it */
    static const char *const bad[] = {"",
                                      "    :  :     :  :  ",
                                      "0000:00:00 00:00:00",
                                      "2023:02:29 00:00:00",
                                      "2024:13:01 00:00:00",
                                      "2024:01:01 24:00:00",
                                      "2024:01:01 00:60:00",
                                      "2024:01:01",
                                      "1970:01:01 00:00:00",
                                      "20x4:01:01 00:00:00"};
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++)
        ck_assert_msg(!dw_exif_time(bad[i], &t), "'%s'", bad[i]);
}
END_TEST

START_TEST(exif_offsets_and_fractions)
{
    int s = 1;
    ck_assert(dw_exif_offset("+00:00", &s));
    ck_assert_int_eq(s, 0);
    ck_assert(dw_exif_offset("-07:00", &s));
    ck_assert_int_eq(s, -25200);
    ck_assert(dw_exif_offset("+05:45", &s));
    ck_assert_int_eq(s, 20700);
    ck_assert(dw_exif_offset("-03:30", &s));
    ck_assert_int_eq(s, -12600);
    static const char *const bad[] = {"", "   :  ", "+26:00", "0200", "+02", "+02:75", "+a2:00"};
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++)
        ck_assert_msg(!dw_exif_offset(bad[i], &s), "'%s'", bad[i]);
    /* Exif 2.31: digits of a decimal fraction; blanks may follow */
    ck_assert_double_eq_tol(dw_exif_fraction("05"), 0.05, 1e-12);
    ck_assert_double_eq_tol(dw_exif_fraction("583"), 0.583, 1e-12);
    ck_assert_double_eq_tol(dw_exif_fraction("7  "), 0.7, 1e-12);
    ck_assert_double_eq(dw_exif_fraction("00"), 0);
    ck_assert_double_eq(dw_exif_fraction(""), 0);
}
END_TEST

/* 51/1 28/1 4044/100 N is 51.477900; 33/1 521281/10000 0/1 S is -33.868802 (arithmetic). */
START_TEST(gps_positions)
{
    struct dw_exif x;
    double lat, lon;
    dw_exif_clear(&x);
    ck_assert(!dw_exif_position(&x, &lat, &lon)); /* a block without a position */
    memcpy(x.gps_lat, (double[]){51, 28, 40.44}, sizeof x.gps_lat);
    memcpy(x.gps_lon, (double[]){33, 52.1281, 0}, sizeof x.gps_lon);
    ck_assert(!dw_exif_position(&x, &lat, &lon)); /* no hemisphere */
    x.gps_lat_ref = 'N';
    x.gps_lon_ref = 'W';
    ck_assert(dw_exif_position(&x, &lat, &lon));
    ck_assert_double_eq_tol(lat, 51.4779, 1e-9);
    ck_assert_double_eq_tol(lon, -33.8688017, 1e-6);
    x.gps_lat[0] = 95;
    ck_assert(!dw_exif_position(&x, &lat, &lon));
    memset(x.gps_lat, 0, sizeof x.gps_lat);
    memset(x.gps_lon, 0, sizeof x.gps_lon);
    ck_assert(!dw_exif_position(&x, &lat, &lon)); /* a receiver without a fix */
}
END_TEST

/* PhotographicSensitivity is 16 bits wide and stands at 65535 when it does not fit (Exif 2.31). */
START_TEST(iso_beyond_sixteen_bits)
{
    struct dw_exif x;
    dw_exif_clear(&x);
    ck_assert(isnan(dw_exif_iso(&x)));
    x.iso = 400;
    ck_assert_double_eq(dw_exif_iso(&x), 400);
    x.iso = 65535;
    ck_assert(isnan(dw_exif_iso(&x)));
    x.sensitivity[1] = 102400;
    ck_assert_double_eq(dw_exif_iso(&x), 102400);
    x.iso = 0;
    x.sensitivity[1] = NAN;
    x.sensitivity[0] = 200;
    ck_assert_double_eq(dw_exif_iso(&x), 200);
}
END_TEST

int main(void)
{
    Suite *s = suite_create("exposure");
    TCase *t = tcase_create("exposure");
    tcase_add_test(t, shutter_marks_name_powers_of_two);
    tcase_add_test(t, aperture_marks_name_powers_of_two);
    tcase_add_test(t, iso_marks_name_powers_of_two);
    tcase_add_test(t, other_values_stay_as_they_are);
    tcase_add_test(t, exposure_value_of_true_settings);
    tcase_add_test(t, unknown_aperture_is_constant);
    tcase_add_test(t, missing_or_senseless_records_are_no_record);
    tcase_add_test(t, apex_values_tell_how_a_camera_times);
    tcase_add_test(t, exif_times_are_read_without_any_time_zone);
    tcase_add_test(t, exif_offsets_and_fractions);
    tcase_add_test(t, gps_positions);
    tcase_add_test(t, iso_beyond_sixteen_bits);
    suite_add_tcase(s, t);
    return dw_check_main(s);
}
