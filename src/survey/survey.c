/* survey.c: drives the survey: what the file does not know is decoded, measured, packed and
 * added, one shot after the other on every worker. */
#include <daywheel/survey.h>

#include "base/buffers.h"
#include "base/pool.h"
#include "base/text.h"
#include "survey/file.h"
#include "survey/key.h"
#include "survey/measure.h"
#include "survey/record.h"

#include <math.h>
#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct job {
    const struct dw_shots *shots;
    const struct dw_survey_params *params;
    struct dw_survey *survey;
    struct dw_scratch *packs;
    const struct dw_run *run;
    const struct dw_hash128 *key;
    const size_t *todo; /* shots to measure */
    size_t tiles;
    pthread_mutex_t lock;
    size_t not_packed;            /* under lock */
    struct dw_error pack_problem; /* the first; under lock */
};

/* What a worker keeps from shot to shot. */
struct worker {
    struct dw_decoder *decoder;
    struct dw_mosaic mosaic;
    struct dw_measurer measurer;
    struct dw_buffer record;
};

static void finish_worker(void *ctx, void *state)
{
    (void)ctx;
    struct worker *w = state;
    dw_decoder_free(w->decoder);
    dw_mosaic_free(&w->mosaic);
    dw_measurer_free(&w->measurer);
    dw_buffer_free(&w->record);
    free(w);
}

static void *start_worker(void *ctx, struct dw_error *err)
{
    struct worker *w = calloc(1, sizeof *w);
    if (w)
        w->decoder = dw_decoder_new();
    if (!w || !w->decoder) {
        free(w);
        dw_fail(err, DW_ERR_MEMORY, "survey: no memory for a decoder");
        return NULL;
    }
    (void)ctx;
    return w;
}

static void set_unusable(struct dw_measure *m, size_t tiles, const char *problem)
{
    struct dw_tile *tile = m->tile;
    *m = (struct dw_measure){.tile = tile, .noise_dn = NAN, .photon_dn = NAN};
    snprintf(m->problem, sizeof m->problem, "%s", problem);
    for (size_t i = 0; i < tiles; i++)
        tile[i] = (struct dw_tile){.mean = {NAN, NAN, NAN},
                                   .var = {NAN, NAN, NAN},
                                   .fine = NAN,
                                   .middle = NAN,
                                   .fine_sd = NAN,
                                   .middle_sd = NAN};
}

/* Packing is a convenience: trouble with it is told, at the end and once, and goes no further. */
static void pack(struct job *j, const struct dw_shot *shot, const struct dw_mosaic *m)
{
    struct dw_error err = {0};
    enum dw_status s = dw_scratch_put(j->packs, shot, m, &err);
    if (s == DW_OK)
        return;
    pthread_mutex_lock(&j->lock);
    if (j->not_packed++ == 0 && s < 0)
        j->pack_problem = err;
    pthread_mutex_unlock(&j->lock);
}

static enum dw_status measure_shot(void *ctx, void *state, size_t item, struct dw_error *err)
{
    struct job *j = ctx;
    struct worker *w = state;
    const size_t i = j->todo[item];
    const struct dw_shot *shot = &j->shots->shot[i];
    struct dw_measure *m = &j->survey->measure[i];
    struct dw_measured measured = {.m = {.tile = m->tile}};
    enum dw_status s = dw_decode(w->decoder, shot, &w->mosaic, err);
    if (s >= 0)
        s = dw_measure_mosaic(&w->measurer, &w->mosaic, j->params, &measured, err);
    if (s == DW_ERR_MEMORY || s == DW_ERR_USAGE || s == DW_ERR_INTERRUPTED)
        return s;
    const bool broken = s < 0;
    if (broken)
        set_unusable(&measured.m, j->tiles, dw_text_after_name(err->text, shot->path));
    else if (j->packs)
        pack(j, shot, &w->mosaic);
    *m = measured.m;
    if (broken && s == DW_ERR_IO)
        return DW_OK; /* a card pulled out, a network gone: the next run shall try again */

    w->record.n = 0;
    enum dw_status written = dw_record_write(&w->record, j->key[i], &measured, j->tiles, err);
    if (written < 0)
        return written;
    return dw_survey_file_append(j->survey->file, i, w->record.data, w->record.n, err);
}

static void take_known(void *ctx, size_t i, const char *record)
{
    struct job *j = ctx;
    dw_record_measure(record, j->tiles, &j->survey->measure[i]);
    if (!j->survey->measure[i].usable) {
        char problem[sizeof j->survey->measure[i].problem];
        memcpy(problem, j->survey->measure[i].problem, sizeof problem);
        set_unusable(&j->survey->measure[i], j->tiles, problem);
    }
}

