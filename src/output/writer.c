/* writer.c: the sink for finished frames: names, recipes, what is there already, what is left
 * over. Encoding is elsewhere; all of this is safe to call from several threads at once. */
#include <daywheel/output.h>

#include "base/atomic_file.h"
#include "output/formats/encode.h"
#include "output/formats/frame_file.h"
#include "output/formats/icc.h"
#include "output/recipe.h"

#include <dirent.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

struct dw_writer {
    char *dir;
    struct dw_writer_params params;
    const struct dw_shots *shots;
    const struct dw_decision *decision;
    enum dw_space space;
    struct dw_profile profile;
    struct dw_hash128 recipe; /* the part that all frames share */
};

const char *dw_frames_folder(enum dw_rendering rendering)
{
    static const char *const name[DW_RENDERINGS] = {"frames", "frames-night", "frames-day"};
    return (unsigned)rendering < DW_RENDERINGS ? name[rendering] : name[DW_MIX];
}

static const char *suffix_of(enum dw_format format)
{
    static const char *const name[DW_FORMATS] = {"jpg", "tif", "exr"};
    return name[format];
}

enum dw_status dw_writer_new(const struct dw_writer_params *params,
                             const struct dw_render_params *render, const struct dw_shots *shots,
                             const struct dw_decision *decision, struct dw_writer **out,
                             struct dw_error *err)
{
    *out = NULL;
    if (params->format == DW_JPEG && (params->jpeg_quality < 1 || params->jpeg_quality > 100))
        return dw_fail(err, DW_ERR_USAGE, "JPEG quality %d is outside 1 to 100",
                       params->jpeg_quality);
    if (params->format == DW_JPEG && render->bits != 8)
        return dw_fail(err, DW_ERR_USAGE, "JPEG holds 8 bits a sample, not %d", render->bits);
    if ((params->format == DW_EXR) != render->light)
        return dw_fail(err, DW_ERR_USAGE, "OpenEXR files hold light, and no other files do");
    struct dw_writer *w = calloc(1, sizeof *w);
    if (!w)
        return dw_fail(err, DW_ERR_MEMORY, "%s: no memory for writing frames", params->dir);
    w->params = *params;
    w->shots = shots;
    w->decision = decision;
    w->space = render->space;
    w->dir = strdup(params->dir);
    enum dw_status s = DW_OK;
    if (!w->dir || !dw_recipe_start(params, render, &decision->facts, &w->recipe))
        s = dw_fail(err, DW_ERR_MEMORY, "%s: no memory for writing frames", params->dir);
    if (s >= 0)
        s = dw_icc_profile(render->space, &w->profile.data, &w->profile.n, err);
    if (s >= 0)
        s = dw_make_folder(w->dir, err);
    if (s < 0) {
        dw_writer_free(w);
        return s;
    }
    *out = w;
    return DW_OK;
}

static char *frame_path(const struct dw_writer *w, const struct dw_frame *frame)
{
    char name[40];
    snprintf(name, sizeof name, "frame-%05lu.%s", (unsigned long)frame->number,
             suffix_of(w->params.format));
    return dw_join_path(w->dir, name);
}

/* What the frame is made of; light is not looked at, so weights do not count. */
static bool recipe_of(const struct dw_writer *w, const struct dw_frame *frame, char out[33])
{
    struct dw_frame row = *frame;
    if (w->params.format == DW_EXR)
        row.day = row.balance = row.stars = 0;
    return dw_recipe_of(&w->recipe, w->shots, &row, out);
}

static bool have(void *ctx, const struct dw_frame *frame)
{
    const struct dw_writer *w = ctx;
    char wanted[33], found[33];
    char *path = frame_path(w, frame);
    bool same = path && recipe_of(w, frame, wanted) &&
                dw_frame_file_recipe(path, w->params.format, found) && strcmp(wanted, found) == 0;
    free(path);
    return same;
}

