/* test_decide.c: times and sites, faults, levels, and what becomes of missing shots. */
#include "check_main.h"
#include "fake_shoot.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static struct dw_decide_params for_site(const struct fake_shoot *f)
{
    struct dw_decide_params params = DW_DECIDE_DEFAULTS;
    params.has_site = true;
    params.site = f->params.site;
    return params;
}

static struct dw_decision decide(const struct fake_shoot *f, const struct dw_decide_params *params)
{
    struct dw_decision d;
    struct dw_error err = {0};
    ck_assert_msg(dw_decide(&f->shots, &f->survey, params, NULL, &d, &err) == DW_OK, "%s",
                  err.text);
    return d;
}

static struct fake_shoot shoot(int frames, double start_h)
{
    struct fake_params p = fake_defaults(1);
    p.frames = frames;
    p.start_utc += 3600 * start_h;
    return fake_make(&p);
}

START_TEST(no_site_says_how_to_give_one)
{
    struct fake_shoot f = shoot(5, 0);
    struct dw_decide_params params = DW_DECIDE_DEFAULTS;
    struct dw_decision d;
    struct dw_error err = {0};
    ck_assert_int_eq(dw_decide(&f.shots, &f.survey, &params, NULL, &d, &err), DW_ERR_USAGE);
    ck_assert_ptr_nonnull(strstr(err.text, "--site"));
    ck_assert_ptr_null(d.ledger); /* nothing half-made is left */
    fake_free(&f);
}
END_TEST

START_TEST(site_is_the_median_fix_even_across_the_date_line)
{
    struct fake_shoot f = shoot(5, 0);
    const double lon[5] = {179.9, -179.9, 180, -179.8, 12};
    for (int i = 0; i < 5; i++) {
        f.shots.shot[i].has_gps = true;
        f.shots.shot[i].lat_deg = i == 4 ? 0 : -17.5;
        f.shots.shot[i].lon_deg = lon[i];
    }
    struct dw_decide_params params = DW_DECIDE_DEFAULTS;
    struct dw_decision d = decide(&f, &params);
    ck_assert_double_eq_tol(d.facts.site.lat_deg, -17.5, 1e-9);
    ck_assert_double_eq_tol(fabs(remainder(d.facts.site.lon_deg - 180, 360)), 0, 1e-6);
    dw_decision_free(&d);
    fake_free(&f);
}
END_TEST

/* Mid-exposure = start + half the shutter time; a shot's own offset tag is obeyed, so a clock that
 * is put forward in mid-shoot makes no gap; the option overrules all tags. */
START_TEST(instants_are_mid_exposure_in_utc)
{
    struct fake_shoot f = shoot(40, 12);
    for (int i = 0; i < 40; i++) {
        f.shots.shot[i].offset_s = i < 20 ? 3600 : 7200;
        f.shots.shot[i].clock_s += f.shots.shot[i].offset_s;
    }
    struct dw_decide_params params = for_site(&f);
    struct dw_decision d = decide(&f, &params);
    for (int i = 0; i < 40; i++)
        ck_assert_double_eq_tol(d.ledger[i].utc_s, f.params.start_utc + 120.0 * i, 1e-3);
    ck_assert_double_eq_tol(d.facts.interval_s, 120, 1e-3);
    dw_decision_free(&d);
    params.has_utc_offset = true;
    params.utc_offset_s = 0;
    d = decide(&f, &params);
    ck_assert_double_eq_tol(d.ledger[0].utc_s, f.params.start_utc + 3600, 1e-3);
    dw_decision_free(&d);
    fake_free(&f);
}
END_TEST

