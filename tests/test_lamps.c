/* test_lamps.c: a lit room about the view must not lead the key; a lit street may. Invented data.
 */
#include "check_main.h"
#include "fake_shoot.h"

#include "decide/steps.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

enum { COLS = 30, ROWS = 20, TILES = COLS * ROWS };

/* What lamps do to a tile of the fake shoot. */
struct lamps {
    double lux, on_utc, off_utc;
    double daylight; /* share of the outside's light that falls there */
    double fade_s;   /* it goes out by a stop in this; 0: at once */
    double border;   /* share of the tiles, from the frame's edge inwards; 0.5: a room */
    bool below;      /* the lower half of the picture instead */
};

static bool is_lit(const struct lamps *l, int k)
{
    double x = fabs((k % COLS + 0.5) / COLS - 0.5), y = fabs((k / COLS + 0.5) / ROWS - 0.5);
    return l->below ? k / COLS >= ROWS / 2 : fmax(x, y) > l->border / 2;
}

/* Multiplies what a tile of a shot shows above its black. */
static void multiply(struct dw_tile *t, double times)
{
    const float black = 512, white = 16000;
    t->clipped = 0;
    for (int c = 0; c < 3; c++) {
        float level = (t->mean[c] - black) * (float)times;
        t->var[c] *= (float)times;
        if (level > white - black)
            t->clipped = 1;
        t->mean[c] = fminf(black + level, white);
    }
}

/* Gives the tiles of a fake shoot the light of lamps. Its truth knows each tile's light, its levels
 * how much of the range that is; what the lamp adds is added in proportion. */
static void put_lamps(struct fake_shoot *f, const struct lamps *l)
{
    for (size_t i = 0; i < f->shots.n; i++) {
        double utc = f->params.start_utc + (double)i * f->params.interval_s;
        double lamp = utc > l->on_utc && utc < l->off_utc ? l->lux : 0;
        if (utc >= l->off_utc && l->fade_s > 0)
            lamp = l->lux * exp2((l->off_utc - utc) / l->fade_s);
        for (int k = 0; k < TILES; k++) {
            struct dw_tile *t = &f->survey.measure[i].tile[k];
            if (!is_lit(l, k))
                continue;
            double light = exp2((double)f->light[i * TILES + (size_t)k]);
            multiply(t, l->daylight + lamp / light);
        }
    }
}

static double gain(const struct dw_decision *d, size_t i)
{
    return d->frame[i].source[0].gain_stops;
}

static double lightness(double y)
{
    return y > 216.0 / 24389 ? 116 * cbrt(y) - 16 : 24389.0 / 27 * y;
}

/* Half the tiles are a room lit until 23 h, or all night, at 60 lux while it is 0.006 outside. The
 * same nights without it say how the view must come out. */
START_TEST(a_lit_room_does_not_lead_the_key)
{
    struct fake_params p = fake_defaults(4);
    struct fake_shoot plain = fake_make(&p), f = fake_make(&p);
    double set = 0, rise = 0;
    for (size_t i = 1; i < f.shots.n; i++) {
        if (f.alt[i] < -2 && f.alt[i - 1] >= -2)
            set = p.start_utc + (double)i * p.interval_s;
        if (f.alt[i] > -2 && f.alt[i - 1] <= -2)
            rise = p.start_utc + (double)i * p.interval_s;
    }
    ck_assert(rise > set && set > 0);
    struct lamps room = {60, set, _i ? rise : set + 4.5 * 3600, 0.05, 0, 0.7, false};
    put_lamps(&f, &room);
    struct dw_decision d = fake_decide(&f), e = fake_decide(&plain);
    ck_assert_uint_eq(d.n_frames, e.n_frames);
    double worst = 0, apart = 0, least = INFINITY;
    for (size_t i = 0; i < d.n_frames; i++) {
        if (i > 1)
            worst = fmax(worst, fabs(lightness(d.frame[i].key) - 2 * lightness(d.frame[i - 1].key) +
                                     lightness(d.frame[i - 2].key)));
        if (d.frame[i].sun_alt_deg < -8) {
            apart = fmax(apart, gain(&d, i) - gain(&e, i));
            least = fmin(least, gain(&d, i) - gain(&e, i));
        }
    }
    ck_assert_double_lt(worst, 0.3); /* L*: as without lamps */
    /* other tiles are in the mean, and the line is smooth over some hours: hardly more */
    ck_assert_double_gt(least, -0.35);
    ck_assert_double_lt(apart, 0.35);
    /* nor does it mislead the steadying, where it does not fall with the dusk outside */
    double *found = malloc(f.shots.n * sizeof *found);
    for (size_t i = 0; i < f.shots.n; i++)
        found[i] = d.ledger[i].flicker_stops;
    double left = fake_hf(&f, found, -12, 0);
    for (size_t i = 0; i < f.shots.n; i++)
        found[i] = e.ledger[i].flicker_stops;
    double without = fake_hf(&plain, found, -12, 0);
    printf("# left in twilight: %.5f stop beside a lit room, %.5f without\n", left, without);
    ck_assert_double_lt(left, 1.5 * without);
    /* nor makes the ground outside pass for sky, as it would beside a dark room */
    double sky = (double)d.facts.night_sky_keys, plain_sky = (double)e.facts.night_sky_keys;
    printf("# night sky: %.3f keys beside a lit room, %.3f without\n", sky, plain_sky);
    ck_assert_double_gt(sky, 0.8 * plain_sky);
    ck_assert_double_lt(sky, 1.25 * plain_sky);
    free(found);
    dw_decision_free(&d);
    dw_decision_free(&e);
    fake_free(&f);
    fake_free(&plain);
}
END_TEST

