/* test_documents.c: the documents of a run, written and read back. */
#include "check_main.h"
#include "output_shoot.h"

#include "base/atomic_file.h"
#include "base/csv.h"

#include <jansson.h>
#include <locale.h>

static struct shoot *s;

static void setup(void)
{
    s = shoot_new(6);
}

static void teardown(void)
{
    setlocale(LC_ALL, "C");
    shoot_free(s);
}

static char *slurp(const char *name)
{
    char *text;
    size_t n;
    ck_assert_int_eq(dw_read_whole(shoot_path(s, name), 1 << 24, &text, &n, NULL), DW_OK);
    return text;
}

static struct dw_csv table(const char *name)
{
    struct dw_csv t;
    char *text = slurp(name);
    ck_assert_int_eq(dw_csv_parse(name, text, strlen(text), &t, NULL), DW_OK);
    free(text);
    return t;
}

static void write_text(const char *name, const char *text)
{
    ck_assert_int_eq(dw_write_whole(shoot_path(s, name), text, strlen(text), false, NULL), DW_OK);
}

/* Replaces the k-th occurrence (from 0) of `from` in a document. */
static void edit(const char *name, const char *from, const char *to, int k)
{
    char *text = slurp(name), *at = text;
    for (int i = 0; (at = strstr(at, from)) != NULL && i < k; i++)
        at++;
    ck_assert_ptr_nonnull(at);
    char *out = malloc(strlen(text) + strlen(to) + 1);
    sprintf(out, "%.*s%s%s", (int)(at - text), text, to, at + strlen(from));
    write_text(name, out);
    free(out);
    free(text);
}

/* The columns are those that the design promises to outside programs, in that order. */
START_TEST(ledger_holds_exactly_the_promised_columns)
{
    s->d.ledger[2].faults = DW_GAP | DW_NO_EXPOSURE;
    s->d.ledger[2].frame = 0;
    s->d.ledger[2].use = false;
    s->shots.shot[2].has_shutter = s->shots.shot[2].has_iso = false;
    s->shots.shot[3].has_aperture = false;
    ck_assert_int_eq(dw_write_ledger(s->dir, &s->shots, &s->d, NULL, NULL, NULL), DW_OK);
    char *text = slurp("ledger.csv");
    const char *header = "frame,file,utc,shutter_s,f_number,iso,ev100,sun_alt_deg,luminance_stops,"
                         "flicker_stops,gain_stops,day_weight,faults,use\n";
    ck_assert_int_eq(strncmp(text, header, strlen(header)), 0);
    free(text);
    struct dw_csv t = table("ledger.csv");
    ck_assert_uint_eq(t.rows, 6);
    ck_assert_str_eq(dw_csv_field(&t, 0, 0), "1");
    ck_assert_str_eq(dw_csv_field(&t, 0, 1), "INV_0001.DNG");
    ck_assert_str_eq(dw_csv_field(&t, 0, 2), "2025-06-21T00:00:00.123Z");
    ck_assert_str_eq(dw_csv_field(&t, 0, 3), "0.016666667");
    ck_assert_str_eq(dw_csv_field(&t, 0, 4), "2.8");
    ck_assert_str_eq(dw_csv_field(&t, 0, 5), "100");
    /* APEX (Exif 2.32 annex C): log2(2.8^2 * 60) - log2(100/100) */
    ck_assert_double_eq_tol(atof(dw_csv_field(&t, 0, 6)), log2(2.8 * 2.8 * 60), 1e-6);
    ck_assert_str_eq(dw_csv_field(&t, 0, 9), "0.012346");
    ck_assert_str_eq(dw_csv_field(&t, 0, 13), "yes");
    ck_assert_str_eq(dw_csv_field(&t, 2, 0), "");
    ck_assert_str_eq(dw_csv_field(&t, 2, 3), "");
    ck_assert_str_eq(dw_csv_field(&t, 2, 6), "");
    ck_assert_str_eq(dw_csv_field(&t, 2, 12), "no-exposure gap");
    ck_assert_str_eq(dw_csv_field(&t, 2, 13), "no");
    ck_assert_str_eq(dw_csv_field(&t, 3, 4), ""); /* unknown aperture: empty, and N = 1 */
    ck_assert_double_eq_tol(atof(dw_csv_field(&t, 3, 6)), log2(60), 1e-6);
    dw_csv_free(&t);
}
END_TEST

