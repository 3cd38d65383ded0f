/* test_faults.c: the judges against invented shoots with planted faults, and against disturbances
 * that are none. */
#include "check_main.h"
#include "fake_shoot.h"
#include "invented.h"

#include "decide/faults/cloud.h"
#include "decide/faults/same_light.h"
#include "decide/work.h"

#include <math.h>
#include <string.h>

/* ---- a shoot with one of each ---- */

static bool has(const char *codes, const char *code)
{
    const char *p = strstr(codes, code);
    size_t n = strlen(code);
    return p && (p == codes || p[-1] == ' ') && (p[n] == '\0' || p[n] == ' ');
}

static bool near(const struct dw_csv *t, size_t row, int column, const char *code, size_t reach)
{
    for (size_t j = row > reach ? row - reach : 0; j <= row + reach && j < t->rows; j++)
        if (has(dw_csv_field(t, j, column), code))
            return true;
    return false;
}

/* Every planted code is found; where a fault creeps on, its first and last two shots may be told
 * either way. Nothing is found where nothing near is planted. */
START_TEST(each_planted_fault_is_found_and_nothing_else)
{
    struct invented v;
    invented_make(&v, "--scene faults --seed 7 --size 600x400 --jobs 2");
    struct dw_csv t = invented_table(&v, "truth/shots.csv");
    int file = dw_csv_column(&t, "file"), faults = dw_csv_column(&t, "faults");
    size_t shot = 0, judged = 0;
    for (size_t i = 0; i < t.rows; i++) {
        if (shot >= v.shots.n || strcmp(dw_csv_field(&t, i, file), v.shots.shot[shot].name) != 0)
            continue; /* a gap */
        const struct dw_ledger_row *row = &v.decision.ledger[shot++];
        judged++;
        for (int k = 0; k < DW_FAULT_COUNT; k++) {
            const char *code = dw_fault_name(k);
            bool planted = has(dw_csv_field(&t, i, faults), code), found = row->faults >> k & 1;
            bool creeps = 1u << k & (DW_SOFT | DW_HAZE | DW_CLOUD);
            if (planted == found)
                continue;
            /* within a stretch, away from its ends, there is no doubt */
            bool edge = creeps && near(&t, i, faults, code, 2) &&
                        !(has(dw_csv_field(&t, i - 2, faults), code) &&
                          has(dw_csv_field(&t, i + 2, faults), code));
            ck_assert_msg(edge, "shot %zu: %s is %s: %s", i + 1, code, planted ? "missed" : "found",
                          row->reason);
        }
        /* a sentence and a severity for every fault, and none without */
        ck_assert((row->faults == 0) == (row->severity == 0));
        ck_assert(row->faults == 0 || row->reason[0]);
        ck_assert_double_le(row->severity, 1);
        bool spoiled = row->faults & (DW_UNREADABLE | DW_BRIGHT | DW_DARK | DW_FLASH);
        ck_assert(row->use == !spoiled);
    }
    ck_assert_uint_eq(judged, v.shots.n);
    dw_csv_free(&t);
    invented_free(&v);
}
END_TEST

/* ---- what creeps on and goes ---- */

/* Shots of an invented shoot that have a code where none is planted, or the other way round. */
static size_t wrongly_judged(const char *options, uint32_t fault, const char *code, size_t *planted)
{
    struct invented v;
    invented_make(&v, options);
    struct dw_csv t = invented_table(&v, "truth/shots.csv");
    int faults = dw_csv_column(&t, "faults");
    size_t wrong = 0;
    *planted = 0;
    ck_assert_uint_eq(t.rows, v.shots.n);
    for (size_t i = 0; i < t.rows; i++) {
        bool is = has(dw_csv_field(&t, i, faults), code),
             said = v.decision.ledger[i].faults & fault;
        *planted += is;
        wrong += is != said;
    }
    dw_csv_free(&t);
    invented_free(&v);
    return wrong;
}

