/* scan.c: from inputs to the shot table. */
#include "shot/scan.h"

#include "base/buffers.h"
#include "base/pool.h"
#include "base/text.h"
#include "shot/walk.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct scan {
    const struct dw_walk *walk;
    struct dw_find *find; /* one a file of the walk */
    size_t n;
};

static void *start_worker(void *ctx, struct dw_error *err)
{
    (void)ctx;
    return dw_finder_new(err);
}

static enum dw_status read_one(void *ctx, void *state, size_t i, struct dw_error *err)
{
    struct scan *s = ctx;
    return dw_find_read(state, s->walk->files.v[i], &s->find[i], err);
}

static void finish_worker(void *ctx, void *state)
{
    (void)ctx;
    dw_finder_free(state);
}

static bool has_suffix_of_a_frame(const struct scan *s, const char *name)
{
    const char *suffix = dw_kind_suffix(name);
    for (size_t i = 0; *suffix && i < s->n; i++)
        if (s->find[i].state == DW_FIND_FRAME &&
            dw_text_same(dw_kind_suffix(s->find[i].shot.name), suffix))
            return true;
    return false;
}

/* A refused file with the name of a frame is a broken frame, not a foreign file. Pictures are left
 * out: an ordinary TIFF beside RAW files named .tif is more likely a picture. */
static void name_the_broken(struct scan *s)
{
    for (size_t i = 0; i < s->n; i++) {
        struct dw_find *f = &s->find[i];
        if (f->state == DW_FIND_OTHER && f->kind != DW_KIND_PICTURE &&
            (f->kind == DW_KIND_RAW || has_suffix_of_a_frame(s, f->shot.name)))
            f->state = DW_FIND_BROKEN;
    }
}

static bool is_model(const struct dw_shot *s, const char *model)
{
    char both[sizeof s->make + sizeof s->model + 1];
    snprintf(both, sizeof both, "%s %s", s->make, s->model);
    return dw_text_same(s->model, model) || dw_text_same(both, model);
}

/* Keeps one camera's frames. A broken file stays when its model is that one or unknown. */
static enum dw_status keep_model(struct scan *s, const char *model, struct dw_error *err)
{
    char seen[600] = "";
    size_t kept = 0;
    for (size_t i = 0; i < s->n; i++) {
        struct dw_find *f = &s->find[i];
        bool row = f->state == DW_FIND_FRAME || f->state == DW_FIND_BROKEN;
        if (!row || is_model(&f->shot, model)) {
            kept += f->state == DW_FIND_FRAME;
            continue;
        }
        if (f->state == DW_FIND_BROKEN && !f->shot.model[0])
            continue;
        if (f->state == DW_FIND_FRAME && !strstr(seen, f->shot.model) &&
            strlen(seen) + strlen(f->shot.model) + 3 < sizeof seen) {
            strcat(seen, seen[0] ? ", " : "");
            strcat(seen, f->shot.model);
        }
        f->state = DW_FIND_DROPPED;
    }
    if (kept == 0)
        return dw_fail(err, DW_ERR_EMPTY, "no frame of the camera model '%s'; found: %s", model,
                       seen[0] ? seen : "no frames at all");
    return DW_OK;
}

/* A hash of folder and stem, without case: pairs share it. */
static char *stem_key(const char *path)
{
    const char *base = dw_text_basename(path);
    char *key = strdup(path);
    if (!key)
        return NULL;
    size_t folder = (size_t)(base - path);
    key[folder + dw_kind_stem(base)] = '\0';
    for (char *c = key + folder; *c; c++)
        if (*c >= 'A' && *c <= 'Z')
            *c = (char)(*c + 32);
    return key;
}

static int by_text(const void *a, const void *b)
{
    return strcmp(*(char *const *)a, *(char *const *)b);
}

static bool among(const struct dw_strings *sorted, const char *path)
{
    char *key = stem_key(path);
    bool found =
        key && sorted->n > 0 && bsearch(&key, sorted->v, sorted->n, sizeof *sorted->v, by_text);
    /* IMG_1.NEF.xmp: the stem is a frame's whole name */
    if (key && !found && *dw_kind_suffix(dw_text_basename(key))) {
        char *inner = stem_key(key);
        found = inner && sorted->n > 0 &&
                bsearch(&inner, sorted->v, sorted->n, sizeof *sorted->v, by_text);
        free(inner);
    }
    free(key);
    return found;
}

static void count_one(struct dw_scan_counts *c, const struct dw_find *f,
                      const struct dw_strings *stems)
{
    bool paired = among(stems, f->shot.path);
    switch (f->kind) {
    case DW_KIND_PICTURE:
        if (paired)
            c->raw_jpeg_pairs++;
        else
            c->pictures++;
        break;
    case DW_KIND_SIDECAR:
        c->sidecars++;
        break;
    case DW_KIND_VIDEO:
        c->videos++;
        break;
    default:
        if (paired)
            c->sidecars++;
        else
            c->other++;
        break;
    }
}

static enum dw_status count_all(const struct scan *s, struct dw_scan_counts *c,
                                struct dw_error *err)
{
    struct dw_strings stems = {0};
    bool fine = true;
    for (size_t i = 0; fine && i < s->n; i++) {
        const struct dw_find *f = &s->find[i];
        c->frames += f->state == DW_FIND_FRAME;
        c->unreadable += f->state == DW_FIND_BROKEN;
        if (f->state == DW_FIND_FRAME || f->state == DW_FIND_BROKEN) {
            char *key = stem_key(f->shot.path);
            fine = key && dw_strings_add(&stems, key);
            free(key);
        }
    }
    if (stems.n > 1)
        qsort(stems.v, stems.n, sizeof *stems.v, by_text);
    for (size_t i = 0; fine && i < s->n; i++)
        if (s->find[i].state == DW_FIND_OTHER)
            count_one(c, &s->find[i], &stems);
    dw_strings_free(&stems);
    return fine ? DW_OK : dw_fail(err, DW_ERR_MEMORY, "no memory for %zu files", s->n);
}