/* Any camera clock in use anywhere (IANA time zone database): found from the light alone. */
START_TEST(offset_is_judged_from_the_light)
{
    const int offsets[] = {0, 3600, -3 * 3600 - 1800, 5 * 3600 + 2700, 12 * 3600};
    struct fake_shoot f = shoot(781, 0);
    for (size_t i = 0; i < f.shots.n; i++) {
        f.shots.shot[i].has_offset = false;
        f.shots.shot[i].clock_s += offsets[_i];
    }
    struct dw_decide_params params = for_site(&f);
    struct dw_decision d = decide(&f, &params);
    ck_assert_int_eq(d.facts.utc_offset_s, offsets[_i]);
    dw_decision_free(&d);
    fake_free(&f);
}
END_TEST

/* Makes shot i one that could not be decoded. */
static void spoil(struct fake_shoot *f, size_t i)
{
    f->survey.measure[i].usable = false;
    free(f->survey.measure[i].tile);
    f->survey.measure[i].tile = NULL;
    strcpy(f->survey.measure[i].problem, "rows repeat");
}

START_TEST(by_day_a_missing_shot_is_mixed_from_its_neighbours)
{
    struct fake_shoot f = shoot(60, 0);
    spoil(&f, 20);
    spoil(&f, 21);
    struct dw_decide_params params = for_site(&f);
    struct dw_decision d = decide(&f, &params);
    ck_assert_uint_eq(d.n_frames, 60);
    ck_assert(d.ledger[20].faults & DW_UNREADABLE);
    ck_assert(!d.ledger[20].use);
    ck_assert_uint_eq(d.ledger[20].frame, 0);
    ck_assert_ptr_nonnull(strstr(d.ledger[20].reason, "rows repeat"));
    ck_assert_int_eq(d.ledger[19].done, DW_DONE_SHOWN);
    for (int k = 0; k < 2; k++) {
        const struct dw_frame *r = &d.frame[20 + k];
        ck_assert_int_eq(d.ledger[20 + k].done, DW_DONE_BRIDGED);
        ck_assert_uint_eq(d.ledger[20 + k].bridge[0], 19);
        ck_assert_uint_eq(d.ledger[20 + k].bridge[1], 22);
        ck_assert_int_eq(r->n_sources, 2);
        ck_assert_uint_eq(r->source[0].shot, 19);
        ck_assert_uint_eq(r->source[1].shot, 22);
        ck_assert_double_eq_tol((double)r->source[0].weight, 1 - (k + 1) / 3.0, 1e-6);
        ck_assert_double_eq_tol((double)(r->source[0].weight + r->source[1].weight), 1, 1e-6);
        ck_assert_double_eq_tol(r->utc_s, f.params.start_utc + 120.0 * (20 + k), 1e-3);
        ck_assert_double_eq(r->source[0].gain_stops, d.frame[19].source[0].gain_stops);
    }
    for (size_t i = 0; i < d.n_frames; i++)
        ck_assert_uint_eq(d.frame[i].number, i + 1);
    dw_decision_free(&d);
    fake_free(&f);
}
END_TEST

START_TEST(by_night_the_nearer_neighbour_is_shown_again)
{
    struct fake_shoot f = shoot(60, 11);
    spoil(&f, 20);
    spoil(&f, 21);
    spoil(&f, 22);
    struct dw_decide_params params = for_site(&f);
    struct dw_decision d = decide(&f, &params);
    ck_assert_uint_eq(d.n_frames, 60);
    const uint32_t want[3] = {19, 23, 23};
    for (int k = 0; k < 3; k++) {
        ck_assert_int_eq(d.frame[20 + k].n_sources, 1);
        ck_assert_uint_eq(d.frame[20 + k].source[0].shot, k == 1 ? want[1] : want[k]);
        ck_assert_double_eq_tol((double)d.frame[20 + k].source[0].weight, 1, 1e-6);
        for (int side = 0; side < 2; side++) /* the ledger says the same */
            ck_assert_uint_eq(d.ledger[20 + k].bridge[side], d.frame[20 + k].source[0].shot);
    }
    dw_decision_free(&d);
    fake_free(&f);
}
END_TEST