/* Fog by night takes contrast slowly, fog before a low sun takes the sun's light at once: the same
 * thickness is called fog in both. Four edges, and at most every other one is a shot off; with one
 * limit for all light there were 4. */
START_TEST(fog_begins_at_the_same_thickness_by_night_and_by_day)
{
    size_t planted;
    size_t wrong = wrongly_judged("--scene foggy --seed 4 --frames 390 --interval 240 --jobs 2 "
                                  "--size 600x400 --faults 'haze@150-210*2.2 haze@227-270*3.2'",
                                  DW_HAZE, "haze", &planted);
    ck_assert_uint_gt(planted, 40);
    ck_assert_uint_le(wrong, 2);
}
END_TEST

/* Shadows shrink as the moon climbs, and take the contrast of the ground with them. */
START_TEST(a_climbing_moon_is_no_fog)
{
    size_t planted;
    ck_assert_uint_eq(wrongly_judged("--scene everything-moves --seed 4 --frames 261 --interval "
                                     "360 --headlights 0 --aircraft 0 --jobs 2",
                                     DW_HAZE, "haze", &planted),
                      0);
    ck_assert_uint_eq(planted, 0);
}
END_TEST

START_TEST(a_bank_of_cloud_has_its_edges_and_scattered_clouds_have_none)
{
    const double nan = (double)NAN;
    const double ratio[] = {1,    0.5,  0.3, 0.1, 0.05, nan, 0.1, 0.5, 1,   /* a bank */
                            0.5,  0.3,  0.1, 0.3, 0.1,  0.5, 0.9,           /* scattered */
                            0.14, 0.14, 1,   nan, 0.1,  0.1, 0.1, 0.6, 0.7, /* at the end */
                            0.4};
    enum { N = sizeof ratio / sizeof *ratio };
    const char *const want = ".1111.11........"
                             "....1111..";
    bool lower[N], bank[N];
    for (size_t i = 0; i < N; i++)
        lower[i] = ratio[i] < 0.62;
    memset(bank, 1, sizeof bank);
    dw_cloud_bank(ratio, lower, N, bank);
    for (size_t i = 0; i < N; i++)
        ck_assert_msg(bank[i] == (want[i] == '1'), "shot %zu of ratio %g", i, ratio[i]);
}
END_TEST

/* An evening whose light never comes again has no like but its own dew. */
START_TEST(dew_is_found_in_light_that_was_there_but_once)
{
    size_t planted;
    size_t wrong =
        wrongly_judged("--scene white-night --seed 6 --frames 125 --interval 480 --jobs 2 "
                       "--faults 'soft@62-75*2.5'",
                       DW_SOFT, "soft", &planted);
    ck_assert_uint_ge(planted, 9);
    ck_assert_uint_le(wrong, 1);
}
END_TEST

/* By night a lit room shows edges stronger than the light about them; when the lamp goes out they
 * are gone, and no fog has come. */
START_TEST(a_lamp_that_goes_out_is_no_fog)
{
    size_t planted;
    ck_assert_uint_eq(wrongly_judged("--scene window --seed 6 --frames 187 --interval 360 --jobs 2 "
                                     "--faults 'moved@67*4 moved@134*6'",
                                     DW_HAZE, "haze", &planted),
                      0);
    ck_assert_uint_eq(planted, 0);
}
END_TEST

/* Dew hides stars as clouds do, and a moonless ground shows no detail to tell it by; but stars that
 * are still seen are wide in the one and sharp in the other. Of both, the first and the last shot
 * may be told either way. */
