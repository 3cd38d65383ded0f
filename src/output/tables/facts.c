/* facts.c: facts.json, what was learnt from the whole shoot. Written with 17 significant digits,
 * so that reading it gives back the very same numbers. Unknown numbers (NAN) are null. */
#include "output/tables/documents.h"

#include <jansson.h>

#include <float.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/atomic_file.h"

#define FACTS_FORMAT 2 /* rises when a reader of the old form would misunderstand the new one */
#define LARGEST_FACTS ((size_t)64 << 20)

static json_t *number(double x)
{
    return isfinite(x) ? json_real(x) : json_null();
}

static json_t *floats(const float *v, size_t n)
{
    json_t *a = json_array();
    for (size_t i = 0; i < n; i++)
        json_array_append_new(a, number((double)v[i]));
    return a;
}

static json_t *levels_json(const struct dw_facts *f)
{
    json_t *a = json_array();
    for (size_t i = 0; i < f->n_levels; i++) {
        const struct dw_levels *l = &f->levels[i];
        json_array_append_new(a, json_pack("{s:o, s:o, s:o, s:o, s:o, s:o}", "iso", number(l->iso),
                                           "shutter_s", number(l->shutter_s), "black",
                                           floats(l->black, 3), "white", number((double)l->white),
                                           "read_noise", number((double)l->read_dn), "photon_noise",
                                           number((double)l->photon_dn)));
    }
    return a;
}

static json_t *hot_json(const struct dw_facts *f)
{
    json_t *a = json_array();
    for (size_t i = 0; i < f->n_hot; i++)
        json_array_append_new(a, json_pack("[i, i]", f->hot[i].x, f->hot[i].y));
    return a;
}

static json_t *doubles(const double *v, size_t n)
{
    json_t *a = json_array();
    for (size_t i = 0; i < n; i++)
        json_array_append_new(a, number(v[i]));
    return a;
}

static json_t *aim_json(const struct dw_aim *aim)
{
    return json_pack("{s:o, s:o, s:o, s:o, s:o}", "focal_px", number(aim->focal_px), "bend",
                     doubles(aim->bend, 2), "centre", doubles((double[]){aim->cx, aim->cy}, 2),
                     "pole", doubles(aim->pole, 3), "meridian", doubles(aim->meridian, 3));
}

static json_t *stars_json(const struct dw_facts *f)
{
    json_t *a = json_array();
    for (size_t i = 0; i < f->n_stars; i++)
        json_array_append_new(
            a, json_pack("[o, o, o, o, o]", number(f->star[i].ra_deg), number(f->star[i].dec_deg),
                         number((double)f->star[i].share), number((double)f->star[i].colour),
                         number((double)f->star[i].light)));
    return a;
}

/* A string a row of tiles, '1' for sky. */
static json_t *open_json(const struct dw_facts *f)
{
    json_t *a = json_array();
    for (int y = 0; y < DW_OPEN_ROWS; y++) {
        char row[DW_OPEN_COLS + 1] = {0};
        for (int x = 0; x < DW_OPEN_COLS; x++)
            row[x] = f->open[y][x] ? '1' : '0';
        json_array_append_new(a, json_string(row));
    }
    return a;
}

/* Rows of tiles, the highest of the sensor's picture first. */
static json_t *hold_json(const struct dw_hold_facts *hold)
{
    json_t *rise = json_array();
    for (int y = 0; y < DW_HOLD_ROWS; y++)
        json_array_append_new(rise, floats(hold->rise[y], DW_HOLD_COLS));
    return json_pack("{s:o, s:o}", "night_key", number(hold->night_key), "rise", rise);
}

static json_t *law_json(const struct dw_law *law)
{
    json_t *stops = json_array();
    for (int i = 0; i < law->n; i++)
        json_array_append_new(stops, number(law->coef[i]));
    return json_pack("{s:o, s:o, s:o}", "first_deg", number(law->first_deg), "step_deg",
                     number(law->step_deg), "stops", stops);
}