START_TEST(what_was_done_about_a_hole_is_in_the_ledger)
{
    struct fake_params p = fake_defaults(1);
    p.frames = 100;
    p.drop_first = 40;
    p.drop_last = 42; /* three missing, and the one before them spoiled */
    struct fake_shoot f = fake_make(&p);
    spoil(&f, 39);
    for (size_t i = 60; i < 66; i++)
        spoil(&f, i); /* too long to be bridged */
    struct dw_decide_params params = for_site(&f);
    struct dw_decision d = decide(&f, &params);
    ck_assert_int_eq(d.ledger[39].done, DW_DONE_BRIDGED);
    ck_assert_uint_eq(d.ledger[40].bridged_before, 3);
    ck_assert_uint_eq(d.ledger[39].bridged_before, 0);
    for (size_t i = 60; i < 66; i++)
        ck_assert_int_eq(d.ledger[i].done, DW_DONE_LEFT_OUT);
    ck_assert_uint_eq(d.ledger[66].bridged_before, 0);
    dw_decision_free(&d);
    fake_free(&f);
}
END_TEST

START_TEST(long_holes_are_left_out_and_told)
{
    struct fake_params p = fake_defaults(1);
    p.frames = 100;
    p.drop_first = 40;
    p.drop_last = 59; /* twenty shots */
    struct fake_shoot f = fake_make(&p);
    struct dw_decide_params params = for_site(&f);
    struct dw_decision d = decide(&f, &params);
    ck_assert_uint_eq(d.n_frames, 80);
    ck_assert(d.ledger[40].faults & DW_GAP);
    ck_assert(d.ledger[40].use);
    ck_assert_ptr_nonnull(strstr(d.ledger[40].reason, "20 frames"));
    ck_assert_double_eq_tol(d.frame[40].utc_s - d.frame[39].utc_s, 21 * 120, 1e-3);
    dw_decision_free(&d);
    fake_free(&f);
}
END_TEST

/* A timer whose true interval is not the median one must neither double nor drop frames. */
START_TEST(a_drifting_timer_keeps_one_frame_a_shot)
{
    struct fake_shoot f = shoot(400, 0);
    for (size_t i = 0; i < f.shots.n; i++)
        f.shots.shot[i].clock_s += 0.4 * (double)i + (i % 3 ? 0.2 : 0.9);
    struct dw_decide_params params = for_site(&f);
    struct dw_decision d = decide(&f, &params);
    ck_assert_uint_eq(d.n_frames, 400);
    for (size_t i = 0; i < d.n_frames; i++) {
        ck_assert_int_eq(d.frame[i].n_sources, 1);
        ck_assert_uint_eq(d.frame[i].source[0].shot, i);
    }
    dw_decision_free(&d);
    fake_free(&f);
}
END_TEST

static void brighten(struct fake_shoot *f, size_t i, double stops)
{
    struct dw_tile *t = f->survey.measure[i].tile;
    for (int k = 0; k < 600; k++)
        for (int c = 0; c < 3; c++) {
            double v = 512 + ((double)t[k].mean[c] - 512) * exp2(stops);
            if (v > 15500) {
                v = 15500;
                t[k].clipped = 1;
            }
            t[k].mean[c] = (float)v;
        }
}