START_TEST(dew_by_night_is_told_from_cloud)
{
    struct invented v;
    invented_make(&v, "--scene clear --seed 6 --start 2025-03-28T20:00:00Z --frames 70 --interval "
                      "240 --faults 'soft@15-32*3 cloud@45-58' --jobs 2");
    struct dw_csv t = invented_table(&v, "truth/shots.csv");
    int faults = dw_csv_column(&t, "faults");
    for (size_t i = 0; i < t.rows; i++) {
        uint32_t found = v.decision.ledger[i].faults & (DW_SOFT | DW_CLOUD);
        bool soft = has(dw_csv_field(&t, i, faults), "soft"),
             cloud = has(dw_csv_field(&t, i, faults), "cloud");
        uint32_t want = soft ? DW_SOFT : cloud ? DW_CLOUD : 0;
        bool edge = near(&t, i, faults, soft || i < 40 ? "soft" : "cloud", 1) &&
                    !(i > 0 && has(dw_csv_field(&t, i - 1, faults), i < 40 ? "soft" : "cloud") &&
                      has(dw_csv_field(&t, i + 1, faults), i < 40 ? "soft" : "cloud"));
        ck_assert_msg(found == want || (edge && found == 0) ||
                          (edge && want == 0 && found == (i < 40 ? DW_SOFT : DW_CLOUD)),
                      "shot %zu: %u for %u: %s", i + 1, found, want, v.decision.ledger[i].reason);
    }
    ck_assert(v.decision.ledger[25].faults & DW_SOFT && v.decision.ledger[51].faults & DW_CLOUD);
    dw_csv_free(&t);
    invented_free(&v);
}
END_TEST

/* A kick of 117 px leaves nothing in any patch that was there before. */
START_TEST(a_kicked_tripod_is_said)
{
    struct invented v;
    invented_make(&v, "--scene clear --seed 8 --frames 50 --interval 600 --faults moved@20*100 "
                      "--jobs 2");
    for (size_t i = 0; i < v.shots.n; i++)
        ck_assert_msg(v.decision.ledger[i].faults == (i == 19 ? DW_MOVED : 0), "shot %zu: %s",
                      i + 1, v.decision.ledger[i].reason);
    double right = 0, up = 0;
    ck_assert_int_eq(sscanf(v.decision.ledger[19].reason,
                            "displaced by about %lf px right and %lf px up", &right, &up),
                     2);
    ck_assert_double_eq_tol(right, 100, 2);
    ck_assert_double_eq_tol(up, 60, 2);
    invented_free(&v);
}
END_TEST

/* Fog of a single morning has no like of its light; all daylight is its measure. */
START_TEST(fog_is_found_in_light_that_was_there_but_once)
{
    size_t planted;
    size_t wrong = wrongly_judged("--scene clear --seed 12 --frames 140 --interval 600 --jobs 2 "
                                  "--faults 'haze@107-122*2.5'",
                                  DW_HAZE, "haze", &planted);
    ck_assert_uint_ge(planted, 10);
    ck_assert_uint_le(wrong, 2);
}
END_TEST

/* Displacements from a fifth of a pixel on, each shot's as rendering takes it back, against the
 * truth of the shoot. */
START_TEST(bumps_are_measured_to_a_twentieth_of_a_pixel)
{
    struct invented v;
    invented_make(&v, "--scene clear --seed 5 --frames 64 --interval 300 --jobs 2 --faults "
                      "'moved@12*0.2 moved@22*0.35 moved@32*0.83 moved@42*2.61 moved@52*9.4'");
    struct dw_csv t = invented_table(&v, "truth/shots.csv");
    int right = dw_csv_column(&t, "shift_x"), down = dw_csv_column(&t, "shift_y");
    int faults = dw_csv_column(&t, "faults"), bumps = 0;
    const struct dw_source *first = &v.decision.frame[0].source[0];
    ck_assert_uint_eq(v.decision.n_frames, 64);
    for (size_t i = 0; i < 64; i++) {
        const struct dw_source *s = &v.decision.frame[i].source[0];
        bool bump = has(dw_csv_field(&t, i, faults), "moved");
        bumps += bump;
        ck_assert_msg((v.decision.ledger[i].faults == DW_MOVED) == bump, "shot %zu: %s", i + 1,
                      v.decision.ledger[i].reason);
        ck_assert_double_eq_tol(s->shift_x - first->shift_x,
                                strtod(dw_csv_field(&t, i, right), NULL), 0.05);
        ck_assert_double_eq_tol(s->shift_y - first->shift_y,
                                strtod(dw_csv_field(&t, i, down), NULL), 0.05);
    }
    ck_assert_int_eq(bumps, 5);
    dw_csv_free(&t);
    invented_free(&v);
}
END_TEST

