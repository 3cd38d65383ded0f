/* render.c: frames from mosaics, by as many workers as asked for. A frame needs only its row of the
 * frame list, the facts and its sources, so its bytes depend on nothing else. */
#include <daywheel/render.h>

#include "render/geometry.h"
#include "render/light.h"
#include "render/look.h"

#include "base/pool.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* What is remembered of a frame whose sources failed, to be said once the workers are done:
 * messages come from the calling thread only. */
struct note {
    char text[600];
};

struct job {
    const struct dw_shots *shots;
    const struct dw_decision *decision;
    struct dw_scratch *scratch;
    const struct dw_render_params *params;
    const struct dw_sink *sink;
    bool *made;          /* per item */
    struct note **notes; /* per item, NULL: nothing to say */
};

/* One source that could be read. */
struct lit {
    struct dw_light light;
    struct dw_mosaic mosaic;
    float weight;
};

struct worker {
    struct dw_decoder *decoder;
    struct lit lit[DW_MAX_SOURCES];
    struct dw_background background;
    struct dw_space_kept rows;  /* floats: light, one source's light, norm, background */
    struct dw_space_kept block; /* finished rows that wait to be turned */
    struct dw_image image;
};

static void *start_worker(void *ctx, struct dw_error *err)
{
    const struct job *job = ctx;
    struct worker *w = calloc(1, sizeof *w);
    if (!w || !(w->decoder = dw_decoder_new())) {
        free(w);
        dw_fail(err, DW_ERR_MEMORY, "no memory for a worker");
        return NULL;
    }
    w->image.bits = job->params->bits;
    w->image.space = job->params->space;
    return w;
}

static void finish_worker(void *ctx, void *state)
{
    (void)ctx;
    struct worker *w = state;
    for (int i = 0; i < DW_MAX_SOURCES; i++) {
        dw_light_free(&w->lit[i].light);
        dw_mosaic_free(&w->lit[i].mosaic);
    }
    dw_background_free(&w->background);
    dw_grow_free(&w->rows);
    dw_grow_free(&w->block);
    dw_image_free(&w->image);
    dw_decoder_free(w->decoder);
    free(w);
}

/* Adds a line to what is to be said about an item. */
static void add_note(struct job *job, size_t item, const char *text)
{
    if (!job->notes[item])
        job->notes[item] = calloc(1, sizeof *job->notes[item]);
    struct note *n = job->notes[item];
    if (!n)
        return;
    size_t used = strlen(n->text);
    snprintf(n->text + used, sizeof n->text - used, "%s%s", used ? "; " : "", text);
}

/* True for failures that are this source's own: another frame may well succeed. */
static bool only_this_source(enum dw_status s)
{
    return s == DW_ERR_IO || s == DW_ERR_FORMAT || s == DW_ERR_MIXED || s == DW_ERR_EMPTY;
}

static enum dw_status read_source(struct job *job, struct worker *w, const struct dw_source *source,
                                  struct lit *lit, struct dw_error *err)
{
    if (source->shot >= job->shots->n)
        return dw_fail(err, DW_ERR_USAGE, "the frame list names shot %u of %zu", source->shot,
                       job->shots->n);
    const struct dw_shot *shot = &job->shots->shot[source->shot];
    const struct dw_facts *facts = &job->decision->facts;
    enum dw_status s = dw_fetch_mosaic(job->scratch, w->decoder, shot, &lit->mosaic, err);
    if (s < 0)
        return s;
    struct dw_error inner = {0};
    s = dw_light_open(&lit->light, &lit->mosaic, dw_facts_levels(facts, shot), facts, source,
                      &job->params->size, &inner);
    if (s < 0)
        return dw_fail(err, s, "%s: %s", shot->name, inner.text);
    lit->weight = source->weight;
    return DW_OK;
}

/* Reads all sources that can be read; their weights then sum to 1. *n = 0: none. */
static enum dw_status read_sources(struct job *job, struct worker *w, size_t item,
                                   const struct dw_frame *frame, int *n, struct dw_error *err)
{
    float sum = 0;
    *n = 0;
    for (int i = 0; i < frame->n_sources && i < DW_MAX_SOURCES; i++) {
        if (!(frame->source[i].weight > 0.0f))
            continue;
        enum dw_status s = read_source(job, w, &frame->source[i], &w->lit[*n], err);
        if (s < 0 && !only_this_source(s))
            return s;
        if (s < 0) {
            add_note(job, item, err->text);
            continue;
        }
        sum += w->lit[*n].weight;
        ++*n;
    }
    for (int i = 0; i < *n; i++)
        w->lit[i].weight = *n == 1 ? 1.0f : w->lit[i].weight / sum;
    return DW_OK;
}