START_TEST(judgement_stands_beside_the_ledger)
{
    s->d.ledger[1].severity = 0.7512345;
    strcpy(s->d.ledger[1].reason, "half of it is clipped, \"white\"");
    s->d.ledger[1].use = s->d.ledger[1].verdict = false;
    ck_assert_int_eq(dw_write_ledger(s->dir, &s->shots, &s->d, NULL, NULL, NULL), DW_OK);
    struct dw_csv t = table("judgement.csv");
    ck_assert_uint_eq(t.rows, 6);
    ck_assert_str_eq(dw_csv_field(&t, 1, dw_csv_column(&t, "file")), "INV_0002.DNG");
    ck_assert_str_eq(dw_csv_field(&t, 1, dw_csv_column(&t, "severity")), "0.7512");
    ck_assert_str_eq(dw_csv_field(&t, 1, dw_csv_column(&t, "verdict")), "no");
    ck_assert_str_eq(dw_csv_field(&t, 1, dw_csv_column(&t, "reason")),
                     "half of it is clipped, \"white\"");
    ck_assert_str_eq(dw_csv_field(&t, 0, dw_csv_column(&t, "verdict")), "yes");
    dw_csv_free(&t);
}
END_TEST

static bool same(double a, double b)
{
    return memcmp(&a, &b, sizeof a) == 0 || (isnan(a) && isnan(b));
}

/* Frames 3 to 5: displaced, unevenly shaded, both; two with a black of their own. */
static void put_right_frames(void)
{
    for (int i = 2; i < 5; i++) {
        struct dw_source *p = &s->d.frame[i].source[0];
        if (i != 3) {
            p->shift_x = -7.25;
            p->shift_y = 1.0 / 3;
            p->roll_deg = 1e-3;
        }
        for (int c = 0; c < 4; c++)
            p->green[c] = i % 2 ? (c + 1) / 7.0 - 0.3 : 0;
        p->lamps = i % 4 ? 0 : 1 / 3.0 + 0.01 * (double)(i % 7);
        p->sky_deg = i % 3 ? 360 / 7.0 * (double)i : (double)NAN;
        p->black_dn = i == 3 ? -1.0 / 3 : i == 4 ? 1e-7 : 0;
        if (i != 2) {
            p->shade[0] = 0.1 + 1.0 / 3;
            p->shade[1] = -2.0 / 7;
        }
    }
}

static void check_frames_round_trip(void)
{
    struct dw_frame *f;
    size_t n;
    struct dw_error err = {0};
    s->d.frame[1].sun_alt_deg = (double)NAN;
    put_right_frames();
    ck_assert_int_eq(dw_write_frames(s->dir, &s->shots, &s->d, NULL), DW_OK);
    ck_assert_msg(dw_read_frames(s->dir, &s->shots, &f, &n, &err) == DW_OK, "%s", err.text);
    ck_assert_uint_eq(n, 6);
    for (size_t i = 0; i < n; i++) {
        const struct dw_frame *a = &s->d.frame[i], *b = &f[i];
        ck_assert_uint_eq(a->number, b->number);
        ck_assert_int_eq(a->n_sources, b->n_sources);
        ck_assert(same(a->utc_s, b->utc_s) && same(a->sun_alt_deg, b->sun_alt_deg) &&
                  same(a->key, b->key) && same(a->day, b->day) && same(a->balance, b->balance) &&
                  same(a->stars, b->stars));
        for (int k = 0; k < a->n_sources; k++) {
            const struct dw_source *p = &a->source[k], *q = &b->source[k];
            ck_assert_uint_eq(p->shot, q->shot);
            ck_assert(same(p->gain_stops, q->gain_stops) && same(p->turn_deg, q->turn_deg));
            ck_assert(same(p->shift_x, q->shift_x) && same(p->shift_y, q->shift_y) &&
                      same(p->roll_deg, q->roll_deg));
            ck_assert(same(p->black_dn, q->black_dn));
            for (int c = 0; c < 4; c++)
                ck_assert(same(p->green[c], q->green[c]));
            ck_assert(same(p->lamps, q->lamps));
            ck_assert(same(p->sky_deg, q->sky_deg));
            ck_assert(same(p->shade[0], q->shade[0]) && same(p->shade[1], q->shade[1]));
            ck_assert_mem_eq(&p->weight, &q->weight, sizeof p->weight);
            ck_assert_mem_eq(p->chroma, q->chroma, sizeof p->chroma);
        }
    }
    free(f);
}