START_TEST(spoiled_exposures_are_found_and_pull_nothing)
{
    struct fake_shoot f = shoot(200, 3);
    struct dw_decide_params params = for_site(&f);
    /* the reference lacks the shots that will be spoiled: what is left must not know the difference
     */
    enum dw_word word[200] = {DW_WORD_NONE};
    word[50] = word[51] = word[120] = DW_WORD_DROP;
    params.word = word;
    struct dw_decision clean = decide(&f, &params);
    params.word = NULL;
    brighten(&f, 50, 3);
    brighten(&f, 51, 3);
    brighten(&f, 120, -4);
    struct dw_decision d = decide(&f, &params);
    for (size_t i = 0; i < 200; i++) {
        ck_assert_msg(!(clean.ledger[i].faults & (DW_BRIGHT | DW_DARK)), "clean shot %zu", i);
        uint32_t want = i == 50 || i == 51 ? DW_BRIGHT : i == 120 ? DW_DARK : 0;
        ck_assert_uint_eq(d.ledger[i].faults, want);
        ck_assert(d.ledger[i].use == (want == 0));
        ck_assert(want == 0 || (d.ledger[i].severity > 0.5 && d.ledger[i].reason[0]));
        if (want == 0)
            ck_assert_double_eq_tol(d.ledger[i].flicker_stops, clean.ledger[i].flicker_stops, 1e-6);
    }
    dw_decision_free(&d);
    dw_decision_free(&clean);
    fake_free(&f);
}
END_TEST

/* Between the end of dusk and moonrise it is darker than an hour before and after: no fault. One
 * shot in the middle of it that is exposed wrongly is. */
START_TEST(light_that_creeps_away_and_back_is_no_fault)
{
    struct fake_params p = fake_defaults(4);
    p.frames = 140;
    p.flat = true;
    struct fake_shoot f = fake_make(&p);
    for (size_t i = 0; i < 140; i++)
        brighten(&f, i, -4 * fmax(0, 1 - fabs((double)i - 70) / 30));
    struct dw_decide_params params = for_site(&f);
    struct dw_decision d = decide(&f, &params);
    for (size_t i = 0; i < 140; i++)
        ck_assert_msg(d.ledger[i].faults == 0, "shot %zu: %s", i, d.ledger[i].reason);
    dw_decision_free(&d);
    brighten(&f, 72, -3);
    d = decide(&f, &params);
    for (size_t i = 0; i < 140; i++)
        ck_assert_uint_eq(d.ledger[i].faults, i == 72 ? DW_DARK : 0);
    dw_decision_free(&d);
    fake_free(&f);
}
END_TEST

START_TEST(a_person_has_the_last_word)
{
    struct fake_shoot f = shoot(100, 0);
    brighten(&f, 50, 3);
    spoil(&f, 70);
    enum dw_word word[100] = {DW_WORD_NONE};
    word[30] = DW_WORD_DROP;
    word[50] = DW_WORD_USE;
    word[70] = DW_WORD_USE; /* cannot be obeyed: there is no picture */
    struct dw_decide_params params = for_site(&f);
    params.word = word;
    struct dw_decision d = decide(&f, &params);
    ck_assert(!d.ledger[30].use && d.ledger[30].reason[0]);
    ck_assert(d.ledger[50].use && (d.ledger[50].faults & DW_BRIGHT));
    ck_assert_uint_gt(d.ledger[50].frame, 0);
    ck_assert(!d.ledger[70].use);
    ck_assert_uint_eq(d.n_frames, 100);
    dw_decision_free(&d);
    fake_free(&f);
}
END_TEST

/* A shoot may begin and end in the middle of dusk, where the light falls by a stop a shot and the
 * camera stands at its limits: that is no fault of its first and last shots. A true fault is. */
START_TEST(the_first_and_last_shots_may_lie_in_dusk)
{
    struct fake_shoot f = shoot(781, 0);
    for (size_t from = 170; from < 230; from += 10) {
        struct fake_shoot part = f; /* a window on the same shots */
        part.shots.shot = f.shots.shot + from;
        part.shots.n = 40;
        part.survey.measure = f.survey.measure + from;
        part.survey.n = 40;
        struct dw_decide_params params = for_site(&f);
        struct dw_decision d = decide(&part, &params);
        for (size_t i = 0; i < 40; i++)
            ck_assert_msg(!(d.ledger[i].faults & (DW_BRIGHT | DW_DARK)), "shot %zu from %zu: %s", i,
                          from, d.ledger[i].reason);
        dw_decision_free(&d);
    }
    fake_free(&f);
    f = shoot(40, 0);
    brighten(&f, 0, 3);
    struct dw_decide_params params = for_site(&f);
    struct dw_decision d = decide(&f, &params);
    ck_assert(d.ledger[0].faults & DW_BRIGHT);
    ck_assert(!(d.ledger[1].faults & DW_BRIGHT));
    dw_decision_free(&d);
    fake_free(&f);
}
END_TEST