/* The lower half is a street with lamps that burn all night, 0.04 lux where it is 0.006 without:
 * within the camera's range. It counts: the gain is lower than without. */
START_TEST(a_lit_street_counts)
{
    struct fake_params p = fake_defaults(4);
    struct fake_shoot plain = fake_make(&p), f = fake_make(&p);
    struct lamps street = {0.04, 0, INFINITY, 1, 0, 0, true};
    put_lamps(&f, &street);
    struct dw_decision d = fake_decide(&f), e = fake_decide(&plain);
    double sum = 0, n = 0;
    for (size_t i = 0; i < d.n_frames; i++)
        if (d.frame[i].sun_alt_deg < -18) {
            sum += gain(&d, i) - gain(&e, i);
            n++;
        }
    ck_assert_double_gt(n, 100);
    ck_assert_double_lt(sum / n, -0.7);
    dw_decision_free(&d);
    dw_decision_free(&e);
    fake_free(&f);
    fake_free(&plain);
}
END_TEST

/* How many tiles are taken for lamps, of those that are and of those that are not. */
static void count_lamps(const struct fake_shoot *f, const struct lamps *truth, int found[2])
{
    struct dw_decide_params params = DW_DECIDE_DEFAULTS;
    params.has_site = true;
    params.site = f->params.site;
    struct dw_facts facts = {0};
    struct dw_error err = {0};
    struct dw_work w = {.shots = &f->shots, .survey = &f->survey, .params = &params};
    w.n = f->shots.n;
    w.tiles = TILES;
    ck_assert(dw_when(&w, &facts, &err) >= 0 && dw_record(&w, &err) >= 0 &&
              dw_levels_learn(&w, &facts, &err) >= 0 && dw_tiles(&w, &facts, &err) >= 0 &&
              dw_poses(&w, &err) >= 0 && dw_lamps(&w, &facts, &err) >= 0);
    found[0] = found[1] = 0;
    for (int k = 0; k < TILES; k++)
        if (w.lamp[k])
            found[truth && is_lit(truth, k)]++;
    dw_arena_free_to(&w.arena, 0);
    dw_facts_free(&facts);
}

/* Nothing in these is a lamp but a window or two in the dark: clear, broken cloud, moonrise,
 * headlights in every tenth shot, lamps that go on in a few tiles of the ground (four in a
 * hundred). */
START_TEST(weather_moon_and_cars_are_not_lamps)
{
    struct fake_params p = fake_defaults(5);
    p.cloud = _i == 1 ? 0.5 : 0;
    p.moonrise_utc = _i == 2 ? p.start_utc + 9 * 3600 : 0;
    p.headlights = _i == 3 ? 0.1 : 0;
    p.headlight_stops = 3;
    p.lamps_utc = _i == 4 ? p.start_utc + 8 * 3600 : 0;
    struct fake_shoot f = fake_make(&p);
    int found[2];
    count_lamps(&f, NULL, found);
    ck_assert_int_le(found[0], _i == 4 ? 15 : 0);
    fake_free(&f);
}
END_TEST

/* Broken cloud that a moon lights: by night patches of five by five tiles of the sky are three
 * stops brighter for one to sixteen shots in a row, and as dark as without for as long. Clouds come
 * and go at once from shot to shot, and now and then one stays, or stays away, for half an hour. */
START_TEST(moonlit_cloud_is_no_lamp)
{
    struct fake_params p = fake_defaults(7 + (unsigned)_i);
    struct fake_shoot f = fake_make(&p);
    for (unsigned patch = 0; patch < TILES / 50; patch++) {
        uint32_t seed = 2654435761u * (patch + 1 + 100 * (unsigned)_i);
        int left = 0;
        bool lit = false;
        for (size_t i = 0; i < f.shots.n; i++) {
            if (left-- == 0) {
                seed = seed * 1664525u + 1013904223u; /* Numerical Recipes' (Press et al. 1992) */
                left = (int)(seed >> 16) % 16;
                lit = !lit;
            }
            for (int k = 0; k < 25 && lit && f.alt[i] < -6; k++) {
                size_t row = patch / (COLS / 5) * 5 + (size_t)k / 5;
                size_t col = patch % (COLS / 5) * 5 + (size_t)k % 5;
                multiply(&f.survey.measure[i].tile[row * COLS + col], 8);
            }
        }
    }
    int found[2];
    count_lamps(&f, NULL, found);
    printf("# %d tiles taken for lamps\n", found[0]);
    ck_assert_int_le(found[0], TILES / 20);
    fake_free(&f);
}
END_TEST