/* ---- in the pane ---- */

/* Lamps mirrored in the pane from dusk on, and before dawn: over the sky the first shot or two of
 * each may be told either way. */
START_TEST(a_lamp_mirrored_in_the_pane_is_told)
{
    size_t planted;
    size_t wrong = wrongly_judged("--scene pane --seed 9 --frames 196 --interval 480 --jobs 2 "
                                  "--faults 'reflection@34-75*0.3 reflection@116-160*0.05'",
                                  DW_REFLECTION, "reflection", &planted);
    ck_assert_uint_ge(planted, 30);
    ck_assert_uint_le(wrong, 2);
}
END_TEST

/* Nor do they tell when the sky takes on the night's colour: its balance comes as it does without
 * them (with them it was there 9 degrees of sun altitude too early, and dawn was deep blue). */
START_TEST(a_lamp_in_the_pane_does_not_hurry_the_nights_balance)
{
    struct invented v[2];
    invented_make(&v[0], "--scene clear --seed 9 --frames 196 --interval 480 --jobs 2");
    invented_make(&v[1], "--scene pane --seed 9 --frames 196 --interval 480 --jobs 2 --faults "
                         "'reflection@46-75*0.3 reflection@116-160*0.05'");
    const struct dw_facts *a = &v[0].decision.facts, *b = &v[1].decision.facts;
    ck_assert_double_eq_tol(a->balance_night_deg, b->balance_night_deg, 2);
    ck_assert_double_eq_tol(a->balance_day_deg, b->balance_day_deg, 3); /* a line over the gap */
    invented_free(&v[0]);
    invented_free(&v[1]);
}
END_TEST

/* A lit room about a window, its burnt-out frame, a lit house outside, and the glow of a town over
 * the horizon: all really there. */
START_TEST(lamps_and_glows_that_are_there_are_no_reflections)
{
    static const char *const shoots[] = {
        "--scene window --seed 7 --frames 130 --interval 720 --jobs 2",
        "--scene polar-night --seed 2 --frames 98 --interval 960 --jobs 2",
        "--scene clear --seed 7 --frames 98 --interval 960 --town 0.02 --town-az 20 --jobs 2"};
    for (size_t k = 0; k < sizeof shoots / sizeof *shoots; k++) {
        size_t planted;
        ck_assert_uint_eq(wrongly_judged(shoots[k], DW_REFLECTION, "reflection", &planted), 0);
        ck_assert_uint_eq(planted, 0);
    }
}
END_TEST

/* ---- lights in the night ---- */

static struct fake_shoot shoot(int frames)
{
    struct fake_params p = fake_defaults(5);
    p.frames = frames;
    p.start_utc += 9 * 3600; /* in the night */
    return fake_make(&p);
}

static struct dw_decision decide(const struct fake_shoot *f)
{
    struct dw_decide_params p = DW_DECIDE_DEFAULTS;
    p.has_site = true;
    p.site = f->params.site;
    p.has_utc_offset = true;
    struct dw_decision d;
    struct dw_error err = {0};
    ck_assert_msg(dw_decide(&f->shots, &f->survey, &p, NULL, &d, &err) >= 0, "%s", err.text);
    return d;
}

/* Light over tiles first..last of a shot, stops. */
static void light(struct fake_shoot *f, size_t i, int first, int last, double stops)
{
    struct dw_tile *t = f->survey.measure[i].tile;
    for (int k = first; k <= last; k++)
        for (int c = 0; c < 3; c++)
            t[k].mean[c] = (float)(512 + ((double)t[k].mean[c] - 512) * exp2(stops));
}