START_TEST(frames_come_back_exactly)
{
    check_frames_round_trip();
}
END_TEST

/* A host program's locale may write 1,5. Skipped aloud where no such locale is installed. */
START_TEST(a_locale_with_commas_changes_nothing)
{
    static const char *const names[] = {"de_DE.UTF-8", "fr_FR.UTF-8", "de_DE.utf8", "fr_FR.utf8"};
    ck_assert_int_eq(dw_write_ledger(s->dir, &s->shots, &s->d, NULL, NULL, NULL), DW_OK);
    ck_assert_int_eq(dw_write_facts(s->dir, &s->d, NULL), DW_OK);
    ck_assert_int_eq(dw_write_summary(s->dir, &s->d, NULL), DW_OK);
    char *before[3] = {slurp("ledger.csv"), slurp("facts.json"), slurp("summary.json")};
    bool found = false;
    for (size_t i = 0; i < 4 && !found; i++)
        found = setlocale(LC_ALL, names[i]) != NULL;
    if (!found)
        fprintf(stderr, "# no locale with decimal commas here: checked in the C locale only\n");
    check_frames_round_trip();
    ck_assert_int_eq(dw_write_ledger(s->dir, &s->shots, &s->d, NULL, NULL, NULL), DW_OK);
    ck_assert_int_eq(dw_write_facts(s->dir, &s->d, NULL), DW_OK);
    ck_assert_int_eq(dw_write_summary(s->dir, &s->d, NULL), DW_OK);
    char *after[3] = {slurp("ledger.csv"), slurp("facts.json"), slurp("summary.json")};
    for (int i = 0; i < 3; i++) {
        ck_assert_str_eq(before[i], after[i]);
        free(before[i]);
        free(after[i]);
    }
}
END_TEST

START_TEST(frames_for_other_shots_are_refused)
{
    struct dw_frame *f;
    size_t n;
    struct dw_error err = {0};
    ck_assert_int_eq(dw_read_frames(s->dir, &s->shots, &f, &n, &err), DW_ERR_EMPTY);
    ck_assert_int_eq(dw_write_frames(s->dir, &s->shots, &s->d, NULL), DW_OK);
    strcpy(s->shots.shot[2].name, "ELSE.DNG");
    ck_assert_int_eq(dw_read_frames(s->dir, &s->shots, &f, &n, &err), DW_ERR_MIXED);
    ck_assert_ptr_nonnull(strstr(err.text, "line 4"));
    ck_assert_ptr_nonnull(strstr(err.text, "ELSE.DNG"));
    s->shots.n = 3; /* the table shrank: sources beyond its end must not be believed */
    strcpy(s->shots.shot[2].name, "INV_0003.DNG");
    ck_assert_int_eq(dw_read_frames(s->dir, &s->shots, &f, &n, &err), DW_ERR_FORMAT);
    ck_assert_ptr_null(f);
    s->shots.n = 6;
}
END_TEST

START_TEST(damaged_frames_are_refused)
{
    static const char *const bad[][2] = {{"2:0.699999", "2:zz0.69"},
                                         {":1:1.00999999:", ":"},
                                         {"1,2025", "7,2025"},
                                         {":m-7.25:", ":n-7.25:"},
                                         {":s0.43333333333333335:", ":s"},
                                         {":b-0.33333333333333331", ":b"},
                                         {"stars", "starz"}};
    put_right_frames();
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        struct dw_frame *f;
        size_t n;
        struct dw_error err = {0};
        ck_assert_int_eq(dw_write_frames(s->dir, &s->shots, &s->d, NULL), DW_OK);
        if (i == 0)
            edit("frames.csv", "5:0.69999", "5:zz0.69", 0);
        else
            edit("frames.csv", bad[i][0], bad[i][1], 0);
        ck_assert_int_eq(dw_read_frames(s->dir, &s->shots, &f, &n, &err), DW_ERR_FORMAT);
        ck_assert_ptr_null(f);
    }
}
END_TEST

