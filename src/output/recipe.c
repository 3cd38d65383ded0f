/* recipe.c: see recipe.h. Everything is hashed as text with fixed formatting, never as memory. */
#include "output/recipe.h"

#include "output/tables/c_locale.h"
#include "output/tables/documents.h"

#include <inttypes.h>

/* Rises whenever the bytes of a frame change for equal instructions. */
#define FRAME_FORMAT 19

/* All of the look's parameters are floats, and each one counts, also those added later. */
_Static_assert(sizeof(struct dw_look_params) % sizeof(float) == 0, "the look is made of floats");

static void add_look(struct dw_buffer *b, const struct dw_look_params *look)
{
    const float *v = (const float *)(const void *)look;
    for (size_t i = 0; i < sizeof *look / sizeof *v; i++)
        dw_buffer_printf(b, " %.9g", (double)v[i]);
}

/* The facts that only a look obeys; light is the same whatever they say. */
static struct dw_facts facts_of_light(const struct dw_facts *facts)
{
    struct dw_facts f = *facts;
    f.night_deg = f.day_deg = f.balance_night_deg = f.balance_day_deg = 0;
    f.night_sky_keys = 0;
    f.aim.focal_px = 0;
    for (int c = 0; c < 3; c++)
        f.night_mul[c] = f.night_sky[c] = 1;
    return f;
}

bool dw_recipe_start(const struct dw_writer_params *writer, const struct dw_render_params *render,
                     const struct dw_facts *facts, struct dw_hash128 *out)
{
    struct dw_c_locale locale = dw_c_locale_enter();
    struct dw_buffer b = {0};
    dw_buffer_printf(&b, "frame %d of %s\nsize %d %d %d bits %d space %d\n", FRAME_FORMAT,
                     DW_VERSION, (int)render->size.kind, render->size.width, render->size.height,
                     render->bits, (int)render->space);
    dw_buffer_printf(&b, "format %d quality %d compression %d\nlook", (int)writer->format,
                     writer->format == DW_JPEG ? writer->jpeg_quality : 0,
                     writer->format == DW_TIFF ? (int)writer->compression : 0);
    struct dw_facts light = facts_of_light(facts);
    if (writer->format != DW_EXR)
        add_look(&b, &render->look);
    dw_buffer_printf(&b, "\nnoise %.9g\n", (double)render->noise_reduction);
    dw_facts_text(writer->format == DW_EXR ? &light : facts, false, &b);
    dw_c_locale_leave(&locale);
    bool ok = !b.failed;
    *out = dw_hash128_start();
    if (ok)
        dw_hash128_add(out, b.data, b.n);
    dw_buffer_free(&b);
    return ok;
}

bool dw_recipe_of(const struct dw_hash128 *start, const struct dw_shots *shots,
                  const struct dw_frame *frame, char out[33])
{
    struct dw_c_locale locale = dw_c_locale_enter();
    struct dw_hash128 h = *start;
    struct dw_buffer b = {0};
    dw_frames_line(&b, shots, frame);
    for (int i = 0; i < frame->n_sources; i++) {
        if (frame->source[i].shot >= shots->n)
            continue;
        const struct dw_shot *s = &shots->shot[frame->source[i].shot];
        dw_buffer_printf(&b, "\n%" PRIu64 " %016" PRIx64 " %s %s %.17g %.17g %.17g", s->id.size,
                         s->id.head_hash, s->make, s->model, s->shutter_marked_s, s->f_marked,
                         s->iso_marked);
    }
    dw_c_locale_leave(&locale);
    bool ok = !b.failed;
    if (ok)
        dw_hash128_add(&h, b.data, b.n);
    dw_buffer_free(&b);
    dw_hash128_text(&h, out);
    return ok;
}