/* A shot that a person rejects teaches nothing, not even where the program saw no fault in it. */
START_TEST(a_rejected_shot_pulls_nothing)
{
    enum dw_word word[100] = {DW_WORD_NONE};
    word[30] = DW_WORD_DROP;
    double flicker[2][100];
    for (int k = 0; k < 2; k++) {
        struct fake_shoot f = shoot(100, 0);
        if (k == 1)
            brighten(&f, 30, 0.3);
        struct dw_decide_params params = for_site(&f);
        params.word = word;
        struct dw_decision d = decide(&f, &params);
        ck_assert_uint_eq(d.ledger[30].faults, 0);
        for (size_t i = 0; i < 100; i++)
            flicker[k][i] = d.ledger[i].flicker_stops;
        dw_decision_free(&d);
        fake_free(&f);
    }
    for (size_t i = 0; i < 100; i++)
        if (i != 30)
            ck_assert_double_eq_tol(flicker[0][i], flicker[1][i], 1e-9);
}
END_TEST

/* A black level that a camera measures anew for every frame is frozen to its class's median. */
START_TEST(levels_are_frozen_by_class)
{
    struct fake_shoot f = shoot(781, 0);
    for (size_t i = 0; i < f.shots.n; i++)
        for (int c = 0; c < 3; c++)
            f.survey.measure[i].black[c] += (float)(i % 3) - 1;
    struct dw_decide_params params = for_site(&f);
    struct dw_decision d = decide(&f, &params);
    ck_assert_uint_ge(d.facts.n_levels, 2);
    double most = 0; /* the night's long class has hundreds */
    for (size_t k = 0; k < d.facts.n_levels; k++) {
        /* a class of a few shots may have one of the three values for its median; dark tiles may
         * teach a tenth of a count beside it */
        ck_assert_double_eq_tol((double)d.facts.levels[k].black[1], 512, 1.1);
        most = d.facts.levels[k].shutter_s > 20 ? (double)d.facts.levels[k].black[1] : most;
        ck_assert_double_eq_tol((double)d.facts.levels[k].white, 16000, 1e-3);
    }
    ck_assert_double_eq_tol(most, 512, 0.1);
    for (size_t i = 0; i < f.shots.n; i++) {
        const struct dw_levels *l = dw_facts_levels(&d.facts, &f.shots.shot[i]);
        ck_assert_double_eq_tol(l->iso, f.shots.shot[i].iso, 0.1 * l->iso);
    }
    struct dw_shot unknown = f.shots.shot[0];
    unknown.has_iso = unknown.has_shutter = false;
    ck_assert_ptr_nonnull(dw_facts_levels(&d.facts, &unknown));
    dw_decision_free(&d);
    fake_free(&f);
}
END_TEST

START_TEST(no_record_at_all_is_said_once_and_goes_on)
{
    struct fake_params p = fake_defaults(2);
    p.no_records = true;
    struct fake_shoot f = fake_make(&p);
    struct dw_decide_params params = for_site(&f);
    struct dw_decision d = decide(&f, &params);
    ck_assert_uint_eq(d.n_frames, 781);
    double bright = 0, dark = 1;
    for (size_t i = 0; i < d.n_frames; i++) {
        bright = fmax(bright, d.frame[i].key);
        dark = fmin(dark, d.frame[i].key);
        ck_assert(!(d.ledger[i].faults & DW_NO_EXPOSURE)); /* said once, not of every shot */
    }
    ck_assert_double_gt(bright, 0.2); /* still gets dark like an evening */
    ck_assert_double_lt(dark, 0.04);
    dw_decision_free(&d);
    fake_free(&f);
}
END_TEST