typedef void light_row_fn(struct dw_light *l, int y, float *const rgb[3]);

/* The light of all sources together; one source alone comes as it is. */
static void mixed_row(struct worker *w, int n, int y, int width, light_row_fn *row_of,
                      float *const rgb[3], float *const other[3])
{
    if (n == 1) {
        row_of(&w->lit[0].light, y, rgb);
        return;
    }
    const struct dw_mosaic_kernels *k = dw_kernels_best()->mosaic;
    for (int i = 0; i < n; i++) {
        row_of(&w->lit[i].light, y, other);
        for (int c = 0; c < 3; c++)
            if (i == 0)
                k->scale(other[c], (size_t)width, w->lit[i].weight, rgb[c]);
            else
                k->accumulate(other[c], (size_t)width, w->lit[i].weight, rgb[c]);
    }
}

/* The rows that one frame is made in. */
struct rows {
    float *rgb[3], *other[3], *norm, *level;
};

static enum dw_status make_rows(struct worker *w, const struct dw_geometry *g, int bits,
                                struct rows *r, struct dw_error *err)
{
    size_t wide = (size_t)(g->out_w > g->cells_w ? g->out_w : g->cells_w);
    if (!dw_grow(&w->rows, 8 * wide * sizeof(float)) ||
        !dw_grow(&w->block, DW_TURN_ROWS * (size_t)g->out_w * 3 * (size_t)(bits / 8)))
        return dw_fail(err, DW_ERR_MEMORY, "no memory for rows of %zu pixels", wide);
    float *p = w->rows.p;
    for (size_t c = 0; c < 3; c++) {
        r->rgb[c] = p + c * wide;
        r->other[c] = p + (3 + c) * wide;
    }
    r->norm = p + 6 * wide;
    r->level = p + 7 * wide;
    return DW_OK;
}

/* From the cells, whatever the output's size: they are at hand in any order. */
static enum dw_status learn_background(struct worker *w, int n, const struct dw_look_plan *plan,
                                       const struct rows *r, struct dw_error *err)
{
    const struct dw_geometry *g = &w->lit[0].light.geo;
    enum dw_status s =
        dw_background_begin(&w->background, g->cells_w, g->cells_h, plan->sky_floor, err);
    if (s < 0)
        return s;
    for (int y = 0; y < g->cells_h; y++) {
        if (!dw_background_wants(&w->background, y))
            continue;
        mixed_row(w, n, y, g->cells_w, dw_light_cell_row, r->rgb, r->other);
        dw_look_prepare(plan, g->cells_w, r->rgb, r->norm);
        dw_background_add(&w->background, y, r->norm);
    }
    dw_background_end(&w->background);
    return DW_OK;
}

/* Both halves, row by row, from opened sources to the worker's picture. */
static enum dw_status make_picture(struct job *job, struct worker *w, int n,
                                   const struct dw_frame *frame, struct dw_error *err)
{
    const struct dw_render_params *params = job->params;
    const struct dw_facts *facts = &job->decision->facts;
    const struct dw_geometry *g = &w->lit[0].light.geo;
    struct dw_look_plan plan;
    struct rows r;
    bool swap = dw_turn_swaps(facts->turn_deg);
    enum dw_status s;
    if ((s = dw_look_plan_make(frame, facts, &params->look, params->space, &plan, err)) < 0 ||
        (s = dw_image_room(&w->image, swap ? g->out_h : g->out_w, swap ? g->out_w : g->out_h,
                           err)) < 0 ||
        (s = make_rows(w, g, params->bits, &r, err)) < 0 ||
        (plan.lifts && (s = learn_background(w, n, &plan, &r, err)) < 0))
        return s;
    size_t px = 3 * (size_t)(params->bits / 8), width = (size_t)g->out_w;
    void *picture = params->bits == 8 ? (void *)w->image.px8 : (void *)w->image.px16;
    for (int y = 0; y < g->out_h; y++) {
        mixed_row(w, n, y, g->out_w, dw_light_row, r.rgb, r.other);
        dw_look_prepare(&plan, g->out_w, r.rgb, r.norm);
        if (plan.lifts)
            dw_background_row(&w->background, y, g->out_w, g->out_h, r.level);
        dw_look_finish(&plan, g->out_w, plan.lifts ? r.level : NULL, r.rgb, r.norm);
        int held = y % DW_TURN_ROWS;
        dw_look_pack(&plan, g->out_w, y, params->bits, r.rgb,
                     (unsigned char *)w->block.p + (size_t)held * width * px);
        if (held == DW_TURN_ROWS - 1 || y == g->out_h - 1)
            dw_turn_store(picture, g->out_w, g->out_h, px, facts->turn_deg, y - held, held + 1,
                          w->block.p);
    }
    return DW_OK;
}