/* A reflection of the lit room in the pane: the lower half of the view bears a veil of 0.05 lux
 * until it goes out in the night. Half the tiles, and these alone, go on and off. Of a frame that
 * is all lamps nothing would be left for the key: then all count. */
START_TEST(what_goes_out_is_found)
{
    struct fake_params p = fake_defaults(6);
    struct fake_shoot f = fake_make(&p), g = fake_make(&p);
    struct lamps veil = {0.05, 0, p.start_utc + 11 * 3600, 1, 0, 0, true};
    struct lamps all = {0.05, 0, p.start_utc + 11 * 3600, 1, 0, -1, false};
    int found[2];
    put_lamps(&f, &veil);
    count_lamps(&f, &veil, found);
    ck_assert_int_eq(found[0], 0);
    ck_assert_int_ge(found[1], TILES / 2 - TILES / 20);
    put_lamps(&g, &all);
    count_lamps(&g, &all, found);
    ck_assert_int_le(found[0] + found[1], TILES / 5);
    fake_free(&f);
    fake_free(&g);
}
END_TEST

/* A lamp that goes on as dusk falls and burns out at once: the least that it can be falls with the
 * dusk, as the camera opens. It goes out so slowly that only its going on can tell. */
START_TEST(a_lamp_that_burns_out_in_dusk_is_found)
{
    struct fake_params p = fake_defaults(8 + (unsigned)_i);
    p.extra_stops = 5; /* the camera goes on to open for an hour */
    struct fake_shoot f = fake_make(&p);
    size_t on = 0;
    while (on < f.shots.n && f.alt[on] > -7.5)
        on++;
    double utc = p.start_utc + ((double)on - 0.5) * p.interval_s;
    struct lamps ring = {1300, utc, utc + 3600, 0.15, 200, 0.9, false};
    int found[2];
    put_lamps(&f, &ring);
    count_lamps(&f, &ring, found);
    printf("# %d and %d tiles taken for lamps\n", found[0], found[1]);
    ck_assert_int_eq(found[0], 0);
    ck_assert_int_ge(found[1], 80);
    fake_free(&f);
}
END_TEST

/* ISO 12232, speed by saturation: full at 78 / (0.65 S) N^2 / t cd/m^2. A matt white wall, 1 / pi
 * of its light: of 100000 lux of sun 32000, of 10000 lux of sky 3200, of a room's 300 lux 95 cd/m^2
 * (illuminances: common practice, no source). What fills the sensor is a lamp's only by the last.
 */
START_TEST(exposure_tells_whose_light_burns_out)
{
    static const double wall[] = {32000, 3200, 95}, want[] = {0, 0, 1};
    static const double stop[] = {2, 4, 8};
    for (int i = 0; i < 3; i++)
        for (int n = 0; n < 3; n++) {
            double iso = 200, t = 78 / (0.65 * iso) * stop[n] * stop[n] / wall[i];
            struct dw_shot shot = {.has_aperture = true, .f_number = stop[n]};
            shot.ev100 = log2(stop[n] * stop[n] / t) - log2(iso / 100);
            ck_assert_double_eq(dw_lamps_burn_out(&shot, 0), want[i]);
            shot = (struct dw_shot){.f_number = 1, .ev100 = -log2(t) - log2(iso / 100)};
            if (stop[n] == 4) /* a lens without contacts: about the same */
                ck_assert_double_eq(dw_lamps_burn_out(&shot, 0), want[i]);
        }
    struct dw_shot none = {.ev100 = (double)NAN};
    ck_assert_double_eq(dw_lamps_burn_out(&none, 10), 0);
    ck_assert_double_eq(dw_lamps_burn_out(&none, -10), 1);
    struct dw_shot dusk = {.has_aperture = true, .f_number = 4};
    double last = 0;
    for (dusk.ev100 = 12; dusk.ev100 > 6; dusk.ev100 -= 1 / 3.0) { /* step by step of a third */
        double share = dw_lamps_burn_out(&dusk, 0);
        ck_assert(share >= last && share < last + 0.25);
        last = share;
    }
}
END_TEST

int main(void)
{
    Suite *s = suite_create("lamps");
    TCase *t = tcase_create("all");
    tcase_add_loop_test(t, a_lit_room_does_not_lead_the_key, 0, 2);
    tcase_add_test(t, a_lit_street_counts);
    tcase_add_loop_test(t, weather_moon_and_cars_are_not_lamps, 0, 5);
    tcase_add_loop_test(t, moonlit_cloud_is_no_lamp, 0, 4);
    tcase_add_test(t, what_goes_out_is_found);
    tcase_add_loop_test(t, a_lamp_that_burns_out_in_dusk_is_found, 0, 3);
    tcase_add_test(t, exposure_tells_whose_light_burns_out);
    suite_add_tcase(s, t);
    return dw_check_main(s);
}
