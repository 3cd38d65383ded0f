/* test_hold.c: light that stays while the dusk goes. All light here is invented. */
#include "check_main.h"
#include "fake_shoot.h"

#include "decide/when/moon_table.h"
#include "decide/when/sun_table.h"
#include "render/facts/hold.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { COLS = DW_HOLD_COLS, ROWS = DW_HOLD_ROWS, TILES = COLS * ROWS };

/* log2 of what is shown of light that is `light` keys, up to the shoulder, in a frame whose key is
 * `above` stops above the night's. */
static double shown(double light, double above)
{
    return above + 1.35 * log2(light);
}

/* A place whose light rises beside the key as the night's floor comes through: of dusk d times as
 * strong as that floor it gets as much as all, of the floor 2^rise times as much. */
START_TEST(what_stays_is_shown_no_brighter_than_before)
{
    static const double rises[] = {0.5, 1, 2, 3, 4};
    for (size_t k = 0; k < sizeof rises / sizeof *rises; k++) {
        double r = exp2(rises[k]), last = INFINITY, free_last = INFINITY, free_rise = 0;
        for (double stops = 12; stops >= 0; stops -= 0.01) {
            double d = exp2(stops) - 1, above = 0.163 * stops, light = (d + r) / (d + 1);
            double held = dw_hold_stops(rises[k], above), now = shown(light, above);
            ck_assert(held >= 0 && held < rises[k]);
            free_rise = fmax(free_rise, now - free_last);
            free_last = now;
            now = shown(light * exp2(-held), above);
            ck_assert_msg(now < last + 1e-3 * 0.163, "rise %g at %g", rises[k], stops);
            last = now;
        }
        ck_assert(free_rise > 0); /* else nothing had to be held */
    }
    /* day, and light that goes with the sun */
    ck_assert(!(dw_hold_stops(4, 3) > 0) && !(dw_hold_stops(0, 0) > 0));
}
END_TEST

static struct dw_facts rising(float rise)
{
    struct dw_facts f = {.mosaic_width = 60, .mosaic_height = 40};
    f.hold.night_key = 0.02;
    for (int y = 0; y < ROWS; y++)
        for (int x = 0; x < COLS; x++)
            f.hold.rise[y][x] = rise;
    return f;
}

static const struct dw_hold_view whole = {0, 0, 1, 1, 0, 64};
static const struct dw_frame night = {.key = 0.02}, day = {.key = 0.2};

/* The factor that grey light of so many keys gets at a pixel of a picture w x h. */
static double factor(const struct dw_hold_map *m, int x, int y, int w, int h, double light)
{
    float row[3][64], *const rgb[3] = {row[0], row[1], row[2]};
    ck_assert_int_le(w, 64);
    for (int c = 0; c < 3; c++)
        for (int i = 0; i < w; i++)
            row[c][i] = (float)light;
    dw_hold_row(m, y, w, h, rgb);
    ck_assert(row[0][x] >= row[1][x] && row[0][x] <= row[2][x]); /* grey it was */
    return (double)row[0][x] / light;
}

START_TEST(sky_and_stars_are_held_and_ground_is_not)
{
    struct dw_facts f = rising(3);
    struct dw_hold_map m = {0};
    ck_assert_int_eq(dw_hold_make(&m, &f, &night, &whole, NULL), DW_OK);
    ck_assert(m.on);
    double held = exp2(-dw_hold_stops(3, 0)), last = 0;
    ck_assert(held < 0.3);
    /* the sky there is 8 keys, and stars shine before it */
    for (double light = 4; light < 1e5; light *= 2)
        ck_assert_double_eq_tol(factor(&m, 20, 10, 60, 40, light), held, 1e-5);
    ck_assert_double_gt(factor(&m, 20, 10, 60, 40, 0.1), 0.97);
    for (double light = 0.01; light < 20; light *= 1.05) { /* what is brighter stays brighter */
        double now = light * factor(&m, 20, 10, 60, 40, light);
        ck_assert_double_gt(now, last);
        last = now;
    }
    ck_assert_int_eq(dw_hold_make(&m, &f, &day, &whole, NULL), DW_OK);
    ck_assert(!m.on); /* by day */
    /* under the stars the key gives way, and the light is as far from the night's as before */
    struct dw_frame deep = {.key = 0.02 * exp2(0.2 - 0.06), .sun_alt_deg = -40};
    ck_assert_int_eq(dw_hold_make(&m, &f, &deep, &whole, NULL), DW_OK);
    ck_assert_double_eq_tol(factor(&m, 20, 10, 60, 40, 1000), exp2(-dw_hold_stops(3, 0.2)), 1e-5);
    f.hold.night_key = 0;
    ck_assert_int_eq(dw_hold_make(&m, &f, &night, &whole, NULL), DW_OK);
    ck_assert(!m.on);
    dw_hold_free(&m);
}
END_TEST