/* When a field is added to the facts, facts.json must learn it: then raise these sizes. */
START_TEST(facts_hold_what_facts_json_knows)
{
    ck_assert_uint_eq(sizeof(struct dw_levels), 40);
    ck_assert_uint_eq(sizeof(struct dw_law), 32);
    ck_assert_uint_eq(sizeof(struct dw_aim), 96);
    ck_assert_uint_eq(sizeof(struct dw_star), 32);
    ck_assert_uint_eq(sizeof(struct dw_hold_facts), 2408);
    ck_assert_uint_eq(sizeof(struct dw_facts), 5216);
    ck_assert_uint_eq(sizeof(struct dw_source), 136);
    ck_assert_uint_eq(sizeof(struct dw_frame), 608);
}
END_TEST

START_TEST(facts_come_back_exactly)
{
    struct dw_facts f;
    const struct dw_facts *a = &s->d.facts;
    struct dw_error err = {0};
    ck_assert_int_eq(dw_write_facts(s->dir, &s->d, NULL), DW_OK);
    ck_assert_msg(dw_read_facts(s->dir, &f, &err) == DW_OK, "%s", err.text);
    ck_assert_str_eq(a->survey_id, f.survey_id);
    ck_assert(same(a->site.lat_deg, f.site.lat_deg) && same(a->site.lon_deg, f.site.lon_deg) &&
              same(a->site.height_m, f.site.height_m));
    ck_assert_int_eq(a->utc_offset_s, f.utc_offset_s);
    ck_assert(same(a->interval_s, f.interval_s) && same(a->night_deg, f.night_deg) &&
              same(a->day_deg, f.day_deg) && same(a->balance_night_deg, f.balance_night_deg) &&
              same(a->balance_day_deg, f.balance_day_deg) &&
              same(a->day_light_stops, f.day_light_stops));
    ck_assert_int_eq(a->mosaic_width, f.mosaic_width);
    ck_assert_int_eq(a->mosaic_height, f.mosaic_height);
    ck_assert_int_eq(a->turn_deg, f.turn_deg);
    ck_assert_uint_eq(a->n_levels, f.n_levels);
    ck_assert_mem_eq(a->levels, f.levels, SHOOT_LEVELS * sizeof *f.levels);
    ck_assert_uint_eq(a->n_hot, f.n_hot);
    ck_assert_mem_eq(a->hot, f.hot, SHOOT_HOT * sizeof *f.hot);
    ck_assert_mem_eq(a->white_mul, f.white_mul, sizeof f.white_mul);
    ck_assert_mem_eq(a->cam_to_wide, f.cam_to_wide, sizeof f.cam_to_wide);
    ck_assert_mem_eq(a->night_mul, f.night_mul, sizeof f.night_mul);
    ck_assert_mem_eq(a->night_sky, f.night_sky, sizeof f.night_sky);
    ck_assert_mem_eq(&a->night_sky_keys, &f.night_sky_keys, sizeof(float));
    ck_assert_mem_eq(&a->crop, &f.crop, sizeof f.crop);
    ck_assert_mem_eq(&a->night_noise, &f.night_noise, sizeof(float));
    ck_assert(same(a->aim.focal_px, f.aim.focal_px) && same(a->aim.bend[0], f.aim.bend[0]) &&
              same(a->aim.bend[1], f.aim.bend[1]) && same(a->aim.cx, f.aim.cx) &&
              same(a->aim.cy, f.aim.cy) && same(a->site.lat_deg, f.aim.lat_deg));
    for (int i = 0; i < 3; i++)
        ck_assert(same(a->aim.pole[i], f.aim.pole[i]) &&
                  same(a->aim.meridian[i], f.aim.meridian[i]));
    ck_assert_mem_eq(a->open, f.open, sizeof f.open);
    ck_assert_mem_eq(&a->hold, &f.hold, sizeof f.hold);
    ck_assert_uint_eq(a->n_stars, f.n_stars);
    for (size_t i = 0; i < f.n_stars; i++)
        ck_assert(same(a->star[i].ra_deg, f.star[i].ra_deg) &&
                  same(a->star[i].dec_deg, f.star[i].dec_deg) &&
                  same((double)a->star[i].share, (double)f.star[i].share) &&
                  same((double)a->star[i].colour, (double)f.star[i].colour));
    ck_assert_int_eq(a->law.n, f.law.n);
    ck_assert(same(a->law.first_deg, f.law.first_deg) && same(a->law.step_deg, f.law.step_deg));
    for (int i = 0; i < SHOOT_LAW; i++)
        ck_assert(same(a->law.coef[i], f.law.coef[i]));
    dw_facts_free(&f);
}
END_TEST

