/* look.c: see look.h and docs/method/look.md. The operator follows the order prepare (balance,
 * saturation, norm), lift (stars above their background), curve (one or a mix of two, both pinned
 * to the key), gamut, code. */
#include "render/look.h"

#include "render/hold.h"
#include "render/lift.h"

#include <stdlib.h>
#include <string.h>

#define PIECE 1024 /* pixels; five rows of these stay in the first cache between kernels */

void dw_look_prepare(const struct dw_look_plan *p, int n, float *const rgb[3], float *norm)
{
    p->k->tone->prepare(&p->prepare, (size_t)n, rgb[0], rgb[1], rgb[2], norm);
}

/* Levels are luminance alone: a largest channel is the higher the more noise there is. */
void dw_look_level(const struct dw_look_plan *p, int n, float *const rgb[3], float *level)
{
    struct dw_prepare luminance = p->prepare;
    luminance.norm_y = 1;
    luminance.norm_max = 0;
    p->k->tone->prepare(&luminance, (size_t)n, rgb[0], rgb[1], rgb[2], level);
}

static void finish_piece(const struct dw_look_plan *p, size_t n, const struct dw_lift_rows *lift,
                         float *norm, float *r, float *g, float *b)
{
    const struct dw_tone_kernels *tone = p->k->tone;
    float add[PIECE];
    if (p->near)
        tone->lift(&p->lift, lift, n, r, g, b, norm);
    if (p->day_weight >= 1.0f)
        tone->curve(&p->day, n, norm, add);
    else if (p->day_weight <= 0.0f)
        tone->curve(&p->night, n, norm, add);
    else
        tone->mix(&p->day, &p->night, p->day_weight, n, norm, add);
    tone->finish(&p->gamut, norm, add, n, r, g, b);
}

void dw_look_finish(const struct dw_look_plan *p, int n, const struct dw_lift_rows *lift,
                    float *const rgb[3], float *norm)
{
    for (int x = 0; x < n; x += PIECE) {
        int m = n - x < PIECE ? n - x : PIECE;
        struct dw_lift_rows at = {0};
        if (p->near)
            at = dw_lift_rows_from(lift, (size_t)x);
        finish_piece(p, (size_t)m, &at, norm + x, rgb[0] + x, rgb[1] + x, rgb[2] + x);
    }
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

void dw_look_pack(const struct dw_look_plan *p, int n, int y, int bits, float *const rgb[3],
                  void *out)
{
    if (bits == 8) {
        uint32_t seed = mixed(p->seed + (uint32_t)y);
        p->k->encode->pack8(rgb[0], rgb[1], rgb[2], (size_t)n, seed, out);
    } else {
        for (int c = 0; c < 3; c++)
            p->k->encode->srgb((size_t)n, rgb[c]);
        p->k->encode->pack16(rgb[0], rgb[1], rgb[2], (size_t)n, out);
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

/* Copies a row of light to where its neighbours find it. */
static void keep_row(const struct dw_linear *light, const struct dw_look_plan *p,
                     struct dw_near_rows *near, int y)
{
    float *place[3];
    size_t w = (size_t)light->width;
    dw_near_rows_place(near, y, place);
    for (int c = 0; c < 3; c++)
        memcpy(place[c], light->plane[c] + (size_t)y * w, w * sizeof *place[c]);
    tame(p, light->width, place);
    dw_near_rows_written(near, y);
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
    struct dw_near_rows near = {0};
    struct dw_lift_memory memory = {0};
    struct dw_hold_map hold = {0};
    const struct dw_hold_view whole = {0, 0, 1, 1, facts->turn_deg, light->width};
    float *rows = malloc(ROWS * w * sizeof *rows), *norm = rows;
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
    if (p.near && ((s = dw_near_rows_open(&near, light->width, light->height, err)) < 0 ||
                   (s = dw_lift_memory_open(&memory, light->width, err)) < 0))
        goto end;
    for (int y = 0; y < light->height; y++) {
        size_t at = (size_t)y * w;
        float *const rgb[3] = {light->plane[0] + at, light->plane[1] + at, light->plane[2] + at};
        struct dw_lift_rows lift = {0};
        if (p.near) {
            for (int v = y > 0 ? y + 1 : 0; v <= y + 1 && v < light->height; v++)
                keep_row(light, &p, &near, v);
            dw_lift_take(&p, &near, p.lifts ? &b : NULL, &memory, y, rgb, norm, &lift);
        } else {
            tame(&p, light->width, rgb);
            dw_look_prepare(&p, light->width, rgb, norm);
        }
        dw_look_finish(&p, light->width, &lift, rgb, norm);
        dw_look_pack(&p, light->width, y, out->bits, rgb,
                     out->bits == 8 ? (void *)(out->px8 + 3 * at) : (void *)(out->px16 + 3 * at));
    }
end:
    free(rows);
    dw_background_free(&b);
    dw_near_rows_free(&near);
    dw_lift_memory_free(&memory);
    dw_hold_free(&hold);
    return s;
}