/* Light of one corner of the mosaic is held in that corner, however the picture is turned, and no
 * pixel beside its neighbour shows where tiles meet. */
START_TEST(a_turned_picture_is_held_where_its_light_lies)
{
    static const struct {
        int turn, w, h, x, y;
    } at[] = {{0, 60, 40, 2, 2}, {90, 40, 60, 37, 2}, {180, 60, 40, 57, 37}, {270, 40, 60, 2, 57}};
    struct dw_facts f = rising(0);
    for (int y = 0; y < 5; y++)
        for (int x = 0; x < 5; x++)
            f.hold.rise[y][x] = 3;
    for (size_t k = 0; k < sizeof at / sizeof *at; k++) {
        struct dw_hold_map m = {0};
        struct dw_hold_view view = {0, 0, 1, 1, at[k].turn, 64};
        int w = at[k].w, h = at[k].h;
        ck_assert_int_eq(dw_hold_make(&m, &f, &night, &view, NULL), DW_OK);
        for (int corner = 0; corner < 4; corner++) {
            int x = corner % 2 ? w - 3 : 2, y = corner / 2 ? h - 3 : 2;
            double got = factor(&m, x, y, w, h, 100);
            if (x == at[k].x && y == at[k].y)
                ck_assert_double_lt(got, 0.3);
            else
                ck_assert_double_eq_tol(got, 1, 1e-6);
        }
        double last = 0, steepest = 0;
        for (int x = 0; x < w; x++) {
            double now = log2(factor(&m, x, at[k].y, w, h, 100));
            steepest = x ? fmax(steepest, fabs(now - last)) : 0;
            last = now;
        }
        ck_assert_double_lt(steepest, 1.1); /* 2.2 stops within a tile, which is two pixels */
        dw_hold_free(&m);
    }
    /* a picture of the lower right half sees the corner no more */
    struct dw_hold_map m = {0};
    ck_assert_int_eq(
        dw_hold_make(&m, &f, &night, &(struct dw_hold_view){0.5, 0.5, 1, 1, 0, 64}, NULL), DW_OK);
    ck_assert_double_eq_tol(factor(&m, 2, 2, 60, 40, 100), 1, 1e-6);
    dw_hold_free(&m);
}
END_TEST

/* A town's light over the horizon of the fake shoot, so many times the night sky's at its middle;
 * its levels get in proportion. */
static void put_town(struct fake_shoot *f, double times, int at_x, int at_y)
{
    for (size_t i = 0; i < f->shots.n; i++)
        for (int k = 0; k < TILES; k++) {
            if (k / COLS > at_y)
                continue;
            double far = hypot(k % COLS - at_x, 1.5 * (k / COLS - at_y)) / 6;
            double add =
                0.006 * times * exp(-far * far) / exp2((double)f->light[i * TILES + (size_t)k]);
            struct dw_tile *t = &f->survey.measure[i].tile[k];
            for (int c = 0; c < 3; c++) {
                t->mean[c] = fminf(512 + (t->mean[c] - 512) * (float)(1 + add), 15000);
                t->var[c] *= (float)(1 + add);
            }
        }
}

