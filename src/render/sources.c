/* sources.c: see sources.h. */
#include "render/sources.h"

#include "render/look/look.h"

/* Linear output, 0..1, at which a burnt-out lamp, pane or room is shown at least: L* 96. */
#define LAMP_SHOWN 0.90f

enum dw_status dw_sources_init(struct dw_sources *s, struct dw_error *err)
{
    s->decoder = dw_decoder_new();
    return s->decoder ? DW_OK : dw_fail(err, DW_ERR_MEMORY, "no memory for a worker");
}

void dw_sources_free(struct dw_sources *s)
{
    for (int i = 0; i < DW_MAX_SOURCES; i++) {
        dw_light_free(&s->lit[i].light);
        dw_mosaic_free(&s->lit[i].mosaic);
    }
    dw_decoder_free(s->decoder);
}

/* True for failures that are this source's own: another frame may well succeed. */
static bool only_this_source(enum dw_status s)
{
    return s == DW_ERR_IO || s == DW_ERR_FORMAT || s == DW_ERR_MIXED || s == DW_ERR_EMPTY;
}

static enum dw_status read_one(struct dw_sources *s, const struct dw_shots *shots,
                               const struct dw_facts *facts, struct dw_scratch *scratch,
                               const struct dw_source *source, const struct dw_shown *shown,
                               const struct dw_render_params *params, struct dw_error *err)
{
    if (source->shot >= shots->n)
        return dw_fail(err, DW_ERR_USAGE, "the frame list names shot %u of %zu", source->shot,
                       shots->n);
    const struct dw_shot *shot = &shots->shot[source->shot];
    struct dw_lit *lit = &s->lit[s->n];
    enum dw_status status = dw_fetch_mosaic(scratch, s->decoder, shot, &lit->mosaic, err);
    if (status < 0)
        return status;
    struct dw_error inner = {0};
    status = dw_light_open(&lit->light, &lit->mosaic, dw_facts_levels(facts, shot), facts, source,
                           &params->size, &inner);
    if (status >= 0)
        status = dw_light_smooth(&lit->light, dw_facts_levels(facts, shot), params->noise_reduction,
                                 &inner);
    if (status < 0)
        return dw_fail(err, status, "%s: %s", shot->name, inner.text);
    if (!params->light) /* such pictures know of no look */
        dw_light_show(&lit->light, facts, shown);
    lit->weight = source->weight;
    return DW_OK;
}

enum dw_status dw_sources_read(struct dw_sources *s, const struct dw_shots *shots,
                               const struct dw_facts *facts, struct dw_scratch *scratch,
                               const struct dw_frame *frame, const struct dw_render_params *params,
                               void (*missed)(void *ctx, const char *text), void *ctx,
                               struct dw_error *err)
{
    float sum = 0;
    struct dw_shown shown = {.keys = dw_look_keys(frame, &params->look, LAMP_SHOWN)};
    dw_look_white(frame, facts, shown.white);
    s->n = 0;
    for (int i = 0; i < frame->n_sources && i < DW_MAX_SOURCES; i++) {
        if (!(frame->source[i].weight > 0.0f))
            continue;
        enum dw_status status =
            read_one(s, shots, facts, scratch, &frame->source[i], &shown, params, err);
        if (status < 0 && !only_this_source(status))
            return status;
        if (status < 0) {
            missed(ctx, err->text);
            continue;
        }
        sum += s->lit[s->n].weight;
        ++s->n;
    }
    for (int i = 0; i < s->n; i++)
        s->lit[i].weight = s->n == 1 ? 1.0f : s->lit[i].weight / sum;
    return DW_OK;
}

typedef void light_row_fn(struct dw_light *l, int y, float *const rgb[3]);

/* The light of all sources together; one source alone comes as it is. */
static void mixed_row(struct dw_sources *s, int y, int width, light_row_fn *row_of,
                      float *const rgb[3], float *const other[3])
{
    if (s->n == 1) {
        row_of(&s->lit[0].light, y, rgb);
        return;
    }
    const struct dw_mosaic_kernels *k = dw_kernels_best()->mosaic;
    for (int i = 0; i < s->n; i++) {
        row_of(&s->lit[i].light, y, other);
        for (int c = 0; c < 3; c++)
            if (i == 0)
                k->scale(other[c], (size_t)width, s->lit[i].weight, rgb[c]);
            else
                k->accumulate(other[c], (size_t)width, s->lit[i].weight, rgb[c]);
    }
}

void dw_sources_row(struct dw_sources *s, int y, float *const rgb[3], float *const other[3])
{
    mixed_row(s, y, dw_sources_geometry(s)->out_w, dw_light_row, rgb, other);
}

void dw_sources_cell_row(struct dw_sources *s, int y, float *const rgb[3], float *const other[3])
{
    mixed_row(s, y, dw_sources_geometry(s)->cells_w, dw_light_cell_row, rgb, other);
}