START_TEST(a_brief_light_is_found_and_its_place_bridged)
{
    struct fake_shoot f = shoot(60);
    light(&f, 30, 500, 540, 2.5);
    struct dw_decision d = decide(&f);
    ck_assert_double_lt(d.ledger[30].sun_alt_deg, -3);
    for (size_t i = 0; i < 60; i++)
        ck_assert_msg(d.ledger[i].faults == (i == 30 ? DW_FLASH : 0), "shot %zu: %s", i,
                      d.ledger[i].reason);
    ck_assert_int_eq(d.ledger[30].done, DW_DONE_BRIDGED);
    dw_decision_free(&d);
    fake_free(&f);
}
END_TEST

START_TEST(a_lamp_that_stays_on_and_an_aircraft_are_no_flash)
{
    struct fake_shoot f = shoot(60);
    for (size_t i = 30; i < 60; i++)
        light(&f, i, 500, 540, 2.5); /* a lamp */
    light(&f, 20, 100, 103, 3);      /* a trail over four tiles */
    struct dw_decision d = decide(&f);
    for (size_t i = 0; i < 60; i++)
        ck_assert_msg(d.ledger[i].faults == 0, "shot %zu: %s", i, d.ledger[i].reason);
    dw_decision_free(&d);
    fake_free(&f);
}
END_TEST

/* Headlights that fill the picture look like a wrong exposure; the settings tell. */
START_TEST(light_over_all_of_the_picture_is_told_from_exposure_by_the_settings)
{
    for (int wrong = 0; wrong < 2; wrong++) {
        struct fake_shoot f = shoot(60);
        light(&f, 30, 0, 599, 2.5);
        if (wrong) /* exposed longer, and recorded as it was */
            f.shots.shot[30].ev100 -= 2.5;
        struct dw_decision d = decide(&f);
        ck_assert_uint_eq(d.ledger[30].faults, wrong ? DW_BRIGHT : DW_FLASH);
        ck_assert(!d.ledger[30].use);
        dw_decision_free(&d);
        fake_free(&f);
    }
}
END_TEST

/* The same at dusk, where the camera follows the light from shot to shot. */
START_TEST(light_at_dusk_is_told_from_exposure_while_settings_change)
{
    for (int wrong = 0; wrong < 2; wrong++) {
        struct fake_shoot f = shoot(60);
        for (size_t i = 0; i < 60; i++) /* a third of a stop a shot, exposed as it falls */
            f.shots.shot[i].ev100 += (30 - (double)i) / 3;
        light(&f, 30, 0, 599, 2.5);
        if (wrong)
            f.shots.shot[30].ev100 -= 2.5;
        struct dw_decision d = decide(&f);
        ck_assert_uint_eq(d.ledger[30].faults, wrong ? DW_BRIGHT : DW_FLASH);
        dw_decision_free(&d);
        fake_free(&f);
    }
}
END_TEST

/* ---- the same light ---- */

struct seen {
    const struct dw_work *w;
    int classes;
    size_t mine;
    bool across; /* shots of two poses were compared */
};

static void look(void *ctx, const struct dw_light_class *c, void *work)
{
    (void)work;
    struct seen *s = ctx;
    s->classes++;
    s->mine += c->n_mine;
    for (size_t k = 0; k < c->n_mine; k++) {
        double h = s->w->alt[c->mine[k]];
        bool self = false;
        for (size_t j = 0; j < c->n_like; j++) {
            self |= c->like[j] == c->mine[k];
            double off = fabs(s->w->alt[c->like[j]] - h);
            ck_assert(off < 4.5 || (h < -18 && s->w->alt[c->like[j]] < -16.5));
            ck_assert_int_eq(s->w->pose[c->like[j]] == 2, s->w->pose[c->mine[k]] == 2);
            s->across |= s->w->pose[c->like[j]] != s->w->pose[c->mine[k]];
        }
        ck_assert(self);
    }
}

/* Every shot is in one class; its like are of its pose and altitude, and spoiled ones not among
 * them. */