START_TEST(damaged_facts_are_refused_by_name)
{
    static const struct {
        const char *from, *to, *says;
    } bad[] = {{"\"format\": 2", "\"format\": 3", "format"},
               {"[5999, 0]", "[6000, 0]", "hot_pixels"},
               {"[5999, 0]", "[-1, 0]", "hot_pixels"},
               {"[5999, 0]", "5999", "hot_pixels"},
               {"\"night_mul\": [1.0", "\"night_mul\": [1.0, 2.0", "night_mul"},
               {"\"utc_offset_s\": 7200", "\"utc_offset_s\": \"+02:00\"", "utc_offset_s"},
               {"\"focal_px\"", "\"vocal_px\"", "focal_px"},
               {"[1.5, -20.25, ", "[1.5, ", "stars"},
               {"[1.5, -20.25, ", "[1.5, -20.25, 0.1, ", "stars"},
               {"[1.5, -20.25, 0.", "[1.5, -20.25, 1.", "stars"},
               {"[1.5, -20.25, ", "[1.5, -20.25, 0.1, 1e300], [1.5, -20.25, ", "stars"},
               {"\"open\": [\"1", "\"open\": [\"11", "open"},
               {"\"open\": [",
                "\"open\": [\"000000000000000000000000000000000000000000000000000000000000\", ",
                "open"},
               {"\"rise\": [[", "\"rise\": [[1.0, ", "hold"},
               {"\"rise\": [[0.", "\"rise\": [[-0.", "hold"},
               {"\"rise\"", "\"sank\"", "hold"},
               {"\"law\"", "\"saw\"", "first_deg"},
               {"}\n", "", "expected JSON"}};
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        struct dw_facts f;
        struct dw_error err = {0};
        ck_assert_int_eq(dw_write_facts(s->dir, &s->d, NULL), DW_OK);
        edit("facts.json", bad[i].from, bad[i].to, 0);
        ck_assert_msg(dw_read_facts(s->dir, &f, &err) == DW_ERR_FORMAT, "%s", bad[i].to);
        ck_assert_msg(strstr(err.text, bad[i].says) != NULL, "%s", err.text);
        ck_assert_ptr_null(f.levels);
    }
    struct dw_facts f;
    unlink(shoot_path(s, "facts.json"));
    ck_assert_int_eq(dw_read_facts(s->dir, &f, NULL), DW_ERR_IO);
}
END_TEST

