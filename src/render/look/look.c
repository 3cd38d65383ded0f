/* look.c: see look.h and docs/method/look.md. The operator follows the order prepare (balance,
 * saturation, norm), lift (stars above their background), curve (one or a mix of two, both pinned
 * to the key), gamut, code. */
#include "render/look/look.h"

#include "render/facts/hold.h"
#include "render/look/lift.h"

#include <stdlib.h>
#include <string.h>

/* Levels are luminance alone: a largest channel is the higher the more noise there is. */
void dw_look_level(const struct dw_look_plan *p, int n, float *const rgb[3], float *level)
{
    p->k->tone->level(&p->prepare, (size_t)n, rgb[0], rgb[1], rgb[2], level);
}

void dw_look_finish(const struct dw_look_plan *p, size_t n, float *const piece[3], float *norm)
{
    const struct dw_tone_kernels *tone = p->k->tone;
    _Alignas(DW_LINE) float add[DW_LOOK_PIECE];
    if (p->day_weight >= 1.0f)
        tone->curve(&p->day, n, norm, add);
    else if (p->day_weight <= 0.0f)
        tone->curve(&p->night, n, norm, add);
    else
        tone->mix(&p->day, &p->night, p->day_weight, n, norm, add);
    p->k->gamut->finish(&p->gamut, norm, add, n, piece[0], piece[1], piece[2]);
}

/* Seeds of rows and frames land far apart, so no two show the same noise. */
static uint32_t mixed(uint32_t h)
{
    h ^= h >> 16;
    h *= 0x7feb352du;
    h ^= h >> 15;
    h *= 0x846ca68bu;
    return h ^ h >> 16;
}

void dw_look_pack(const struct dw_look_plan *p, size_t x, size_t n, int y, int bits,
                  float *const rgb[3], void *out)
{
    if (bits == 8) {
        uint32_t seed = mixed(p->seed + (uint32_t)y) + (uint32_t)x;
        p->k->encode->pack8(rgb[0], rgb[1], rgb[2], n, seed, (uint8_t *)out + 3 * x);
    } else {
        for (int c = 0; c < 3; c++)
            p->k->encode->srgb(n, rgb[c]);
        p->k->encode->pack16(rgb[0], rgb[1], rgb[2], n, (uint16_t *)out + 3 * x);
    }
}

void dw_look_row(const struct dw_look_plan *p, int n, int y, int bits, const float *const light[3],
                 void *out)
{
    _Alignas(DW_LINE) float row[4][DW_LOOK_PIECE];
    float *const piece[3] = {row[0], row[1], row[2]}, *norm = row[3];
    for (size_t x = 0, w = (size_t)n; x < w; x += DW_LOOK_PIECE) {
        size_t m = w - x < DW_LOOK_PIECE ? w - x : DW_LOOK_PIECE;
        const float *const from[3] = {light[0] + x, light[1] + x, light[2] + x};
        p->k->tone->prepare(&p->prepare, from, m, piece[0], piece[1], piece[2], norm);
        dw_look_finish(p, m, piece, norm);
        dw_look_pack(p, x, m, y, bits, piece, out);
    }
}

/* Light from outside may hold anything. */
static void tame(const struct dw_look_plan *p, int n, float *const rgb[3])
{
    for (int c = 0; c < 3; c++)
        p->k->tone->tame((size_t)n, rgb[c]);
}

enum { ROWS = 4 }; /* of work space */

/* The background of a whole picture. rows: work space. */
static enum dw_status learn_background(const struct dw_linear *light, const struct dw_look_plan *p,
                                       float *rows, struct dw_background *b, struct dw_error *err)
{
    size_t w = (size_t)light->width;
    enum dw_status s = dw_background_begin(b, light->width, light->height, err);
    if (s < 0)
        return s;
    for (int y = 0; y < light->height; y++) {
        if (!dw_background_wants(b, y))
            continue;
        for (int c = 0; c < 3; c++)
            memcpy(rows + (size_t)c * w, light->plane[c] + (size_t)y * w, w * sizeof *rows);
        tame(p, light->width, (float *const[3]){rows, rows + w, rows + 2 * w});
        dw_look_level(p, light->width, (float *const[3]){rows, rows + w, rows + 2 * w},
                      rows + 3 * w);
        dw_background_add(b, y, (float *const[3]){rows, rows + w, rows + 2 * w}, rows + 3 * w);
    }
    dw_background_end(b, &(struct dw_sky_wanted){p->lift.floor, 1, 0});
    return DW_OK;
}

static void *pixels_from(const struct dw_image *image, int y)
{
    size_t at = 3 * (size_t)y * (size_t)image->width;
    return image->bits == 8 ? (void *)(image->px8 + at) : (void *)(image->px16 + at);
}

enum dw_status dw_look(struct dw_linear *light, const struct dw_frame *frame,
                       const struct dw_facts *facts, const struct dw_look_params *params,
                       struct dw_image *out, struct dw_error *err)
{
    struct dw_look_plan p;
    enum dw_status s = dw_look_plan_make(frame, facts, params, out->space, &p, err);
    if (s < 0 || (s = dw_image_room(out, light->width, light->height, err)) < 0)
        return s;
    size_t w = (size_t)light->width;
    struct dw_background b = {0};
    struct dw_lift_memory memory = {0};
    struct dw_hold_map hold = {0};
    const struct dw_hold_view whole = {0, 0, 1, 1, facts->turn_deg, light->width};
    float *rows = malloc(ROWS * w * sizeof *rows);
    if (!rows) {
        s = dw_fail(err, DW_ERR_MEMORY, "no memory for rows of %d pixels", light->width);
        goto end;
    }
    if ((s = dw_hold_make(&hold, facts, frame, &whole, err)) < 0)
        goto end;
    for (int y = 0; y < light->height && hold.on; y++) {
        size_t at = (size_t)y * w;
        float *const rgb[3] = {light->plane[0] + at, light->plane[1] + at, light->plane[2] + at};
        tame(&p, light->width, rgb);
        dw_hold_row(&hold, y, light->width, light->height, rgb);
    }
    if (p.lifts && (s = learn_background(light, &p, rows, &b, err)) < 0)
        goto end;
    if (p.near && (s = dw_lift_memory_open(&memory, light->width, light->height, err)) < 0)
        goto end;
    for (int y = 0; y < light->height + (p.near ? 1 : 0); y++) { /* one row behind if near */
        size_t at = (size_t)y * w;
        if (y < light->height)
            for (int c = 0; c < 3; c++)
                p.k->tone->tame(w, light->plane[c] + at);
        const float *const rgb[3] = {light->plane[0] + at, light->plane[1] + at,
                                     light->plane[2] + at};
        if (!p.near)
            dw_look_row(&p, light->width, y, out->bits, rgb, pixels_from(out, y));
        if (p.near && y < light->height)
            dw_lift_take(&p, &memory, y, rgb);
        if (p.near && y > 0)
            dw_lift_row(&p, p.lifts ? &b : NULL, &memory, NULL, y - 1, out->bits,
                        pixels_from(out, y - 1));
    }
end:
    free(rows);
    dw_background_free(&b);
    dw_lift_memory_free(&memory);
    dw_hold_free(&hold);
    return s;
}