/* Which frame an item is: part k of n makes frames k-1, k-1+n, ... */
static const struct dw_frame *frame_of(const struct job *job, size_t item)
{
    size_t i = item * (size_t)job->params->parts + (size_t)(job->params->part - 1);
    return &job->decision->frame[i];
}

static enum dw_status make_frame(void *ctx, void *state, size_t item, struct dw_error *err)
{
    struct job *job = ctx;
    struct worker *w = state;
    const struct dw_frame *frame = frame_of(job, item);
    if (job->sink->have && job->sink->have(job->sink->ctx, frame))
        return DW_OK;
    int n;
    enum dw_status s = read_sources(job, w, item, frame, &n, err);
    if (s < 0)
        return s;
    if (n == 0) {
        add_note(job, item, "the frame is left out");
        return DW_OK;
    }
    if ((s = make_picture(job, w, n, frame, err)) < 0 ||
        (s = job->sink->take(job->sink->ctx, frame, &w->image, err)) < 0)
        return s;
    job->made[item] = true;
    return DW_OK;
}

static enum dw_status check(const struct dw_shots *shots, const struct dw_decision *decision,
                            const struct dw_render_params *params, struct dw_error *err)
{
    if (params->parts < 1 || params->part < 1 || params->part > params->parts)
        return dw_fail(err, DW_ERR_USAGE, "part %d of %d: expected 1/1, 1/2, 2/2 and so on",
                       params->part, params->parts);
    if (params->bits != 8 && params->bits != 16)
        return dw_fail(err, DW_ERR_USAGE, "%d bits a sample: expected 8 or 16", params->bits);
    if (decision->n_frames > 0 && (shots->n == 0 || decision->facts.n_levels == 0))
        return dw_fail(err, DW_ERR_USAGE, "a frame list needs shots and facts");
    return DW_OK;
}

/* Says what was noted, in the frames' order; true if there was anything. */
static bool tell_notes(const struct job *job, size_t items, const struct dw_run *run)
{
    bool any = false;
    for (size_t i = 0; i < items; i++)
        if (job->notes[i]) {
            any = true;
            dw_say(run, DW_WARNING, "frame %u: %s", frame_of(job, i)->number, job->notes[i]->text);
        }
    return any;
}

enum dw_status dw_render(const struct dw_shots *shots, const struct dw_decision *decision,
                         struct dw_scratch *scratch, const struct dw_render_params *params,
                         const struct dw_run *run, const struct dw_sink *sink, size_t *made,
                         struct dw_error *err)
{
    *made = 0;
    enum dw_status s = check(shots, decision, params, err);
    if (s < 0)
        return s;
    size_t parts = (size_t)params->parts, part = (size_t)params->part - 1;
    size_t items = decision->n_frames > part ? (decision->n_frames - part + parts - 1) / parts : 0;
    struct job job = {.shots = shots,
                      .decision = decision,
                      .scratch = scratch,
                      .params = params,
                      .sink = sink,
                      .made = calloc(items + 1, sizeof *job.made),
                      .notes = calloc(items + 1, sizeof *job.notes)};
    if (!job.made || !job.notes) {
        s = dw_fail(err, DW_ERR_MEMORY, "no memory for a list of %zu frames", items);
        goto end;
    }
    const struct dw_pool_work work = {start_worker, make_frame, finish_worker, &job, "rendering"};
    s = dw_pool_run(&work, items, run, err);
    if (tell_notes(&job, items, run) && s == DW_OK)
        s = DW_WARN;
    for (size_t i = 0; i < items; i++)
        *made += job.made[i];
end:
    for (size_t i = 0; job.notes && i < items; i++)
        free(job.notes[i]);
    free(job.notes);
    free(job.made);
    return s;
}
