/* test_report.c: the report's page and what it is made of. How it looks and works in a browser is
 * tested by tests/browser. Sources: RFC 4648 (base64), WCAG 2.2 (contrast), US Naval Observatory
 * and NREL values named below (sunrise and sunset). */
#include "check_main.h"
#include "output_shoot.h"

#include "base/atomic_file.h"
#include "output/report/chart.h"
#include "output/telling/exposures.h"
#include "output/report/html.h"
#include "output/telling/kinds.h"
#include "output/telling/place.h"
#include "output/telling/problems.h"
#include "base/text.h"

static struct shoot *s;
static struct dw_survey survey;
static struct dw_buffer b;
static const struct dw_report_setting setting = {"drop", "<i>\"&'", "leave <these> out", false};
static const struct dw_report_params params = {.setting = &setting, .n_settings = 1};

static void make(size_t n)
{
    s = shoot_new(n);
    survey = (struct dw_survey){.n = n, .measure = calloc(n, sizeof *survey.measure)};
    b = (struct dw_buffer){0};
}

static void teardown(void)
{
    dw_buffer_free(&b);
    free(survey.measure);
    survey.measure = NULL;
    if (s)
        shoot_free(s);
    s = NULL;
}

static void assert_has(const char *page, const char *text)
{
    ck_assert_msg(strstr(page, text) != NULL, "the page does not hold '%s'", text);
}

static void assert_lacks(const char *page, const char *text)
{
    ck_assert_msg(strstr(page, text) == NULL, "the page holds '%s'", text);
}

/* The test vectors of RFC 4648, section 10. */
START_TEST(base64_after_its_rfc)
{
    static const char *const pairs[][2] = {{"", ""},
                                           {"f", "Zg=="},
                                           {"fo", "Zm8="},
                                           {"foo", "Zm9v"},
                                           {"foob", "Zm9vYg=="},
                                           {"fooba", "Zm9vYmE="},
                                           {"foobar", "Zm9vYmFy"}};
    for (size_t i = 0; i < 7; i++) {
        struct dw_buffer out = {0};
        dw_buffer_printf(&out, "%s", "");
        dw_html_base64(&out, (const unsigned char *)pairs[i][0], strlen(pairs[i][0]));
        ck_assert_str_eq(out.data ? out.data : "", pairs[i][1]);
        dw_buffer_free(&out);
    }
    unsigned char many[4000]; /* over the edge of the inner buffer */
    struct dw_buffer out = {0};
    memset(many, 0xff, sizeof many);
    dw_html_base64(&out, many, sizeof many);
    ck_assert_uint_eq(out.n, (4000 + 2) / 3 * 4);
    ck_assert_uint_eq(strspn(out.data, "/"), 5333);
    dw_buffer_free(&out);
}
END_TEST

START_TEST(text_is_made_harmless)
{
    dw_html_text(&b, "<script>alert(\"1\")</script> & 'so'\x01\xff \xc3\xa9");
    ck_assert_str_eq(b.data, "&lt;script&gt;alert(&quot;1&quot;)&lt;/script&gt; &amp; "
                             "&#39;so&#39;\\x01\\xff \xc3\xa9");
}
END_TEST

/* Sunrise and sunset by NREL's calculator: Golden, Colorado (39.742 N, 105.18 W), 2015-01-02,
 * 07:21:55 and 16:47:43 local standard time (UTC-7), as carried in the tests of a public solar
 * library; ours hold to some seconds, as it takes 1830 m of height into account. */