static json_t *facts_json(const struct dw_facts *f, bool with_survey)
{
    json_t *o = json_object();
    json_object_set_new(o, "format", json_integer(FACTS_FORMAT));
    if (with_survey)
        json_object_set_new(o, "survey", json_string(f->survey_id));
    json_object_set_new(o, "site",
                        json_pack("{s:o, s:o, s:o}", "lat_deg", number(f->site.lat_deg), "lon_deg",
                                  number(f->site.lon_deg), "height_m", number(f->site.height_m)));
    json_object_set_new(o, "utc_offset_s", json_integer(f->utc_offset_s));
    json_object_set_new(o, "interval_s", number(f->interval_s));
    json_object_set_new(o, "twilight",
                        json_pack("{s:o, s:o, s:o, s:o}", "night_deg", number(f->night_deg),
                                  "day_deg", number(f->day_deg), "balance_night_deg",
                                  number(f->balance_night_deg), "balance_day_deg",
                                  number(f->balance_day_deg)));
    json_object_set_new(o, "mosaic",
                        json_pack("{s:i, s:i, s:i}", "width", f->mosaic_width, "height",
                                  f->mosaic_height, "turn_deg", f->turn_deg));
    if (f->crop.left || f->crop.top || f->crop.right || f->crop.bottom)
        json_object_set_new(o, "crop",
                            json_pack("{s:i, s:i, s:i, s:i}", "left", f->crop.left, "top",
                                      f->crop.top, "right", f->crop.right, "bottom",
                                      f->crop.bottom));
    json_object_set_new(o, "levels", levels_json(f));
    json_object_set_new(o, "hot_pixels", hot_json(f));
    json_object_set_new(o, "white_mul", floats(f->white_mul, 3));
    json_object_set_new(o, "cam_to_wide", floats(f->cam_to_wide, 9));
    json_object_set_new(o, "night_mul", floats(f->night_mul, 3));
    json_object_set_new(o, "night_sky", floats(f->night_sky, 3));
    json_object_set_new(o, "night_sky_keys", number((double)f->night_sky_keys));
    json_object_set_new(o, "night_noise", number((double)f->night_noise));
    if (f->aim.focal_px > 0) {
        json_object_set_new(o, "aim", aim_json(&f->aim));
        json_object_set_new(o, "open", open_json(f));
        json_object_set_new(o, "stars", stars_json(f));
    }
    if (f->hold.night_key > 0)
        json_object_set_new(o, "hold", hold_json(&f->hold));
    json_object_set_new(o, "law", law_json(&f->law));
    json_object_set_new(o, "day_light_stops", number(f->day_light_stops));
    return o;
}

static int by_name(const void *a, const void *b)
{
    return strcmp(*(const char *const *)a, *(const char *const *)b);
}

/* One key a line: the library would put every coordinate of every hot pixel on its own. */
bool dw_facts_text(const struct dw_facts *facts, bool with_survey, struct dw_buffer *out)
{
    json_t *o = facts_json(facts, with_survey);
    const char *name[64], *key;
    json_t *value;
    size_t n = 0;
    json_object_foreach(o, key, value) if (n < 64) name[n++] = key;
    qsort(name, n, sizeof name[0], by_name);
    dw_buffer_add(out, "{\n", 2);
    for (size_t i = 0; i < n; i++) {
        char *text = json_dumps(json_object_get(o, name[i]),
                                JSON_ENCODE_ANY | JSON_SORT_KEYS | JSON_REAL_PRECISION(17));
        if (text)
            dw_buffer_printf(out, "  \"%s\": %s%s\n", name[i], text, i + 1 < n ? "," : "");
        else
            out->failed = true;
        free(text);
    }
    dw_buffer_add(out, "}\n", 2);
    if (n == 0)
        out->failed = true;
    json_decref(o);
    return !out->failed;
}

enum dw_status dw_write_facts(const char *dir, const struct dw_decision *d, struct dw_error *err)
{
    struct dw_buffer b = {0};
    dw_facts_text(&d->facts, true, &b);
    return dw_document_commit(dir, "facts.json", &b, err);
}