/* Fields of summary.json as the design promises them. */
START_TEST(summary_holds_exactly_the_promised_fields)
{
    static const char *const fields[] = {"frames",    "interval_s", "site",  "utc_offset_s",
                                         "first_utc", "last_utc",   "pole",  "loop",
                                         "flicker",   "settings",   "faults"};
    s->d.ledger[1].faults = DW_BRIGHT | DW_GAP;
    s->d.ledger[4].faults = DW_GAP;
    struct dw_setting_error setting = {
        .kind = DW_ISO, .value = 800, .red = 0.0123, .red_sigma = 0.0004};
    s->d.setting = &setting;
    s->d.n_settings = 1;
    ck_assert_int_eq(dw_write_summary(s->dir, &s->d, NULL), DW_OK);
    json_t *o = json_load_file(shoot_path(s, "summary.json"), 0, NULL);
    ck_assert_ptr_nonnull(o);
    ck_assert_uint_eq(json_object_size(o), sizeof fields / sizeof *fields);
    for (size_t i = 0; i < sizeof fields / sizeof *fields; i++)
        ck_assert_msg(json_object_get(o, fields[i]) != NULL, "%s", fields[i]);
    ck_assert_int_eq(json_integer_value(json_object_get(o, "frames")), 6);
    ck_assert_str_eq(json_string_value(json_object_get(o, "first_utc")),
                     "2025-06-21T00:00:00.123Z");
    ck_assert_str_eq(json_string_value(json_object_get(o, "last_utc")), "2025-06-21T00:01:40.123Z");
    ck_assert(json_is_null(json_object_get(o, "pole")));
    json_t *flicker = json_object_get(o, "flicker"), *faults = json_object_get(o, "faults");
    ck_assert_double_eq_tol(json_real_value(json_object_get(flicker, "before_stops")), 0.0412345678,
                            1e-10);
    ck_assert_double_eq_tol(json_real_value(json_object_get(flicker, "after_stops")), 0.00151234,
                            1e-10);
    ck_assert_double_eq_tol(json_real_value(json_object_get(flicker, "fps")), 25, 1e-12);
    ck_assert_double_eq_tol(json_real_value(json_object_get(flicker, "threshold_stops")), 0.004,
                            1e-12);
    ck_assert_double_eq_tol(json_real_value(json_object_get(flicker, "visibility")),
                            0.00151234 / 0.004, 1e-10);
    json_t *twilight = json_object_get(json_object_get(flicker, "by_light"), "twilight");
    ck_assert(json_is_null(json_object_get(twilight, "before_stops"))); /* no such frame */
    json_t *settings = json_object_get(o, "settings"), *iso = json_array_get(settings, 0);
    ck_assert_uint_eq(json_array_size(settings), 1);
    ck_assert_uint_eq(json_object_size(iso), 3); /* nothing is said of blue and corner */
    ck_assert_double_eq_tol(json_number_value(json_object_get(iso, "iso")), 800, 1e-9);
    ck_assert_double_eq_tol(json_real_value(json_object_get(iso, "red_stops")), 0.0123, 1e-10);
    ck_assert_double_eq_tol(json_real_value(json_object_get(iso, "red_sigma_stops")), 0.0004,
                            1e-10);
    ck_assert_uint_eq(json_object_size(faults), 2);
    ck_assert_int_eq(json_integer_value(json_object_get(faults, "gap")), 2);
    ck_assert_int_eq(json_integer_value(json_object_get(faults, "bright")), 1);
    json_decref(o);
}
END_TEST

static void write_and_read_words(enum dw_word *word, enum dw_status expected, struct dw_error *err)
{
    ck_assert_int_eq(dw_read_words(s->dir, &s->shots, word, err), expected);
}

START_TEST(an_unedited_ledger_says_nothing)
{
    enum dw_word word[6];
    write_and_read_words(word, DW_OK, NULL); /* none there yet */
    s->d.ledger[3].use = s->d.ledger[3].verdict = false;
    ck_assert_int_eq(dw_write_ledger(s->dir, &s->shots, &s->d, NULL, NULL, NULL), DW_OK);
    write_and_read_words(word, DW_OK, NULL);
    for (int i = 0; i < 6; i++)
        ck_assert_int_eq(word[i], DW_WORD_NONE);
}
END_TEST