START_TEST(sun_events_are_found)
{
    const struct dw_site golden = {39.742476, -105.1786, 1830.14};
    const double midnight = 1420182000; /* 2015-01-02T00:00 local */
    struct dw_day day;
    ck_assert_int_eq(dw_day_make(&golden, midnight, midnight + 86400, -7 * 3600, &day, NULL),
                     DW_OK);
    double rise = 0, set = 0;
    ck_assert_uint_eq(day.n_stretches, 9);
    for (size_t i = 1; i < day.n_stretches; i++) {
        const char *what = dw_sky_event(day.stretch[i - 1].part, day.stretch[i].part);
        ck_assert_double_eq(day.stretch[i - 1].to_s, day.stretch[i].from_s);
        if (strcmp(what, "Sunrise") == 0)
            rise = day.stretch[i].from_s - midnight;
        if (strcmp(what, "Sunset") == 0)
            set = day.stretch[i].from_s - midnight;
    }
    ck_assert_double_eq_tol(rise, 7 * 3600 + 21 * 60 + 55, 15);
    ck_assert_double_eq_tol(set, 16 * 3600 + 47 * 60 + 43, 15);
    double first, step = dw_day_step(&day, 16, &first);
    ck_assert_double_eq(step, 2 * 3600);
    ck_assert_double_eq(fmod(first - midnight, step), 0);
    dw_day_free(&day);
    struct dw_error err = {0};
    ck_assert_int_eq(dw_day_make(&golden, -1e18, -1e18 + 9, 0, &day, &err), DW_ERR_USAGE);
    ck_assert_int_eq(dw_day_make(&golden, HUGE_VAL, -HUGE_VAL, 0, &day, &err), DW_ERR_USAGE);
}
END_TEST

START_TEST(lines_break_where_nothing_is_known)
{
    double t[] = {0, 100, 200, 300, 2000, 2100}, v[] = {0, 1, (double)NAN, 1, 0, 1e9};
    struct dw_day day = {.first_s = 0, .last_s = 4000};
    struct dw_chart c = {&b, &day, "x", 100, 0, 1, 500};
    dw_chart_line(&c, "light", t, v, 6);
    assert_has(b.data, "d=\"M0.0 100.0L25.0 0.0M75.0 0.0M500.0 100.0L525.0 -2.0\"");
    dw_buffer_free(&b);
    dw_chart_band(&c, "unsure", t, v, v, 6);
    assert_has(b.data, "M0.0 100.0L25.0 0.0L25.0 0.0L0.0 100.0Z");
    dw_buffer_free(&b);
    dw_chart_steps(&c, "setting", t, v, 2);
    assert_has(b.data, "M0.0 100.0H25.0V0.0\"");
}
END_TEST

START_TEST(every_kind_has_its_words)
{
    for (int i = 0; i < DW_FAULT_COUNT; i++) {
        const struct dw_kind *k = dw_kind(i);
        ck_assert_str_eq(k->code, dw_fault_name(i));
        ck_assert(k->title[0] && k->words[0] && k->next_title && k->next_text);
    }
    ck_assert_ptr_nonnull(dw_kind(-1)); /* one that is not there still has words */
    ck_assert_ptr_nonnull(dw_kind(99));
}
END_TEST

START_TEST(the_shoots_folder_is_what_holds_all)
{
    make(3);
    char name[200];
    dw_shoot_folder(&s->shots, name);
    ck_assert_str_eq(name, "nowhere");
    static const char *const path[] = {"/a/shoot/card1/A.DNG", "/a/shoot/card10/B.DNG",
                                       "/a/shoot/card1/C.DNG"};
    for (int i = 0; i < 3; i++) {
        free(s->shots.shot[i].path);
        s->shots.shot[i].path = shoot_copy(path[i]);
    }
    dw_shoot_folder(&s->shots, name);
    ck_assert_str_eq(name, "shoot"); /* card1 and card10 share letters, not a folder */
    strcpy(s->shots.shot[2].path, "C.DNG");
    dw_shoot_folder(&s->shots, name);
    ck_assert_str_eq(name, "");
}
END_TEST

static char *page(void)
{
    struct dw_error err = {0};
    char *text;
    size_t n;
    ck_assert_msg(dw_write_report(s->dir, &s->shots, &survey, &s->d, &params, &err) >= 0, "%s",
                  err.text);
    ck_assert_int_eq(dw_read_whole(shoot_path(s, "report.html"), 1 << 24, &text, &n, NULL), DW_OK);
    return text;
}