/* Reading. Each step notes what is wrong first; `found` stays NULL while all is well. */
struct reader {
    const json_t *root;
    const char *wrong; /* the key that is not as expected */
};

static double get_number(struct reader *r, const json_t *in, const char *key)
{
    const json_t *v = json_object_get(in, key);
    if (json_is_null(v))
        return (double)NAN;
    if (!json_is_number(v) && !r->wrong)
        r->wrong = key;
    return json_number_value(v);
}

static int get_int(struct reader *r, const json_t *in, const char *key, int low, int high)
{
    const json_t *v = json_object_get(in, key);
    json_int_t i = json_integer_value(v);
    if ((!json_is_integer(v) || i < low || i > high) && !r->wrong) {
        r->wrong = key;
        return low;
    }
    return (int)i;
}

static void get_floats(struct reader *r, const json_t *in, const char *key, float *out, size_t n)
{
    const json_t *a = json_object_get(in, key);
    if (!json_is_array(a) || json_array_size(a) != n) {
        if (!r->wrong)
            r->wrong = key;
        return;
    }
    for (size_t i = 0; i < n; i++) {
        const json_t *v = json_array_get(a, i);
        if (!json_is_number(v) && !json_is_null(v) && !r->wrong)
            r->wrong = key;
        out[i] = json_is_null(v) ? (float)NAN : (float)json_number_value(v);
    }
}

static void get_doubles(struct reader *r, const json_t *in, const char *key, double *out, size_t n)
{
    const json_t *a = json_object_get(in, key);
    if (json_array_size(a) != n && !r->wrong)
        r->wrong = key;
    for (size_t i = 0; i < n && !r->wrong; i++) {
        const json_t *v = json_array_get(a, i);
        if (!json_is_number(v))
            r->wrong = key;
        out[i] = json_number_value(v);
    }
}

static void get_aim(struct reader *r, const json_t *o, struct dw_facts *f)
{
    struct dw_aim a = {.lat_deg = f->site.lat_deg};
    double centre[2] = {0};
    a.focal_px = get_number(r, o, "focal_px");
    get_doubles(r, o, "bend", a.bend, 2);
    get_doubles(r, o, "centre", centre, 2);
    get_doubles(r, o, "pole", a.pole, 3);
    get_doubles(r, o, "meridian", a.meridian, 3);
    a.cx = centre[0];
    a.cy = centre[1];
    f->aim = a;
}

/* An array to be read into n items of `size` bytes; NULL, with n = 0, when there are none. */
static void *get_room(struct reader *r, const json_t *a, const char *key, size_t size, size_t *n)
{
    *n = json_array_size(a);
    if (!json_is_array(a) && !r->wrong)
        r->wrong = key;
    void *room = *n ? calloc(*n, size) : NULL;
    if (!room)
        *n = 0;
    return room;
}

static void get_levels(struct reader *r, struct dw_facts *f)
{
    const json_t *a = json_object_get(r->root, "levels");
    f->levels = get_room(r, a, "levels", sizeof *f->levels, &f->n_levels);
    for (size_t i = 0; i < f->n_levels; i++) {
        const json_t *o = json_array_get(a, i);
        f->levels[i].iso = get_number(r, o, "iso");
        f->levels[i].shutter_s = get_number(r, o, "shutter_s");
        get_floats(r, o, "black", f->levels[i].black, 3);
        f->levels[i].white = (float)get_number(r, o, "white");
        f->levels[i].read_dn = (float)get_number(r, o, "read_noise");
        f->levels[i].photon_dn = (float)get_number(r, o, "photon_noise");
    }
}

static void get_hot(struct reader *r, struct dw_facts *f)
{
    const json_t *a = json_object_get(r->root, "hot_pixels");
    f->hot = get_room(r, a, "hot_pixels", sizeof *f->hot, &f->n_hot);
    for (size_t i = 0; i < f->n_hot; i++) {
        const json_t *pair = json_array_get(a, i);
        const json_t *x = json_array_get(pair, 0), *y = json_array_get(pair, 1);
        json_int_t xi = json_integer_value(x), yi = json_integer_value(y);
        if ((!json_is_integer(x) || !json_is_integer(y) || xi < 0 || xi >= f->mosaic_width ||
             yi < 0 || yi >= f->mosaic_height) &&
            !r->wrong)
            r->wrong = "hot_pixels";
        f->hot[i] = (struct dw_hot){(uint16_t)xi, (uint16_t)yi};
    }
}

