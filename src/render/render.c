/* render.c: frames from mosaics, by as many workers as asked for. A frame needs only its row of the
 * frame list, the facts and its sources, so its bytes depend on nothing else. */
#include <daywheel/render.h>

#include "render/picture.h"
#include "render/sources.h"

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
    const struct dw_sink *sinks;
    size_t n_sinks;
    bool *made;          /* per item */
    struct note **notes; /* per item, NULL: nothing to say */
};

struct worker {
    struct dw_sources sources;
    struct dw_pictures pictures;
};

static void *start_worker(void *ctx, struct dw_error *err)
{
    const struct job *job = ctx;
    struct worker *w = calloc(1, sizeof *w);
    if (!w) {
        dw_fail(err, DW_ERR_MEMORY, "no memory for a worker");
        return NULL;
    }
    if (dw_sources_init(&w->sources, err) < 0) {
        free(w);
        return NULL;
    }
    for (int i = 0; i < DW_RENDERINGS; i++) {
        w->pictures.picture[i].image.bits = job->params->bits;
        w->pictures.picture[i].image.light = job->params->light;
        w->pictures.picture[i].image.space = job->params->space;
    }
    return w;
}

static void finish_worker(void *ctx, void *state)
{
    (void)ctx;
    struct worker *w = state;
    dw_sources_free(&w->sources);
    dw_pictures_free(&w->pictures);
    free(w);
}

/* The note of one item. */
struct noting {
    struct job *job;
    size_t item;
};

/* Adds a line to what is to be said about an item. */
static void add_note(void *ctx, const char *text)
{
    const struct noting *at = ctx;
    struct note **n = &at->job->notes[at->item];
    if (!*n)
        *n = calloc(1, sizeof **n);
    if (!*n)
        return;
    size_t used = strlen((*n)->text);
    snprintf((*n)->text + used, sizeof(*n)->text - used, "%s%s", used ? "; " : "", text);
}

/* Which frame an item is: part k of n makes frames k-1, k-1+n, ... */
static const struct dw_frame *frame_of(const struct job *job, size_t item)
{
    size_t i = item * (size_t)job->params->parts + (size_t)(job->params->part - 1);
    return &job->decision->frame[i];
}

/* Sinks that want this frame, and the rows for them; gives how many. */
static int wanted(const struct job *job, const struct dw_frame *frame, struct dw_pictures *p,
                  const struct dw_sink *sink[DW_RENDERINGS])
{
    int n = 0;
    for (size_t i = 0; i < job->n_sinks; i++) {
        const struct dw_sink *s = &job->sinks[i];
        struct dw_frame row = dw_frame_as(frame, s->rendering);
        if (s->have && s->have(s->ctx, &row))
            continue;
        p->picture[n].row = row;
        sink[n++] = s;
    }
    return n;
}

static enum dw_status make_frame(void *ctx, void *state, size_t item, struct dw_error *err)
{
    struct job *job = ctx;
    struct worker *w = state;
    struct noting note = {job, item};
    const struct dw_frame *frame = frame_of(job, item);
    const struct dw_facts *facts = &job->decision->facts;
    const struct dw_sink *sink[DW_RENDERINGS];
    int n = wanted(job, frame, &w->pictures, sink);
    if (n == 0)
        return DW_OK;
    enum dw_status s = dw_sources_read(&w->sources, job->shots, facts, job->scratch, frame,
                                       job->params, add_note, &note, err);
    if (s < 0)
        return s;
    if (w->sources.n == 0) {
        add_note(&note, "the frame is left out");
        return DW_OK;
    }
    s = dw_pictures_make(&w->pictures, n, &w->sources, facts, &job->params->look, err);
    for (int i = 0; i < n && s >= 0; i++) {
        const struct dw_picture *p = &w->pictures.picture[i];
        s = sink[i]->take(sink[i]->ctx, &p->row, p->finished, err);
        job->made[item] |= s >= 0;
    }
    return s < 0 ? s : DW_OK;
}

static enum dw_status check(const struct job *job, struct dw_error *err)
{
    const struct dw_render_params *p = job->params;
    bool seen[DW_RENDERINGS] = {false};
    if (p->parts < 1 || p->part < 1 || p->part > p->parts)
        return dw_fail(err, DW_ERR_USAGE, "part %d of %d: expected 1/1, 1/2, 2/2 and so on",
                       p->part, p->parts);
    if (p->bits != 8 && p->bits != 16)
        return dw_fail(err, DW_ERR_USAGE, "%d bits a sample: expected 8 or 16", p->bits);
    if (p->light && (p->bits != 16 || job->n_sinks != 1 || job->sinks->rendering != DW_MIX))
        return dw_fail(err, DW_ERR_USAGE, "light is made as 16-bit pictures of one rendering only");
    if (job->decision->n_frames > 0 && (job->shots->n == 0 || job->decision->facts.n_levels == 0))
        return dw_fail(err, DW_ERR_USAGE, "a frame list needs shots and facts");
    for (size_t i = 0; i < job->n_sinks; i++) {
        unsigned r = job->sinks[i].rendering;
        if (r >= DW_RENDERINGS || seen[r])
            return dw_fail(err, DW_ERR_USAGE, "every sink needs a rendering of its own");
        seen[r] = true;
    }
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
                         const struct dw_run *run, const struct dw_sink *sinks, size_t n_sinks,
                         size_t *made, struct dw_error *err)
{
    *made = 0;
    struct job job = {.shots = shots,
                      .decision = decision,
                      .scratch = scratch,
                      .params = params,
                      .sinks = sinks,
                      .n_sinks = n_sinks};
    enum dw_status s = check(&job, err);
    if (s < 0)
        return s;
    size_t parts = (size_t)params->parts, part = (size_t)params->part - 1;
    size_t items = decision->n_frames > part ? (decision->n_frames - part + parts - 1) / parts : 0;
    job.made = calloc(items + 1, sizeof *job.made);
    job.notes = calloc(items + 1, sizeof *job.notes);
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