/* Ends of the range: 20 shots dimmer than the camera could follow. */
START_TEST(standing_at_the_ends_is_counted)
{
    make(60);
    for (size_t i = 0; i < 60; i++) {
        struct dw_shot *shot = &s->shots.shot[i];
        shot->iso = i < 40 ? 100 : 800;
        shot->shutter_s = i < 40 ? 1 : 32;
        shot->ev100 = i < 40 ? 0 : -8;
        s->d.ledger[i].gain_stops = i < 40 ? 0.5 : 2.5;
        s->d.ledger[i].luminance_stops = i < 40 ? 0 : -11; /* 3 stops below what -8 asks for */
    }
    s->d.ledger[59].luminance_stops = -9;  /* one of them stands better */
    s->d.ledger[58].luminance_stops = -14; /* one worse: it weighs as a 5th percentile says */
    struct dw_exposure_ends e = dw_exposure_ends(&s->shots, &survey, &s->d);
    ck_assert_uint_eq(e.at_dark_end, 20);
    ck_assert_double_eq_tol(e.fell_stops, 3.15, 1e-9);
    ck_assert_double_eq_tol(e.lifted_stops, 2, 1e-9);
    char *text = page();
    assert_has(text, "<strong>The darkest part is noisier.</strong>");
    assert_has(text, "to 2.0 stops more than the others");
    free(text);
    for (size_t i = 0; i < 60; i++) {
        s->shots.shot[i].iso = 100;
        s->shots.shot[i].shutter_s = 1;
    }
    e = dw_exposure_ends(&s->shots, &survey, &s->d); /* a setting that never changed has no end */
    ck_assert_uint_eq(e.at_dark_end, 0);
}
END_TEST

START_TEST(the_page_tells_the_shoot)
{
    make(60);
    for (size_t i = 10; i < 40; i++) {
        s->d.ledger[i].faults = DW_CLOUD;
        s->d.ledger[i].severity = i == 22 ? 0.9 : 0.5;
    }
    strcpy(s->d.ledger[22].reason, "only 40 % of the stars are seen");
    s->d.ledger[50].faults = DW_BRIGHT;
    s->d.ledger[50].severity = 1;
    s->d.ledger[50].use = s->d.ledger[50].verdict = false;
    s->d.ledger[50].done = DW_DONE_BRIDGED;
    s->d.ledger[50].bridge[0] = 49;
    s->d.ledger[50].bridge[1] = 51;
    s->d.ledger[5].use = false; /* by hand */
    s->d.ledger[43].faults = DW_BRIGHT;
    s->d.ledger[43].severity = 0.1;
    s->d.ledger[57].faults = DW_GAP;
    s->d.ledger[57].severity = 0.4;
    s->d.ledger[57].bridged_before = 4;
    s->d.ledger[55].faults = DW_MOVED;
    s->d.ledger[55].severity = 0.8;
    s->d.frame[55].source[0].shift_y = 3; /* put back */
    char *text = page();
    assert_has(text, "58 of 60");
    assert_has(text, "<a href=\"#run-1\">2025-06-21 02:03 \xe2\x80\x93 02:13</a>: Stars hidden");
    assert_has(text, "At its worst: Only 40 % of the stars are seen.");
    assert_has(text, "<strong>For the film, yes.</strong> 30 of 60 shots (50 %)");
    assert_has(text, "All 30 are kept in the sequence.");
    assert_has(text, "Left out; mixed from INV_0050.DNG and INV_0052.DNG in its place.");
    assert_has(text, "Shoot another night");
    assert_has(text, "residual-current device");
    assert_has(text, "1 shot left out by your word");
    assert_has(text, "data-i=\"5\" checked value=\"INV_0006.DNG\"");
    assert_lacks(text, "Keep the lens warm"); /* no dew, no advice against it */
    assert_lacks(text, "http://");
    assert_lacks(text, "https://");
    assert_has(text, "Used in frame 56, moved back to where the camera stood before.");
    assert_lacks(text, "</a>: Frames missing");
    assert_has(text,
               "Too bright: 2 shots, the first at 2025-06-21 02:14."); /* one of two is not most */
    assert_lacks(text, "</a>: Camera moved"); /* nothing that only a new shoot can mend ... */
    free(text);
    s->d.frame[55].source[0].shift_y = 0;
    s->d.ledger[57].bridged_before = 0;
    text = page();
    assert_has(text, "</a>: Camera moved, 1 shot"); /* ... unless it was too far */
    assert_has(text, "</a>: Frames missing, 1 shot");
    free(text);
}
END_TEST