static void get_stars(struct reader *r, struct dw_facts *f)
{
    const json_t *a = json_object_get(r->root, "stars");
    f->star = get_room(r, a, "stars", sizeof *f->star, &f->n_stars);
    for (size_t i = 0; i < f->n_stars; i++) {
        const json_t *s = json_array_get(a, i);
        bool sound = json_array_size(s) == 5;
        for (size_t k = 0; k < 5; k++)
            sound = sound && json_is_number(json_array_get(s, k));
        double share = json_number_value(json_array_get(s, 2));
        double colour = json_number_value(json_array_get(s, 3));
        double light = json_number_value(json_array_get(s, 4));
        if (!sound || !(share >= 0 && share <= 1) || !(colour >= 0 && colour <= (double)FLT_MAX) ||
            !(light >= 0 && light <= (double)FLT_MAX)) {
            r->wrong = r->wrong ? r->wrong : "stars";
            return;
        }
        f->star[i] = (struct dw_star){json_number_value(json_array_get(s, 0)),
                                      json_number_value(json_array_get(s, 1)), (float)share,
                                      (float)colour, (float)light};
    }
}

static void get_open(struct reader *r, struct dw_facts *f)
{
    const json_t *a = json_object_get(r->root, "open");
    if (json_array_size(a) != DW_OPEN_ROWS && !r->wrong)
        r->wrong = "open";
    for (size_t y = 0; y < DW_OPEN_ROWS; y++) {
        const char *row = json_string_value(json_array_get(a, y));
        if (!row || strlen(row) != DW_OPEN_COLS) {
            r->wrong = r->wrong ? r->wrong : "open";
            return;
        }
        for (int x = 0; x < DW_OPEN_COLS; x++)
            f->open[y][x] = row[x] == '1';
    }
}

static void get_hold(struct reader *r, const json_t *o, struct dw_hold_facts *hold)
{
    const json_t *rise = json_object_get(o, "rise");
    double key = get_number(r, o, "night_key");
    bool sound = key > 0 && key < 1 && json_array_size(rise) == DW_HOLD_ROWS;
    for (size_t y = 0; sound && y < DW_HOLD_ROWS; y++) {
        const json_t *row = json_array_get(rise, y);
        sound = json_array_size(row) == DW_HOLD_COLS;
        for (size_t x = 0; sound && x < DW_HOLD_COLS; x++) {
            double v = json_number_value(json_array_get(row, x));
            sound = json_is_number(json_array_get(row, x)) && v >= 0 && v <= 30;
            hold->rise[y][x] = (float)v;
        }
    }
    hold->night_key = key;
    if (!sound)
        r->wrong = r->wrong ? r->wrong : "hold";
}

static void get_law(struct reader *r, struct dw_law *law)
{
    const json_t *o = json_object_get(r->root, "law"), *a = json_object_get(o, "stops");
    size_t n;
    law->first_deg = get_number(r, o, "first_deg");
    law->step_deg = get_number(r, o, "step_deg");
    law->coef = get_room(r, a, "law", sizeof *law->coef, &n);
    law->n = (int)n;
    for (size_t i = 0; i < n; i++) {
        const json_t *v = json_array_get(a, i);
        if (!json_is_number(v) && !json_is_null(v) && !r->wrong)
            r->wrong = "law";
        law->coef[i] = json_is_null(v) ? (double)NAN : json_number_value(v);
    }
}

