/* preview_columns.c: see preview_columns.h. */
#include "cli/preview_columns.h"

#include "base/when.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void label(const struct dw_preview_view *v, const struct dw_frame *f,
                  const struct dw_shot *shot, struct dw_strip_column *c)
{
    dw_when_minute(f->utc_s, v->decision->facts.utc_offset_s, c->when);
    snprintf(c->altitude, sizeof c->altitude, "sun %s%.1f\xc2\xb0",
             f->sun_alt_deg < -0.05 ? "\xe2\x88\x92" : "", fabs(f->sun_alt_deg));
    snprintf(c->name, sizeof c->name, "%.60s", shot->name);
    if (f->day > 0 && f->day < 1) /* never 0 or 100: those are the looks themselves */
        snprintf(c->weight, sizeof c->weight, "%.0f\xc2\xa0%% day",
                 fmin(fmax(100 * f->day, 1), 99));
    else
        snprintf(c->weight, sizeof c->weight, f->day > 0 ? "all day" : "all night");
}

/* The look works in place, so each rendering starts from a copy. */
static enum dw_status look(const struct dw_linear *light, const struct dw_frame *row,
                           const struct dw_facts *facts, const struct dw_look_params *params,
                           struct dw_image *out, struct dw_error *err)
{
    const size_t n = (size_t)light->width * (size_t)light->height;
    struct dw_linear copy = {.width = light->width, .height = light->height};
    copy.plane[0] = malloc(3 * n * sizeof(float));
    if (!copy.plane[0])
        return dw_fail(err, DW_ERR_MEMORY, "no memory for a picture of a preview");
    memcpy(copy.plane[0], light->plane[0], 3 * n * sizeof(float));
    copy.plane[1] = copy.plane[0] + n;
    copy.plane[2] = copy.plane[1] + n;
    *out = (struct dw_image){.bits = 8, .space = DW_SPACE_SRGB};
    enum dw_status s = dw_look(&copy, row, facts, params, out, err);
    dw_linear_free(&copy);
    return s;
}

/* The place among the few of a shot of the decision; few->n if it is not there. */
static size_t place_of(const struct dw_preview_view *v, size_t shot)
{
    size_t at = 0;
    while (at < v->few->n &&
           (shot >= v->shots->n || v->few->shot[at].path != v->shots->shot[shot].path))
        at++;
    return at;
}

static enum dw_status make(const struct dw_preview_view *v, const struct dw_frame *frame,
                           const struct dw_source *source, size_t at, struct dw_strip_column *out,
                           struct dw_error *err)
{
    const struct dw_facts *facts = &v->decision->facts;
    const struct dw_shot *shot = &v->few->shot[at];
    struct dw_source alone = *source;
    struct dw_thumb thumb = {0};
    struct dw_linear light = {0};
    alone.weight = 1;
    enum dw_status s = dw_survey_thumb(v->pictures, at, &thumb, err);
    if (s >= 0)
        s = dw_linear_from_thumb(&thumb, &v->pictures->measure[at], dw_facts_levels(facts, shot),
                                 facts, &alone, &light, err);
    for (unsigned r = 0; r < DW_RENDERINGS && s >= 0; r++) {
        struct dw_frame row = dw_frame_as(frame, (enum dw_rendering)r);
        s = look(&light, &row, facts, &v->look, &out->image[r], err);
    }
    dw_linear_free(&light);
    free(thumb.rgb);
    return s;
}

enum dw_status dw_preview_column(const struct dw_preview_view *v, const struct dw_frame *frame,
                                 struct dw_strip_column *out, struct dw_error *err)
{
    *out = (struct dw_strip_column){.when = ""};
    for (int i = 0; i < frame->n_sources; i++) {
        size_t at = place_of(v, frame->source[i].shot);
        if (at == v->few->n || !v->pictures->measure[at].usable)
            continue;
        label(v, frame, &v->few->shot[at], out);
        enum dw_status s = make(v, frame, &frame->source[i], at, out, err);
        if (s < 0)
            dw_preview_column_free(out);
        return s;
    }
    return dw_fail(err, DW_ERR_EMPTY, "frame %u: none of its shots can be shown", frame->number);
}

void dw_preview_column_free(struct dw_strip_column *c)
{
    for (int r = 0; r < DW_RENDERINGS; r++)
        dw_image_free(&c->image[r]);
}