START_TEST(a_persons_word_is_heard_and_lasts)
{
    enum dw_word word[6];
    s->d.ledger[3].use = s->d.ledger[3].verdict = false;
    ck_assert_int_eq(dw_write_ledger(s->dir, &s->shots, &s->d, NULL, NULL, NULL), DW_OK);
    edit("ledger.csv", ",yes\n", ",N\n", 1);
    edit("ledger.csv", ",no\n", ",1\r\n", 0);
    write_and_read_words(word, DW_OK, NULL);
    ck_assert_int_eq(word[1], DW_WORD_DROP);
    ck_assert_int_eq(word[3], DW_WORD_USE);
    ck_assert_int_eq(word[0] | word[2] | word[4] | word[5], DW_WORD_NONE);
    /* The next run obeys and writes the ledger anew; the one after it must still hear it. */
    s->d.ledger[1].use = false;
    s->d.ledger[3].use = true;
    ck_assert_int_eq(dw_write_ledger(s->dir, &s->shots, &s->d, word, NULL, NULL), DW_OK);
    enum dw_word again[6];
    write_and_read_words(again, DW_OK, NULL);
    ck_assert_mem_eq(word, again, sizeof word);
    /* And it can be taken back. */
    edit("ledger.csv", ",no\n", ",yes\n", 0);
    write_and_read_words(again, DW_OK, NULL);
    ck_assert_int_eq(again[1], DW_WORD_NONE);
}
END_TEST

/* An option's word lasts only as long as the option is given; an edit below it lasts. */
START_TEST(an_options_word_does_not_stay_behind)
{
    enum dw_word edited[6] = {0}, asked[6] = {0}, word[6];
    edited[0] = asked[0] = DW_WORD_DROP;
    edited[1] = asked[2] = DW_WORD_DROP;
    asked[3] = DW_WORD_USE; /* of a shot that cannot be decoded: it stays out */
    asked[4] = DW_WORD_DROP;
    s->d.ledger[0].use = s->d.ledger[1].use = s->d.ledger[2].use = false;
    s->d.ledger[3].use = s->d.ledger[3].verdict = false;
    s->d.ledger[4].use = s->d.ledger[4].verdict = false; /* the program thinks so, too */
    ck_assert_int_eq(dw_write_ledger(s->dir, &s->shots, &s->d, edited, asked, NULL), DW_OK);
    write_and_read_words(word, DW_OK, NULL);
    ck_assert_int_eq(word[0], DW_WORD_DROP);
    ck_assert_int_eq(word[1], DW_WORD_DROP);
    for (int i = 2; i < 6; i++)
        ck_assert_int_eq(word[i], DW_WORD_NONE);
    /* A table of an earlier version has no such column: the verdict says it. */
    write_text("judgement.csv", "file,utc,verdict\nINV_0001.DNG,,yes\nINV_0002.DNG,,no\n");
    write_and_read_words(word, DW_OK, NULL);
    ck_assert_int_eq(word[0], DW_WORD_DROP);
    ck_assert_int_eq(word[1], DW_WORD_NONE);
}
END_TEST

START_TEST(nonsense_in_use_names_its_place)
{
    enum dw_word word[6];
    struct dw_error err = {0};
    ck_assert_int_eq(dw_write_ledger(s->dir, &s->shots, &s->d, NULL, NULL, NULL), DW_OK);
    edit("ledger.csv", ",yes\n", ",maybe\n", 2);
    write_and_read_words(word, DW_ERR_FORMAT, &err);
    ck_assert_ptr_nonnull(strstr(err.text, "ledger.csv"));
    ck_assert_ptr_nonnull(strstr(err.text, "line 4"));
    ck_assert_ptr_nonnull(strstr(err.text, "maybe"));
    ck_assert_ptr_nonnull(strstr(err.text, "yes or no"));
    write_text("ledger.csv", "frame;file;utc;use\n1;INV_0001.DNG;;yes\n");
    write_and_read_words(word, DW_ERR_FORMAT, &err);
    ck_assert_ptr_nonnull(strstr(err.text, "commas"));
    write_text("ledger.csv", "frame,utc,use\n1,,yes\n");
    write_and_read_words(word, DW_ERR_FORMAT, &err);
    ck_assert_ptr_nonnull(strstr(err.text, "file"));
    write_text("ledger.csv", "");
    write_and_read_words(word, DW_ERR_FORMAT, &err);
}
END_TEST

/* Two cards count from the same number: the k-th of a name in time is meant, and a spreadsheet
 * may have sorted the rows. */