static void get_all(struct reader *r, struct dw_facts *f)
{
    get_int(r, r->root, "format", FACTS_FORMAT, FACTS_FORMAT);
    const char *survey = json_string_value(json_object_get(r->root, "survey"));
    if (!survey || strlen(survey) >= sizeof f->survey_id)
        r->wrong = r->wrong ? r->wrong : "survey";
    else
        strcpy(f->survey_id, survey);
    const json_t *site = json_object_get(r->root, "site");
    f->site.lat_deg = get_number(r, site, "lat_deg");
    f->site.lon_deg = get_number(r, site, "lon_deg");
    f->site.height_m = get_number(r, site, "height_m");
    f->utc_offset_s = get_int(r, r->root, "utc_offset_s", -86400, 86400);
    f->interval_s = get_number(r, r->root, "interval_s");
    const json_t *twilight = json_object_get(r->root, "twilight");
    f->night_deg = get_number(r, twilight, "night_deg");
    f->day_deg = get_number(r, twilight, "day_deg");
    f->balance_night_deg = get_number(r, twilight, "balance_night_deg");
    f->balance_day_deg = get_number(r, twilight, "balance_day_deg");
    const json_t *mosaic = json_object_get(r->root, "mosaic");
    f->mosaic_width = get_int(r, mosaic, "width", 1, 65535);
    f->mosaic_height = get_int(r, mosaic, "height", 1, 65535);
    f->turn_deg = get_int(r, mosaic, "turn_deg", 0, 270);
    const json_t *crop = json_object_get(r->root, "crop");
    if (crop) { /* only where the camera was bumped */
        int across = f->mosaic_width / 4, down = f->mosaic_height / 4;
        f->crop.left = get_int(r, crop, "left", 0, across);
        f->crop.top = get_int(r, crop, "top", 0, down);
        f->crop.right = get_int(r, crop, "right", 0, across);
        f->crop.bottom = get_int(r, crop, "bottom", 0, down);
    }
    const json_t *aim = json_object_get(r->root, "aim");
    if (aim) { /* only where stars showed it */
        get_aim(r, aim, f);
        get_open(r, f);
        get_stars(r, f);
    }
    const json_t *hold = json_object_get(r->root, "hold");
    if (hold) /* only where light stays while dusk goes */
        get_hold(r, hold, &f->hold);
    get_levels(r, f);
    get_hot(r, f);
    get_floats(r, r->root, "white_mul", f->white_mul, 3);
    get_floats(r, r->root, "cam_to_wide", f->cam_to_wide, 9);
    get_floats(r, r->root, "night_mul", f->night_mul, 3);
    get_floats(r, r->root, "night_sky", f->night_sky, 3);
    f->night_sky_keys = (float)get_number(r, r->root, "night_sky_keys");
    f->night_noise = (float)get_number(r, r->root, "night_noise");
    get_law(r, &f->law);
    f->day_light_stops = get_number(r, r->root, "day_light_stops");
}

static void free_parts(struct dw_facts *f)
{
    free(f->levels);
    free(f->hot);
    free(f->law.coef);
    free(f->star);
    *f = (struct dw_facts){0};
}

enum dw_status dw_read_facts(const char *dir, struct dw_facts *facts, struct dw_error *err)
{
    *facts = (struct dw_facts){0};
    char *path = dw_join_path(dir, "facts.json"), *text = NULL;
    size_t n = 0;
    if (!path)
        return dw_fail(err, DW_ERR_MEMORY, "%s/facts.json: no memory for its name", dir);
    enum dw_status s = dw_read_whole(path, LARGEST_FACTS, &text, &n, err);
    if (s >= 0) {
        json_error_t je;
        json_t *root = json_loadb(text, n, JSON_REJECT_DUPLICATES, &je);
        struct reader r = {.root = root};
        if (!root) {
            s = dw_fail(err, DW_ERR_FORMAT,
                        "%s: line %d: %s; expected JSON as daywheel survey writes it, run that "
                        "again",
                        path, je.line, je.text);
        } else {
            get_all(&r, facts);
            if (r.wrong)
                s = dw_fail(err, DW_ERR_FORMAT,
                            "%s: \"%s\" is missing or not as expected (docs/formats.md lists every "
                            "field); run daywheel survey again",
                            path, r.wrong);
        }
        json_decref(root);
    }
    if (s < 0)
        free_parts(facts);
    free(text);
    free(path);
    return s;
}