/* What the frame says about itself; the exposure is that of its heaviest source. */
static bool describe(const struct dw_writer *w, const struct dw_frame *frame,
                     const struct dw_image *image, struct dw_buffer *names, struct dw_tags *e)
{
    const struct dw_shot *main = NULL;
    float heaviest = -INFINITY;
    for (int i = 0; i < frame->n_sources; i++) {
        if (frame->source[i].shot >= w->shots->n)
            continue;
        const struct dw_shot *s = &w->shots->shot[frame->source[i].shot];
        dw_buffer_printf(names, "%s%s", names->n ? " + " : "", s->name);
        if (frame->source[i].weight > heaviest) {
            heaviest = frame->source[i].weight;
            main = s;
        }
    }
    *e = (struct dw_tags){.description = names->data ? names->data : "",
                          .make = main ? main->make : "",
                          .model = main ? main->model : "",
                          .utc_s = frame->utc_s,
                          .offset_s = w->decision->facts.utc_offset_s,
                          .shutter_s = main && main->has_shutter ? main->shutter_marked_s : 0,
                          .f_number = main && main->has_aperture ? main->f_marked : 0,
                          .iso = main && main->has_iso ? main->iso_marked : 0,
                          .key = frame->key,
                          .width = image->width,
                          .height = image->height,
                          .srgb = w->space == DW_SPACE_SRGB};
    return !names->failed && recipe_of(w, frame, e->unique_id);
}

static enum dw_status take(void *ctx, const struct dw_frame *frame, const struct dw_image *image,
                           struct dw_error *err)
{
    const struct dw_writer *w = ctx;
    unsigned char *data = NULL;
    size_t n = 0;
    struct dw_buffer names = {0};
    struct dw_tags tags;
    char *path = frame_path(w, frame);
    enum dw_status s;
    if (!path || !describe(w, frame, image, &names, &tags))
        s = dw_fail(err, DW_ERR_MEMORY, "frame %lu: no memory for its name",
                    (unsigned long)frame->number);
    else if (w->params.format == DW_JPEG)
        s = dw_encode_jpeg(image, w->params.jpeg_quality, &tags, &w->profile, &data, &n, err);
    else if (w->params.format == DW_EXR)
        s = dw_encode_exr(image, &tags, &data, &n, err);
    else
        s = dw_encode_tiff(image, w->params.compression, &tags, &w->profile, &data, &n, err);
    if (s >= 0)
        s = dw_write_whole(path, data, n, false, err);
    free(data);
    free(path);
    dw_buffer_free(&names);
    return s;
}

struct dw_sink dw_writer_sink(struct dw_writer *w)
{
    return (struct dw_sink){w->params.rendering, have, take, w};
}

/* The number in a name of exactly the form that frame_path makes; 0 for any other. */
static unsigned long frame_number(const char *name, enum dw_format format)
{
    unsigned long number = 0;
    int digits = 0;
    if (strncmp(name, "frame-", 6) != 0)
        return 0;
    for (name += 6; *name >= '0' && *name <= '9' && digits < 10; name++, digits++)
        number = number * 10 + (unsigned long)(*name - '0');
    if (digits < 5 || *name != '.' || strcmp(name + 1, suffix_of(format)) != 0)
        return 0;
    return number;
}

/* Does what tidying does to one name; true for a frame of another format that stays. */
static bool tidy_one(struct dw_writer *w, const char *name)
{
    for (enum dw_format f = DW_JPEG; f < DW_FORMATS; f++) {
        char recipe[33];
        unsigned long number = frame_number(name, f);
        bool beyond = number > w->decision->n_frames;
        if (number == 0 || (!beyond && f == w->params.format))
            continue;
        char *path = dw_join_path(w->dir, name);
        /* Only what carries our own mark: a person's file of that name stays. */
        bool ours = path && dw_frame_file_recipe(path, f, recipe);
        if (ours && beyond)
            unlink(path);
        free(path);
        return ours && !beyond;
    }
    return false;
}

size_t dw_writer_tidy(struct dw_writer *w)
{
    size_t others = 0;
    dw_remove_leftovers(w->dir);
    DIR *d = opendir(w->dir);
    if (!d)
        return 0;
    for (struct dirent *e; (e = readdir(d)) != NULL;)
        others += tidy_one(w, e->d_name);
    closedir(d);
    return others;
}

void dw_writer_free(struct dw_writer *w)
{
    if (!w)
        return;
    free(w->profile.data);
    free(w->dir);
    free(w);
}