/* What was bridged or put right is no reason to shoot again; a fault is counted alike in its lane,
 * its card and the advice; a card is named after the fault that its sentence tells of. */
START_TEST(figures_and_words_agree)
{
    make(100);
    struct dw_ledger_row *row = s->d.ledger;
    for (size_t i = 10; i < 40; i += 10) { /* three displaced shots in three places */
        row[i].faults = row[i].worst = DW_MOVED;
        row[i].severity = 0.6;
        row[i].put_right = true;
    }
    for (size_t i = 50; i < 60; i += 5) {
        row[i].faults = row[i].worst = DW_GAP;
        row[i].severity = 0.5;
        row[i].missing_before = row[i].bridged_before = 2;
    }
    for (size_t i = 70; i < 72; i++) {
        row[i].faults = DW_NO_EXPOSURE | DW_DARK;
        row[i].worst = DW_DARK;
        row[i].severity = 0.8;
        row[i].use = row[i].verdict = false;
        row[i].done = DW_DONE_BRIDGED;
    }
    row[72].faults = row[72].worst = DW_NO_EXPOSURE;
    row[72].severity = 0.2;
    char *text = page();
    assert_has(text, "<strong>For the film, no.</strong> What was spoiled is bridged");
    assert_has(text, "Camera moved: 3 shots, the first at 2025-06-21 02:03.");
    assert_has(text, "Frames missing \xc2\xb7 4 frames in 2 places");
    assert_has(text, "Frames missing: 4 frames in 2 places, the first at");
    assert_has(text, "<span class=\"code\">dark</span> Too dark</h3>");
    assert_has(text, "Also: Exposure not recorded, 2 shots from 02:23 on.");
    assert_has(text, "Exposure not recorded: 3 shots, the first at 2025-06-21 02:23.");
    assert_has(text, "Both are left out;");
    assert_has(text, "frames in <code>frames/</code>");
    assert_lacks(text, "data-from=\"70\""); /* nothing there is left to mark */
    assert_lacks(text, "(0.80)");
    free(text);
    row[10].put_right = row[20].put_right = false;
    row[70].done = DW_DONE_LEFT_OUT;
    text = page();
    assert_has(text, "<strong>For the film, yes.</strong> 3 of 100 shots (3 %)");
    assert_has(text, "</a>: Camera moved, 1 shot");
    free(text);
    row[20].put_right = true;
    row[70].done = DW_DONE_BRIDGED;
    text = page();
    assert_has(text, "<strong>For the film, no.</strong> Only 1 of 100 shots (1.0 %)");
    free(text);
}
END_TEST

/* The chart of what remains shows what differs from frame to frame, and no slow drift. */
START_TEST(what_remains_is_flicker)
{
    make(60);
    for (size_t i = 0; i < 60; i++) {
        s->d.ledger[i].flicker_sigma = 0.1;
        s->d.ledger[i].left_stops = i % 2 ? 0.001 * sqrt(1.5) : (double)NAN;
    }
    char *text = page();
    const char *chart = strstr(text, "id=\"remains\"");
    ck_assert_ptr_nonnull(chart);
    /* 0.001 stop: 2.5 of 3.5 tens below the top of 150 pixels */
    ck_assert_ptr_nonnull(strstr(chart, " 107.1"));
    const char *curve = strstr(chart, "class=\"light\""), *label = strstr(chart, ">0.01 stop<");
    ck_assert(curve && label && curve < label); /* letters lie upon the curve */
    free(text);
}
END_TEST

