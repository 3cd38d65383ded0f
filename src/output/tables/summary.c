/* summary.c: summary.json, the run in a few fields that outside programs rely on. */
#include "output/tables/documents.h"
#include "base/when.h"

#include <jansson.h>

#include <math.h>
#include <stdlib.h>
#include <string.h>

static json_t *number(double x)
{
    return isfinite(x) ? json_real(x) : json_null();
}

static json_t *instant(double utc_s)
{
    char text[32];
    dw_when_utc(utc_s, text);
    return text[0] ? json_string(text) : json_null();
}

static json_t *pair(const struct dw_decision *d, double before, double after)
{
    return json_pack("{s:o, s:o, s:o}", "before_stops", number(before), "after_stops",
                     number(after), "visibility", number(after / d->flicker_threshold));
}

static json_t *flicker(const struct dw_decision *d)
{
    const struct dw_flicker *a = &d->before, *b = &d->after;
    json_t *o = pair(d, a->all, b->all);
    json_object_set_new(o, "fps", number(d->fps));
    json_object_set_new(o, "threshold_stops", number(d->flicker_threshold));
    json_object_set_new(o, "by_light",
                        json_pack("{s:o, s:o, s:o}", "day", pair(d, a->day, b->day), "twilight",
                                  pair(d, a->twilight, b->twilight), "night",
                                  pair(d, a->night, b->night)));
    return o;
}

/* Only codes that occurred. */
static json_t *fault_counts(const struct dw_decision *d)
{
    json_t *o = json_object();
    for (int i = 0; i < DW_FAULT_COUNT && dw_fault_name(i); i++) {
        json_int_t count = 0;
        for (size_t k = 0; k < d->n_shots; k++)
            count += d->ledger[k].faults >> i & 1;
        if (count > 0)
            json_object_set_new(o, dw_fault_name(i), json_integer(count));
    }
    return o;
}

static json_t *settings(const struct dw_decision *d)
{
    static const char *const kind[DW_SETTING_KINDS] = {"shutter_s", "iso", "f_number"};
    json_t *list = json_array();
    for (size_t i = 0; i < d->n_settings; i++) {
        const struct dw_setting_error *s = &d->setting[i];
        json_t *o = json_pack("{s:o}", kind[s->kind], number(s->value));
        const struct {
            const char *name, *sigma_name;
            double stops, sigma;
        } of[3] = {{"red_stops", "red_sigma_stops", s->red, s->red_sigma},
                   {"blue_stops", "blue_sigma_stops", s->blue, s->blue_sigma},
                   {"corner_stops", "corner_sigma_stops", s->corner, s->corner_sigma}};
        for (int k = 0; k < 3; k++)
            if (of[k].sigma > 0) {
                json_object_set_new(o, of[k].name, number(of[k].stops));
                json_object_set_new(o, of[k].sigma_name, number(of[k].sigma));
            }
        json_array_append_new(list, o);
    }
    return list;
}

enum dw_status dw_write_summary(const char *dir, const struct dw_decision *d, struct dw_error *err)
{
    const struct dw_facts *f = &d->facts;
    const double unknown = (double)NAN;
    json_t *o = json_object();
    json_object_set_new(o, "frames", json_integer((json_int_t)d->n_frames));
    json_object_set_new(o, "interval_s", number(f->interval_s));
    json_object_set_new(o, "site",
                        json_pack("{s:o, s:o, s:o}", "lat_deg", number(f->site.lat_deg), "lon_deg",
                                  number(f->site.lon_deg), "height_m", number(f->site.height_m)));
    json_object_set_new(o, "utc_offset_s", json_integer(f->utc_offset_s));
    json_object_set_new(o, "first_utc", instant(d->n_frames ? d->frame[0].utc_s : unknown));
    json_object_set_new(o, "last_utc",
                        instant(d->n_frames ? d->frame[d->n_frames - 1].utc_s : unknown));
    json_object_set_new(o, "pole", json_null());
    json_object_set_new(o, "loop", json_null());
    json_object_set_new(o, "flicker", flicker(d));
    json_object_set_new(o, "settings", settings(d));
    json_object_set_new(o, "faults", fault_counts(d));
    char *text = json_dumps(o, JSON_INDENT(2) | JSON_REAL_PRECISION(10));
    json_decref(o);
    struct dw_buffer b = {0};
    if (text) {
        dw_buffer_add(&b, text, strlen(text));
        dw_buffer_add(&b, "\n", 1);
    } else {
        b.failed = true;
    }
    free(text);
    return dw_document_commit(dir, "summary.json", &b, err);
}