static void add_count(struct dw_buffer *b, size_t n, const char *one, const char *many)
{
    if (n > 0)
        dw_buffer_printf(b, "%s%zu %s", b->n ? ", " : "", n, n == 1 ? one : many);
}

/* Nothing to work on: says what was looked for and what was there instead. */
static enum dw_status nothing_found(const struct scan *s, const char *const *inputs, size_t n,
                                    const struct dw_scan_counts *c, struct dw_error *err)
{
    struct dw_buffer b = {0};
    add_count(&b, c->unreadable, "unreadable RAW file", "unreadable RAW files");
    add_count(&b, c->pictures, "picture (JPEG, TIFF and the like)",
              "pictures (JPEG, TIFF and the like)");
    add_count(&b, c->raw_jpeg_pairs, "picture beside an unreadable RAW file",
              "pictures beside unreadable RAW files");
    add_count(&b, c->videos, "video", "videos");
    add_count(&b, c->sidecars, "sidecar file", "sidecar files");
    add_count(&b, c->other, "other file", "other files");
    add_count(&b, c->system, "hidden or system file", "hidden or system files");
    const char *first = "";
    for (size_t i = 0; !first[0] && i < s->n; i++)
        if (s->find[i].state == DW_FIND_BROKEN)
            first = s->find[i].shot.problem;
    dw_fail(
        err, DW_ERR_EMPTY,
        "%.300s%s: no RAW frame found. Looked for files that LibRaw can read; found %s.%s%.250s",
        n ? inputs[0] : "no input", n > 1 ? " and the other inputs" : "",
        b.data ? b.data : "nothing at all",
        first[0]      ? " The first unreadable one "
        : c->pictures ? " This program needs the RAW files of the camera"
                      : "",
        first);
    dw_buffer_free(&b);
    return DW_ERR_EMPTY;
}

/* Moves the rows into the table; what stays behind is freed by the caller. */
static enum dw_status take_rows(struct scan *s, struct dw_shots *out, struct dw_error *err)
{
    out->shot = calloc(out->counts.frames + out->counts.unreadable, sizeof *out->shot);
    if (!out->shot)
        return dw_fail(err, DW_ERR_MEMORY, "no memory for a table of %zu shots", s->n);
    for (size_t i = 0; i < s->n; i++) {
        struct dw_find *f = &s->find[i];
        if (f->state != DW_FIND_FRAME && f->state != DW_FIND_BROKEN)
            continue;
        f->shot.readable = f->state == DW_FIND_FRAME;
        out->shot[out->n++] = f->shot;
        f->shot.path = f->shot.name = NULL;
    }
    return DW_OK;
}

static enum dw_status make_table(struct scan *s, const char *const *inputs, size_t n,
                                 const struct dw_scan_params *params, const struct dw_run *run,
                                 struct dw_shots *out, struct dw_error *err)
{
    const struct dw_pool_work work = {start_worker, read_one, finish_worker, s, "reading files"};
    enum dw_status st = dw_pool_run(&work, s->n, run, err);
    if (st < 0)
        return st;
    name_the_broken(s);
    out->counts.duplicates = dw_drop_duplicates(s->find, s->n);
    if (out->counts.duplicates > 0)
        dw_say(run, DW_INFO, "%zu %s given twice (same content) and used once",
               out->counts.duplicates, out->counts.duplicates == 1 ? "frame is" : "frames are");
    if (params->only_model && (st = keep_model(s, params->only_model, err)) < 0)
        return st;
    out->counts.system = s->walk->system;
    if ((st = count_all(s, &out->counts, err)) < 0)
        return st;
    if (out->counts.frames == 0)
        return nothing_found(s, inputs, n, &out->counts, err);
    if ((st = dw_agree(s->find, s->n, err)) < 0)
        return st;
    dw_settle_timing(s->find, s->n, params->exact_marks, run);
    dw_settle_offset(s->find, s->n, run);
    if ((st = take_rows(s, out, err)) < 0)
        return st;
    return dw_order(out->shot, out->n, run, err);
}

enum dw_status dw_scan(const char *const *inputs, size_t n, const struct dw_scan_params *params,
                       const struct dw_run *run, struct dw_shots *out, struct dw_error *err)
{
    static const struct dw_scan_params defaults = DW_SCAN_DEFAULTS;
    struct dw_walk walk;
    *out = (struct dw_shots){0};
    enum dw_status st = dw_raw_check_version(err);
    if (st < 0 || (st = dw_walk_inputs(inputs, n, run, &walk, err)) < 0)
        return st;
    struct scan s = {&walk, calloc(walk.files.n + 1, sizeof *s.find), walk.files.n};
    if (s.find)
        st = make_table(&s, inputs, n, params ? params : &defaults, run, out, err);
    else
        st = dw_fail(err, DW_ERR_MEMORY, "no memory for %zu files", s.n);
    for (size_t i = 0; s.find && i < s.n; i++)
        dw_find_free(&s.find[i]);
    free(s.find);
    dw_walk_free(&walk);
    if (st < 0)
        dw_shots_free(out);
    return st;
}

void dw_shots_free(struct dw_shots *shots)
{
    for (size_t i = 0; i < shots->n; i++) {
        free(shots->shot[i].path);
        free(shots->shot[i].name);
    }
    free(shots->shot);
    *shots = (struct dw_shots){0};
}