START_TEST(hostile_names_stay_names)
{
    make(4);
    static const char evil[] = "'\"><script>alert(1)</script>\xff.DNG";
    free(s->shots.shot[1].name);
    s->shots.shot[1].name = shoot_copy(evil);
    free(s->shots.shot[2].name);
    s->shots.shot[2].name = shoot_copy("#x.DNG");
    for (int i = 0; i < 4; i++) {
        free(s->shots.shot[i].path);
        s->shots.shot[i].path = shoot_copy("/a/\"><img src=x>/INV.DNG");
    }
    s->d.ledger[1].faults = DW_BRIGHT;
    s->d.ledger[1].use = s->d.ledger[1].verdict = false;
    s->d.ledger[1].done = DW_DONE_LEFT_OUT;
    strcpy(s->d.ledger[1].reason, "<b>bold</b> & brazen");
    s->d.ledger[2].faults = DW_DARK;
    s->d.ledger[2].use = false;
    s->d.ledger[2].done = DW_DONE_BRIDGED;
    s->d.ledger[2].bridge[0] = s->d.ledger[2].bridge[1] = 1;
    char *text = page();
    assert_lacks(text, "<script>alert");
    assert_lacks(text, "<b>bold");
    assert_lacks(text, "\"><img src=x>"); /* the folder stands in title, heading and body */
    assert_has(text, "<title>&quot;&gt;&lt;img src=x&gt;: report");
    assert_has(text, "data-shoot=\"&quot;&gt;&lt;img");
    assert_lacks(text, "<i>\"");
    assert_has(text, "&lt;script&gt;alert(1)&lt;/script&gt;\\xff.DNG");
    assert_has(text, "&lt;i&gt;&quot;&amp;&#39;");
    assert_has(text, "value=\"\\x23x.DNG\""); /* no comment in the list that is saved */
    assert_has(text, "script-src 'sha256-");
    free(text);
}
END_TEST

START_TEST(equal_names_get_their_folder)
{
    make(4);
    free(s->shots.shot[3].name);
    free(s->shots.shot[3].path);
    s->shots.shot[3].name = shoot_copy("INV_0001.DNG");
    s->shots.shot[3].path = shoot_copy("/nowhere/card2/INV_0001.DNG");
    char *text = page();
    assert_has(text, "value=\"nowhere/INV_0001.DNG\"");
    assert_has(text, "value=\"card2/INV_0001.DNG\"");
    assert_has(text, "value=\"INV_0002.DNG\"");
    free(text);
}
END_TEST

START_TEST(odd_shoots_have_a_page_too)
{
    make(1); /* one shot, nothing known of it */
    s->d.ledger[0].luminance_stops = s->d.ledger[0].flicker_stops = (double)NAN;
    s->d.ledger[0].flicker_sigma = (double)NAN;
    s->shots.shot[0].has_shutter = s->shots.shot[0].has_iso = s->shots.shot[0].has_aperture = false;
    s->d.before.all = s->d.after.all = (double)NAN;
    char *text = page();
    assert_has(text, "1 of 1");
    assert_has(text, "not recorded");
    assert_has(text, "No shot has a fault");
    assert_lacks(text, "nan");
    free(text);
    teardown();
    make(3000); /* more than every shot can have a picture for */
    text = page();
    assert_has(text, "INV_3000.DNG");
    free(text);
}
END_TEST

START_TEST(what_settings_do_is_told)
{
    struct dw_setting_error errors[3] = {
        {.kind = DW_ISO, .value = 800, .red = 0.004, .red_sigma = 1e-3, .blue = -0.0213},
        {.kind = DW_APERTURE, .value = 2.8, .corner = -0.51, .corner_sigma = 0.01},
        {.kind = DW_APERTURE, .value = 8, .corner = 0.26, .corner_sigma = 0.01}};
    make(30);
    char *text = page();
    assert_lacks(text, "Colours and corners");
    free(text);
    s->d.setting = errors;
    for (size_t n = 1; n <= 3; n += 2) {
        s->d.n_settings = n;
        text = page();
        assert_has(text, "red or blue up to 0.021 stop");
        if (n == 3)
            assert_has(text, "corners 0.77 stop darker");
        else
            assert_lacks(text, "the lens leaves");
        free(text);
    }
    s->d.setting = NULL;
    s->d.n_settings = 0;
}
END_TEST

START_TEST(the_page_is_the_same_in_every_run)
{
    make(30);
    char *first = page();
    sleep(1);
    char *second = page();
    ck_assert_str_eq(first, second);
    free(first);
    free(second);
}
END_TEST

/* The page's colours, read from its style sheet: after WCAG 2.2, 1.4.3 and 1.4.11. */
static double channel(int v)
{
    double c = v / 255.0;
    return c <= 0.04045 ? c / 12.92 : pow((c + 0.055) / 1.055, 2.4);
}