START_TEST(a_town_is_found_where_it_shines)
{
    struct fake_params p = fake_defaults(4);
    struct fake_shoot f = fake_make(&p);
    put_town(&f, 15, 8, 10);
    struct dw_decision d = fake_decide(&f);
    double lowest = 1;
    for (size_t i = 0; i < d.n_frames; i++)
        lowest = fmin(lowest, d.frame[i].key);
    /* the line's own, before it gives way to stars */
    ck_assert_double_eq_tol(log2(d.facts.hold.night_key / lowest), 0.06, 1e-3);
    /* its 16 times the night's light are four stops, of which some grow freely and some are the
     * key's, which sees the town too */
    ck_assert_double_gt((double)d.facts.hold.rise[9][8], 2.5);
    ck_assert_double_lt((double)d.facts.hold.rise[9][8], 4);
    ck_assert_double_lt((double)d.facts.hold.rise[1][25], 0.3);
    ck_assert_double_lt((double)d.facts.hold.rise[18][8], 0.1);
    dw_decision_free(&d);
    fake_free(&f);
}
END_TEST

/* Near the equator a stop of dusk takes two minutes, and less where shots are few. */
START_TEST(a_town_is_found_in_a_quick_dusk)
{
    struct fake_params p = fake_defaults(4);
    p.site = (struct dw_site){5, 11.2, 100};
    p.interval_s = 240;
    struct fake_shoot f = fake_make(&p);
    put_town(&f, 15, 8, 10);
    struct dw_decision d = fake_decide(&f);
    ck_assert_double_gt((double)d.facts.hold.rise[9][8], 2.5);
    ck_assert_double_lt((double)d.facts.hold.rise[9][8], 4);
    ck_assert_double_lt((double)d.facts.hold.rise[1][25], 0.3);
    dw_decision_free(&d);
    fake_free(&f);
}
END_TEST

/* Where its light is more than the sensor holds by night, it rises by no less than beside that. */
START_TEST(a_town_that_burns_out_is_held_there_too)
{
    struct fake_params p = fake_defaults(4);
    struct fake_shoot f = fake_make(&p);
    put_town(&f, 15, 8, 10);
    for (size_t i = 0; i < f.shots.n; i++)
        for (int k = 0; k < TILES; k++) {
            struct dw_tile *t = &f.survey.measure[i].tile[k];
            bool by_night = exp2((double)f.light[i * TILES + (size_t)k]) < 0.02;
            if (by_night && hypot(k % COLS - 8, k / COLS - 10) < 2)
                t->clipped = 1;
        }
    struct dw_decision d = fake_decide(&f);
    ck_assert_double_gt((double)d.facts.hold.rise[9][8], 2);
    ck_assert_double_lt((double)d.facts.hold.rise[1][25], 0.3);
    dw_decision_free(&d);
    fake_free(&f);
}
END_TEST

START_TEST(nothing_is_held_where_nothing_stays)
{
    struct fake_params p = fake_defaults(4);
    if (_i == 1) { /* it raises all, the ground above all */
        p.start_utc -= 9 * 86400;
        p.moonrise_utc = p.start_utc + 10.5 * 3600; /* 81 % of the disc, by the ephemeris */
    }
    struct fake_shoot f = fake_make(&p);
    struct dw_decision d = fake_decide(&f);
    ck_assert(!(d.facts.hold.night_key > 0));
    dw_decision_free(&d);
    fake_free(&f);
}
END_TEST

/* Held against the exact answer (test_sky.c has that one's sources) at instants between the points,
 * near the equator where she passes the zenith and in the north, for the table's whole month. */