static void make_id(const struct dw_hash128 *key, size_t n, const struct dw_survey_params *p,
                    char id[33])
{
    struct dw_hash128 h = dw_hash128_start();
    const int32_t head[] = {DW_SURVEY_VERSION, p->cols, p->rows, p->thumb_long, p->max_spikes};
    dw_hash128_add(&h, head, sizeof head);
    dw_hash128_add(&h, key, n * sizeof *key);
    dw_hash128_text(&h, id);
}

static bool make_measures(struct dw_survey *s, size_t n, size_t tiles)
{
    s->measure = calloc(n + 1, sizeof *s->measure);
    struct dw_tile *tile = s->measure ? calloc(n * tiles + 1, sizeof *tile) : NULL;
    if (!tile)
        return false;
    s->n = n;
    s->measure[n].tile = tile; /* the block's owner, so that an empty survey frees it too */
    for (size_t i = 0; i < n; i++)
        s->measure[i].tile = tile + i * tiles;
    return true;
}

static void report_packing(const struct job *j)
{
    if (j->not_packed == 0)
        return;
    dw_say(j->run, DW_WARNING, "%zu frames were not packed and will be decoded twice%s%s",
           j->not_packed, j->pack_problem.text[0] ? ": " : ", for there was no room",
           j->pack_problem.text);
}

/* Measures what is missing and finishes the file. */
static enum dw_status measure_missing(struct job *j, size_t *todo, struct dw_error *err)
{
    size_t n = 0;
    for (size_t i = 0; i < j->shots->n; i++) {
        if (!j->shots->shot[i].readable)
            set_unusable(&j->survey->measure[i], j->tiles, j->shots->shot[i].problem);
        else if (!dw_survey_file_knows(j->survey->file, i))
            todo[n++] = i;
    }
    j->todo = todo;
    struct dw_pool_work work = {start_worker, measure_shot, finish_worker, j, "surveying"};
    enum dw_status s = n > 0 ? dw_pool_run(&work, n, j->run, err) : DW_OK;
    report_packing(j);
    return s < 0 ? s : dw_survey_file_finish(j->survey->file, j->run, err);
}

/* A survey without measures yet, and the keys of its shots, which are to be freed. */
static enum dw_status begin(const struct dw_shots *shots, const struct dw_survey_params *params,
                            struct dw_survey *out, struct dw_hash128 **keys, struct dw_error *err)
{
    *out = (struct dw_survey){0};
    *keys = NULL;
    if (params->cols < 1 || params->rows < 1 || params->cols > 256 || params->rows > 256)
        return dw_fail(err, DW_ERR_USAGE, "survey: a grid of %d x %d tiles; expected 1..256",
                       params->cols, params->rows);
    const size_t n = shots->n, tiles = (size_t)params->cols * (size_t)params->rows;
    struct dw_hash128 *key = malloc((n + 1) * sizeof *key);
    if (!key || !make_measures(out, n, tiles)) {
        free(key);
        dw_survey_free(out);
        return dw_fail(err, DW_ERR_MEMORY, "survey: no memory for %zu shots", n);
    }
    for (size_t i = 0; i < n; i++)
        key[i] = dw_shot_key(&shots->shot[i]);
    out->cols = params->cols;
    out->rows = params->rows;
    make_id(key, n, params, out->id);
    *keys = key;
    return DW_OK;
}

enum dw_status dw_survey_run(const struct dw_shots *shots, const char *path,
                             const struct dw_survey_params *params, struct dw_scratch *packs,
                             const struct dw_run *run, struct dw_survey *out, struct dw_error *err)
{
    struct dw_hash128 *key;
    enum dw_status s = begin(shots, params, out, &key, err);
    if (s < 0)
        return s;
    size_t *todo = malloc((shots->n + 1) * sizeof *todo);
    if (!todo)
        s = dw_fail(err, DW_ERR_MEMORY, "survey: no memory for %zu shots", shots->n);
    struct job j = {.shots = shots,
                    .params = params,
                    .survey = out,
                    .packs = packs,
                    .run = run,
                    .key = key,
                    .tiles = (size_t)params->cols * (size_t)params->rows};
    pthread_mutex_init(&j.lock, NULL);
    if (s >= 0)
        s = dw_survey_file_open(path, params, key, shots->n, run, take_known, &j, &out->file, err);
    if (s >= 0)
        s = measure_missing(&j, todo, err);
    pthread_mutex_destroy(&j.lock);
    free(todo);
    free(key);
    if (s < 0)
        dw_survey_free(out);
    return s;
}

enum dw_status dw_survey_look(const struct dw_shots *shots, const char *path,
                              const struct dw_survey_params *params, struct dw_survey *out,
                              struct dw_error *err)
{
    struct dw_hash128 *key;
    enum dw_status s = begin(shots, params, out, &key, err);
    if (s < 0)
        return s;
    struct job j = {.survey = out, .tiles = (size_t)params->cols * (size_t)params->rows};
    s = dw_survey_file_look(path, params, key, shots->n, take_known, &j, &out->file, err);
    for (size_t i = 0; i < shots->n && s >= 0; i++) {
        if (!shots->shot[i].readable)
            set_unusable(&out->measure[i], j.tiles, shots->shot[i].problem);
        else if (!dw_survey_file_knows(out->file, i))
            s = dw_fail(err, DW_ERR_EMPTY, "%s: does not know %s", path, shots->shot[i].name);
    }
    free(key);
    if (s < 0)
        dw_survey_free(out);
    return s;
}