START_TEST(equal_names_are_told_apart_by_time)
{
    enum dw_word word[6];
    strcpy(s->shots.shot[4].name, "INV_0002.DNG"); /* the same as shot 1 */
    ck_assert_int_eq(dw_write_ledger(s->dir, &s->shots, &s->d, NULL, NULL, NULL), DW_OK);
    edit("ledger.csv", ",yes\n", ",no\n", 4);
    char *text = slurp("ledger.csv");
    char *line[8] = {strtok(text, "\n")}, sorted[4096] = "";
    for (int i = 1; i < 7; i++)
        line[i] = strtok(NULL, "\n");
    const int order[] = {0, 5, 6, 4, 3, 2, 1};
    for (int i = 0; i < 7; i++) {
        strcat(sorted, line[order[i]]);
        strcat(sorted, "\n");
    }
    strcat(sorted, ",,,,,,,,,,,,,\n"); /* spreadsheets like to leave such lines */
    write_text("ledger.csv", sorted);
    free(text);
    write_and_read_words(word, DW_OK, NULL);
    for (int i = 0; i < 6; i++)
        ck_assert_int_eq(word[i], i == 4 ? DW_WORD_DROP : DW_WORD_NONE);
    /* Now the first of the two left the shoot: the word still belongs to the other. */
    char *first = s->shots.shot[1].name;
    s->shots.shot[1].name = shoot_copy("INV_0099.DNG");
    write_and_read_words(word, DW_OK, NULL);
    for (int i = 0; i < 6; i++)
        ck_assert_int_eq(word[i], i == 4 ? DW_WORD_DROP : DW_WORD_NONE);
    /* The second left instead: nobody may inherit its word. */
    strcpy(s->shots.shot[4].name, "INV_0098.DNG");
    free(s->shots.shot[1].name);
    s->shots.shot[1].name = first;
    write_and_read_words(word, DW_OK, NULL);
    for (int i = 0; i < 6; i++)
        ck_assert_int_eq(word[i], DW_WORD_NONE);
}
END_TEST

START_TEST(without_the_judgement_every_use_is_a_word)
{
    enum dw_word word[6];
    struct dw_error err = {0};
    s->d.ledger[3].use = s->d.ledger[3].verdict = false;
    ck_assert_int_eq(dw_write_ledger(s->dir, &s->shots, &s->d, NULL, NULL, NULL), DW_OK);
    unlink(shoot_path(s, "judgement.csv"));
    write_and_read_words(word, DW_WARN, &err);
    ck_assert_ptr_nonnull(strstr(err.text, "judgement.csv"));
    ck_assert_int_eq(word[0], DW_WORD_USE);
    ck_assert_int_eq(word[3], DW_WORD_DROP);
}
END_TEST

START_TEST(a_full_or_closed_folder_is_an_error_and_leaves_nothing)
{
    struct dw_error err = {0};
    ck_assert_int_eq(dw_write_summary("/proc/nowhere", &s->d, &err), DW_ERR_IO);
    ck_assert_ptr_nonnull(strstr(err.text, "/proc/nowhere"));
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("documents");
    TCase *c = tcase_create("documents");
    tcase_add_checked_fixture(c, setup, teardown);
    tcase_add_test(c, ledger_holds_exactly_the_promised_columns);
    tcase_add_test(c, judgement_stands_beside_the_ledger);
    tcase_add_test(c, frames_come_back_exactly);
    tcase_add_test(c, a_locale_with_commas_changes_nothing);
    tcase_add_test(c, frames_for_other_shots_are_refused);
    tcase_add_test(c, damaged_frames_are_refused);
    tcase_add_test(c, facts_hold_what_facts_json_knows);
    tcase_add_test(c, facts_come_back_exactly);
    tcase_add_test(c, damaged_facts_are_refused_by_name);
    tcase_add_test(c, summary_holds_exactly_the_promised_fields);
    tcase_add_test(c, an_unedited_ledger_says_nothing);
    tcase_add_test(c, a_persons_word_is_heard_and_lasts);
    tcase_add_test(c, an_options_word_does_not_stay_behind);
    tcase_add_test(c, nonsense_in_use_names_its_place);
    tcase_add_test(c, equal_names_are_told_apart_by_time);
    tcase_add_test(c, without_the_judgement_every_use_is_a_word);
    tcase_add_test(c, a_full_or_closed_folder_is_an_error_and_leaves_nothing);
    suite_add_tcase(suite, c);
    return dw_check_main(suite);
}