START_TEST(shots_are_compared_with_the_same_light)
{
    enum { N = 400 };
    struct dw_measure measure[N] = {{.width = 900}};
    const struct dw_survey survey = {.cols = 30, .rows = 20, .n = N, .measure = measure};
    struct dw_shift shift[N];
    struct dw_work w = {.n = N, .survey = &survey, .shift = shift};
    double alt[N];
    bool usable[N];
    int pose[N];
    struct dw_ledger_row *ledger = calloc(N, sizeof *ledger);
    for (size_t i = 0; i < N; i++) {
        alt[i] = 50 * sin((double)i * 2 * M_PI / 360);
        usable[i] = i != 7;
        pose[i] = i >= 300 ? 2 : i >= 200; /* moved by less than half a tile, and by many */
        measure[i].width = 900;
        shift[i] = (struct dw_shift){.x = i >= 300 ? 100 : i >= 200 ? 3 : 0};
    }
    ledger[9].faults = DW_DARK;
    w.alt = alt;
    w.usable = usable;
    w.pose = pose;
    for (int sides = 0; sides < 2; sides++) {
        struct seen s = {&w, 0, 0, false};
        ck_assert_int_eq(dw_same_light(&w, ledger, DW_DARK, sides, look, &s, 0, NULL), DW_OK);
        ck_assert_uint_eq(s.mine, N - 2);
        ck_assert_int_gt(s.classes, 40);
        ck_assert(s.across);
    }
    free(ledger);
}
END_TEST

/* Median and quantile tile by tile, where enough know; hand-made. */
START_TEST(the_reference_is_a_quantile_of_those_that_know)
{
    const float value[5 * 2] = {1, NAN, 2, NAN, 3, 8, 4, NAN, 5, 9};
    const size_t all[5] = {0, 1, 2, 3, 4};
    struct dw_light_class c = {all, all, 5, 5};
    double out[2], work[DW_LIGHT_COLUMNS * 5];
    dw_same_light_quantile(&c, value, 2, 0.75, 0.3, out, work);
    ck_assert_double_eq_tol(out[0], 4, 1e-12);
    ck_assert(isnan(out[1])); /* two of five are fewer than three */
}
END_TEST

int main(void)
{
    Suite *s = suite_create("faults");
    TCase *t = tcase_create("all");
    tcase_add_test(t, each_planted_fault_is_found_and_nothing_else);
    tcase_add_test(t, fog_begins_at_the_same_thickness_by_night_and_by_day);
    tcase_add_test(t, a_climbing_moon_is_no_fog);
    tcase_add_test(t, a_bank_of_cloud_has_its_edges_and_scattered_clouds_have_none);
    tcase_add_test(t, dew_is_found_in_light_that_was_there_but_once);
    tcase_add_test(t, a_lamp_that_goes_out_is_no_fog);
    tcase_add_test(t, a_kicked_tripod_is_said);
    tcase_add_test(t, dew_by_night_is_told_from_cloud);
    tcase_add_test(t, fog_is_found_in_light_that_was_there_but_once);
    tcase_add_test(t, bumps_are_measured_to_a_twentieth_of_a_pixel);
    tcase_add_test(t, a_lamp_mirrored_in_the_pane_is_told);
    tcase_add_test(t, a_lamp_in_the_pane_does_not_hurry_the_nights_balance);
    tcase_add_test(t, lamps_and_glows_that_are_there_are_no_reflections);
    tcase_add_test(t, a_brief_light_is_found_and_its_place_bridged);
    tcase_add_test(t, a_lamp_that_stays_on_and_an_aircraft_are_no_flash);
    tcase_add_test(t, light_over_all_of_the_picture_is_told_from_exposure_by_the_settings);
    tcase_add_test(t, light_at_dusk_is_told_from_exposure_while_settings_change);
    tcase_add_test(t, shots_are_compared_with_the_same_light);
    tcase_add_test(t, the_reference_is_a_quantile_of_those_that_know);
    suite_add_tcase(s, t);
    return dw_check_main(s);
}