/* The head of a shot's record, and where its parts lie. */
static enum dw_status read_head(const struct dw_survey *s, size_t i, struct dw_record_head *head,
                                struct dw_record_parts *parts, struct dw_error *err)
{
    size_t bytes = dw_survey_file_length(s->file, i);
    if (bytes == 0)
        return dw_fail(err, DW_ERR_EMPTY, "the survey holds nothing about shot %zu", i);
    enum dw_status status = dw_survey_file_read_part(s->file, i, 0, sizeof *head, head, err);
    return status < 0 ? status : dw_record_parts(head, bytes, parts, err);
}

/* *out: malloc'd; NULL on errors. */
static enum dw_status read_part(const struct dw_survey *s, size_t i, size_t from, size_t to,
                                char **out, struct dw_error *err)
{
    *out = malloc(to - from + 1);
    if (!*out)
        return dw_fail(err, DW_ERR_MEMORY, "survey: no memory for part of a record");
    enum dw_status status = dw_survey_file_read_part(s->file, i, from, to - from, *out, err);
    if (status < 0) {
        free(*out);
        *out = NULL;
    }
    return status;
}

enum dw_status dw_survey_read_spikes(const struct dw_survey *s, size_t i, struct dw_spike *spikes,
                                     struct dw_error *err)
{
    struct dw_record_head head;
    struct dw_record_parts parts;
    char *packed = NULL;
    enum dw_status status = read_head(s, i, &head, &parts, err);
    if (status >= 0 && head.n_spikes != s->measure[i].n_spikes)
        status = dw_fail(err, DW_ERR_FORMAT, "survey: a shot's record was changed while in use");
    if (status >= 0)
        status = read_part(s, i, parts.spikes, parts.thumb, &packed, err);
    if (status >= 0)
        status = dw_record_spikes(&head, packed, spikes, err);
    free(packed);
    return status;
}

enum dw_status dw_survey_spikes(const struct dw_survey *s, size_t i, struct dw_spike **spikes,
                                struct dw_error *err)
{
    *spikes = malloc(((size_t)s->measure[i].n_spikes + 1) * sizeof **spikes);
    if (!*spikes)
        return dw_fail(err, DW_ERR_MEMORY, "survey: no memory for a shot's spots");
    enum dw_status status = dw_survey_read_spikes(s, i, *spikes, err);
    if (status < 0) {
        free(*spikes);
        *spikes = NULL;
    }
    return status;
}

enum dw_status dw_survey_thumb(const struct dw_survey *s, size_t i, struct dw_thumb *out,
                               struct dw_error *err)
{
    struct dw_record_head head;
    struct dw_record_parts parts;
    char *packed = NULL;
    *out = (struct dw_thumb){0};
    enum dw_status status = read_head(s, i, &head, &parts, err);
    if (status >= 0)
        status = read_part(s, i, parts.thumb, parts.patch[0], &packed, err);
    if (status >= 0)
        status = dw_record_thumb(&head, packed, out, err);
    free(packed);
    return status;
}

static bool make_packed_room(struct dw_patches *p, size_t bytes)
{
    if (bytes <= p->packed_room)
        return true;
    free(p->packed);
    p->packed = malloc(bytes);
    p->packed_room = p->packed ? bytes : 0;
    return p->packed != NULL;
}

enum dw_status dw_survey_patches(const struct dw_survey *s, size_t i, const bool *wanted,
                                 struct dw_patches *out, struct dw_error *err)
{
    struct dw_record_head head;
    struct dw_record_parts parts;
    out->n = 0;
    enum dw_status status = read_head(s, i, &head, &parts, err);
    if (status < 0)
        return status;
    size_t first = 0, last = head.n_patches; /* first..last-1 hold all that are wanted */
    while (wanted && first < last && !wanted[first])
        first++;
    while (wanted && first < last && !wanted[last - 1])
        last--;
    size_t bytes = parts.patch[last] - parts.patch[first];
    if (!make_packed_room(out, bytes))
        return dw_fail(err, DW_ERR_MEMORY, "survey: no memory for a shot's patches");
    status = dw_survey_file_read_part(s->file, i, parts.patch[first], bytes, out->packed, err);
    return status < 0 ? status : dw_record_patches(&head, out->packed, wanted, out, err);
}

void dw_survey_free(struct dw_survey *s)
{
    if (s->measure)
        free(s->measure[s->n].tile);
    free(s->measure);
    dw_survey_file_close(s->file);
    *s = (struct dw_survey){0};
}