/* Relative luminance of the colour that a variable has in one scheme (0 light, 1 dark). */
static double luminance(const char *css, int scheme, const char *name)
{
    char key[40];
    unsigned v = 0;
    const char *at = scheme ? strstr(css, "prefers-color-scheme: dark") : css;
    snprintf(key, sizeof key, "--%s: #", name);
    at = strstr(at, key);
    ck_assert_msg(at && sscanf(at + strlen(key), "%6x", &v) == 1, "%s has no colour", name);
    return 0.2126 * channel((int)(v >> 16)) + 0.7152 * channel((int)(v >> 8 & 255)) +
           0.0722 * channel((int)(v & 255));
}

static double contrast(double a, double c)
{
    return (fmax(a, c) + 0.05) / (fmin(a, c) + 0.05);
}

START_TEST(colours_keep_to_wcag)
{
    static const struct {
        const char *what, *ground;
        double least;
    } pairs[] = {{"ink", "paper", 7},   {"ink", "card", 7},     {"soft", "paper", 4.5},
                 {"soft", "card", 4.5}, {"link", "paper", 4.5}, {"link", "card", 4.5},
                 {"ink", "caution", 7}, {"eye", "card", 4.5},   {"eye", "paper", 4.5},
                 {"ink", "sky4", 7},    {"sun", "sky0", 3},     {"sun", "sky4", 3},
                 {"moon", "sky0", 3},   {"moon", "sky4", 3},    {"trace", "sky0", 3},
                 {"trace", "sky4", 3},  {"trace", "unsure", 3}, {"trace", "paper", 3},
                 {"was", "paper", 3},   {"is", "paper", 3},     {"level", "card", 3}};
    char *css;
    size_t n;
    ck_assert_double_eq_tol(contrast(1, 0), 21, 1e-12); /* WCAG: white on black */
    ck_assert_int_eq(dw_read_whole(getenv("DAYWHEEL_REPORT_CSS"), 1 << 20, &css, &n, NULL), DW_OK);
    for (int scheme = 0; scheme < 2; scheme++) {
        for (size_t i = 0; i < sizeof pairs / sizeof *pairs; i++) {
            double c = contrast(luminance(css, scheme, pairs[i].what),
                                luminance(css, scheme, pairs[i].ground));
            ck_assert_msg(c >= pairs[i].least, "%s on %s, scheme %d: %.2f", pairs[i].what,
                          pairs[i].ground, scheme, c);
        }
        for (int k = 0; k < DW_FAULT_COUNT; k++) { /* codes are letters on cards */
            char name[40];
            snprintf(name, sizeof name, "f-%s", dw_fault_name(k));
            double c = contrast(luminance(css, scheme, name), luminance(css, scheme, "card"));
            ck_assert_msg(c >= 4.5, "%s, scheme %d: %.2f", name, scheme, c);
        }
    }
    free(css);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("report");
    TCase *c = tcase_create("report");
    tcase_add_checked_fixture(c, NULL, teardown);
    tcase_add_test(c, base64_after_its_rfc);
    tcase_add_test(c, text_is_made_harmless);
    tcase_add_test(c, sun_events_are_found);
    tcase_add_test(c, lines_break_where_nothing_is_known);
    tcase_add_test(c, every_kind_has_its_words);
    tcase_add_test(c, the_shoots_folder_is_what_holds_all);
    tcase_add_test(c, standing_at_the_ends_is_counted);
    tcase_add_test(c, the_page_tells_the_shoot);
    tcase_add_test(c, figures_and_words_agree);
    tcase_add_test(c, what_remains_is_flicker);
    tcase_add_test(c, hostile_names_stay_names);
    tcase_add_test(c, equal_names_get_their_folder);
    tcase_add_test(c, odd_shoots_have_a_page_too);
    tcase_add_test(c, what_settings_do_is_told);
    tcase_add_test(c, the_page_is_the_same_in_every_run);
    tcase_add_test(c, colours_keep_to_wcag);
    suite_add_tcase(suite, c);
    return dw_check_main(suite);
}