START_TEST(nothing_usable_is_an_error_in_words)
{
    struct fake_shoot f = shoot(3, 0);
    for (size_t i = 0; i < 3; i++)
        spoil(&f, i);
    struct dw_decide_params params = for_site(&f);
    struct dw_decision d;
    struct dw_error err = {0};
    ck_assert_int_eq(dw_decide(&f.shots, &f.survey, &params, NULL, &d, &err), DW_ERR_EMPTY);
    ck_assert_ptr_nonnull(strstr(err.text, "3 frames"));
    params.night_deg = 0;
    params.day_deg = -6;
    ck_assert_int_eq(dw_decide(&f.shots, &f.survey, &params, NULL, &d, &err), DW_ERR_USAGE);
    fake_free(&f);
}
END_TEST

START_TEST(twice_the_same_gives_the_same_bytes)
{
    struct fake_shoot f = shoot(120, 4);
    struct dw_decide_params params = for_site(&f);
    struct dw_decision a = decide(&f, &params), b = decide(&f, &params);
    ck_assert_uint_eq(a.n_frames, b.n_frames);
    ck_assert_int_eq(memcmp(a.frame, b.frame, a.n_frames * sizeof *a.frame), 0);
    ck_assert_int_eq(memcmp(a.ledger, b.ledger, a.n_shots * sizeof *a.ledger), 0);
    dw_decision_free(&a);
    dw_decision_free(&b);
    fake_free(&f);
}
END_TEST

START_TEST(faults_have_their_documented_names)
{
    const char *want[DW_FAULT_COUNT] = {"unreadable", "no-exposure", "gap",       "bright",
                                        "dark",       "flash",       "soft",      "haze",
                                        "cloud",      "moved",       "reflection"};
    for (int i = 0; i < DW_FAULT_COUNT; i++)
        ck_assert_str_eq(dw_fault_name(i), want[i]);
    ck_assert_ptr_null(dw_fault_name(DW_FAULT_COUNT));
    ck_assert_ptr_null(dw_fault_name(-1));
}
END_TEST

int main(void)
{
    Suite *s = suite_create("decide");
    TCase *t = tcase_create("all");
    tcase_add_test(t, no_site_says_how_to_give_one);
    tcase_add_test(t, site_is_the_median_fix_even_across_the_date_line);
    tcase_add_test(t, instants_are_mid_exposure_in_utc);
    tcase_add_loop_test(t, offset_is_judged_from_the_light, 0, 5);
    tcase_add_test(t, by_day_a_missing_shot_is_mixed_from_its_neighbours);
    tcase_add_test(t, by_night_the_nearer_neighbour_is_shown_again);
    tcase_add_test(t, what_was_done_about_a_hole_is_in_the_ledger);
    tcase_add_test(t, long_holes_are_left_out_and_told);
    tcase_add_test(t, a_drifting_timer_keeps_one_frame_a_shot);
    tcase_add_test(t, spoiled_exposures_are_found_and_pull_nothing);
    tcase_add_test(t, light_that_creeps_away_and_back_is_no_fault);
    tcase_add_test(t, a_person_has_the_last_word);
    tcase_add_test(t, a_rejected_shot_pulls_nothing);
    tcase_add_test(t, the_first_and_last_shots_may_lie_in_dusk);
    tcase_add_test(t, levels_are_frozen_by_class);
    tcase_add_test(t, no_record_at_all_is_said_once_and_goes_on);
    tcase_add_test(t, nothing_usable_is_an_error_in_words);
    tcase_add_test(t, twice_the_same_gives_the_same_bytes);
    tcase_add_test(t, faults_have_their_documented_names);
    suite_add_tcase(s, t);
    return dw_check_main(s);
}