START_TEST(a_moon_between_the_points_of_the_table_is_the_exact_one)
{
    const struct dw_site site = {_i == 0 ? 5.0 : 69.0, 18.0, 200};
    const double from = 1.76e9, to = from + 30 * 86400.0;
    struct dw_arena arena = {0};
    struct dw_moon_table table;
    struct dw_error err;
    ck_assert_int_eq(dw_moon_table_make(&site, from, to, &arena, &table, &err), DW_OK);
    double highest = -90;
    for (double utc = from; utc <= to; utc += 3217.3) {
        struct dw_horizontal moon;
        double lit, alt, share;
        ck_assert_int_eq(dw_moon(&site, utc, &moon, &lit), DW_OK);
        ck_assert(dw_moon_table_at(&table, utc, &alt, &share));
        ck_assert_double_eq_tol(sin(alt / 57.29577951308232), sin(moon.alt_deg / 57.29577951308232),
                                1e-9);
        ck_assert_double_eq_tol(share, lit, 1e-9);
        highest = fmax(highest, alt);
    }
    ck_assert(highest > (_i == 0 ? 70 : 40));
    dw_arena_free_to(&arena, 0);
}
END_TEST

/* The same for the sun, a week long; in the zenith too, where the sine is all that is smooth. */
START_TEST(a_sun_between_the_points_of_the_table_is_the_exact_one)
{
    const struct dw_site site = {_i == 0 ? 5.0 : 69.0, 18.0, 200};
    const double from = 1.76e9, to = from + 608 * 997.25;
    struct dw_arena arena = {0};
    struct dw_sun_table table;
    struct dw_error err;
    ck_assert_int_eq(dw_sun_table_make(&site, from, to, &arena, &table, &err), DW_OK);
    ck_assert_double_eq(dw_sun_table_points(from, to), (double)table.n);
    ck_assert_uint_lt(table.n, 400);
    double lowest = 90;
    for (double utc = from; utc <= to; utc += 997.25) {
        struct dw_horizontal sun;
        ck_assert_int_eq(dw_sun(&site, utc, &sun), DW_OK);
        double alt = dw_sun_table_altitude(&table, utc);
        ck_assert_double_eq_tol(sin(alt / 57.29577951308232), sin(sun.alt_deg / 57.29577951308232),
                                1e-9);
        lowest = fmin(lowest, alt);
    }
    ck_assert(lowest < (_i == 0 ? -70 : -20));
    dw_arena_free_to(&arena, 0);
}
END_TEST

/* A clock that jumped by centuries takes no table of gigabytes: each answer is the exact one. */
START_TEST(a_span_beyond_reason_needs_no_table)
{
    const struct dw_site site = {46, 8, 200};
    struct dw_arena arena = {0};
    struct dw_moon_table table;
    struct dw_error err;
    ck_assert_int_eq(dw_moon_table_make(&site, -6e10, 2e11, &arena, &table, &err), DW_OK);
    ck_assert_ptr_null(table.point);
    struct dw_horizontal moon;
    double lit, alt, share;
    ck_assert_int_eq(dw_moon(&site, 1.76e9, &moon, &lit), DW_OK);
    ck_assert(dw_moon_table_at(&table, 1.76e9, &alt, &share));
    ck_assert_double_eq(alt, moon.alt_deg);
    ck_assert_double_eq(share, lit);
    dw_arena_free_to(&arena, 0);
}
END_TEST

int main(void)
{
    Suite *s = suite_create("hold");
    TCase *c = tcase_create("hold");
    tcase_set_timeout(c, 120);
    tcase_add_test(c, what_stays_is_shown_no_brighter_than_before);
    tcase_add_test(c, sky_and_stars_are_held_and_ground_is_not);
    tcase_add_test(c, a_span_beyond_reason_needs_no_table);
    tcase_add_loop_test(c, a_sun_between_the_points_of_the_table_is_the_exact_one, 0, 2);
    tcase_add_test(c, a_turned_picture_is_held_where_its_light_lies);
    tcase_add_test(c, a_town_is_found_where_it_shines);
    tcase_add_test(c, a_town_is_found_in_a_quick_dusk);
    tcase_add_test(c, a_town_that_burns_out_is_held_there_too);
    tcase_add_loop_test(c, nothing_is_held_where_nothing_stays, 0, 2);
    tcase_add_loop_test(c, a_moon_between_the_points_of_the_table_is_the_exact_one, 0, 2);
    suite_add_tcase(s, c);
    return dw_check_main(s);
}
