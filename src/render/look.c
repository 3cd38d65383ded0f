/* look.c: see look.h and docs/method.md. The operator follows the order prepare (balance,
 * saturation, norm), lift (stars above their background), curve (one or a mix of two, both pinned
 * to the key), gamut, code. */
#include "render/look.h"

#include "base/matrix3.h"

#include "render/colour.h"
#include "render/curves.h"
#include "render/geometry.h"
#include "render/kernels/fastmath.h"
#include "render/near_rows.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define NORM_LUMA 0.65f /* the rest is the largest channel: coloured lights are not overrated */
#define TOGETHER 2.2f   /* 1 / grain of 3x3 pixels weighted 1-2-1; 2.67 were each by itself */
#define NEVER 1e20f     /* sigmas */
#define MOST_SIDE 1.3f  /* skies: more than that beside or above a pixel goes on */
#define PIECE 1024      /* pixels; five rows of these stay in the first cache between kernels */
#define TOE_KEY 0.2f    /* key at which the toe is what the parameters say: a low sun's */
#define GAMUT_KNEE 0.9f /* saturation up to which colours stay exactly as they are */

static const float luma[3] = DW_WIDE_LUMA;

static bool is_share(double x)
{
    return x >= 0.0 && x <= 1.0;
}

static enum dw_status check(const struct dw_frame *f, const struct dw_look_params *p,
                            struct dw_error *err)
{
    if (!is_share(f->day) || !is_share(f->balance) || !is_share(f->stars) || !(f->key > 0.0) ||
        !(f->key < 1.0))
        return dw_fail(err, DW_ERR_USAGE,
                       "frame %u: key %g and the weights %g, %g, %g must lie within 0 to 1",
                       f->number, f->key, f->day, f->balance, f->stars);
    const struct {
        const char *name;
        float value, low, high;
    } range[] = {{"day contrast", p->day_contrast, 1.0f, 3.0f},
                 {"night contrast", p->night_contrast, 1.0f, 3.0f},
                 {"day saturation", p->day_saturation, 0.0f, 3.0f},
                 {"night saturation", p->night_saturation, 0.0f, 3.0f},
                 {"day hue share", p->day_hue_share, 0.0f, 1.0f},
                 {"night hue share", p->night_hue_share, 0.0f, 1.0f},
                 {"toe", p->toe, 0.01f, 10.0f},
                 {"toe rise", p->toe_rise, 0.0f, 2.0f},
                 {"night chroma", p->night_chroma, 0.0f, 1.0f},
                 {"star lift", p->star_lift, 0.0f, 20.0f},
                 {"star start", p->star_start, 0.0f, 100.0f},
                 {"star softness", p->star_half, 0.01f, 100.0f},
                 {"known star start", p->known_start, 0.0f, 100.0f},
                 {"known star softness", p->known_half, 0.01f, 100.0f},
                 {"known star paleness", p->known_pale, 0.0f, 100.0f},
                 {"star paleness", p->star_pale, 0.0f, 100.0f},
                 {"other star start", p->other_start, 0.0f, 100.0f},
                 {"air undone", p->star_air, 0.0f, 30.0f}};
    for (size_t i = 0; i < sizeof range / sizeof *range; i++)
        if (!(range[i].value >= range[i].low && range[i].value <= range[i].high))
            return dw_fail(err, DW_ERR_USAGE, "%s %g: expected %g to %g", range[i].name,
                           (double)range[i].value, (double)range[i].low, (double)range[i].high);
    return DW_OK;
}

/* Night balance^(1 - balance), scaled so that white keeps its luminance. */
static void balance_at(const struct dw_frame *f, const struct dw_facts *facts, float mul[3])
{
    float white = 0;
    for (int c = 0; c < 3; c++) {
        float night = dwk_min(dwk_max(facts->night_mul[c], 0.05f), 20.0f);
        mul[c] = dwk_exp2((float)(1.0 - f->balance) * dwk_log2(night));
        white += luma[c] * mul[c];
    }
    for (int c = 0; c < 3; c++)
        mul[c] /= white;
}

/* Balance, then saturation about luminance. */
static void prepare_matrix(const struct dw_frame *f, const struct dw_look_params *p,
                           const float mul[3], float m[9])
{
    float day = (float)f->day;
    float s = day * p->day_saturation + (1.0f - day) * p->night_saturation;
    for (int i = 0; i < 9; i++)
        m[i] = ((i % 4 == 0 ? s : 0.0f) + (1.0f - s) * luma[i % 3]) * mul[i % 3];
}

/* The air takes its share of what the camera's channels see, so it is undone in these: of starlight
 * that was raised, which has daylight's balance, red and blue are told in camera colours. */
static void plan_air(const struct dw_facts *facts, struct dw_lift *l)
{
    double to[9], from[9];
    for (int i = 0; i < 9; i++)
        to[i] = (double)facts->cam_to_wide[i];
    if (!dw_m3_invert(to, from))
        return; /* no colours, and all of it stays 0 */
    for (int c = 0; c < 3; c++) {
        l->red_of[c] = (float)from[c] * l->raise[c];
        l->blue_of[c] = (float)from[6 + c] * l->raise[c];
        l->to_red[c] = (float)to[3 * c];
        l->to_blue[c] = (float)to[3 * c + 2];
    }
}

/* What is above the night sky is raised, and keeps daylight's balance: the night's is for the sky.
 * That holds from where the night's balance comes in, while the lift fades in later.
 * Levels are luminance alone: a largest channel is the higher the more noise there is. */
static void plan_lift(const struct dw_frame *f, const struct dw_facts *facts,
                      const struct dw_look_params *p, const float mul[3], struct dw_look_plan *out)
{
    struct dw_lift *l = &out->lift;
    struct dw_prepare *q = &out->prepare;
    float stars = (float)f->stars;
    out->smooth = stars * p->night_chroma;
    out->lifts = stars * p->star_lift > 0.0f || (p->star_lift > 0.0f && f->balance < 1);
    out->near = out->lifts || out->smooth > 0.0f;
    l->start = out->lifts ? p->star_start : NEVER;
    l->half = p->star_half;
    l->known_start = (out->lifts ? p->known_start : NEVER) - l->start;
    l->known_half = p->known_half - p->star_half;
    l->pale = p->star_pale * p->star_pale;
    l->known_pale = p->known_pale * p->known_pale - l->pale;
    l->together = 1.0f + out->smooth * (TOGETHER - 1.0f);
    l->floor = facts->night_sky_keys > 0.0f ? facts->night_sky_keys : 0.0f;
    l->most_side = MOST_SIDE;
    memcpy(l->luma, q->luma, sizeof l->luma);
    l->norm_y = q->norm_y;
    for (int c = 0; c < 3; c++) {
        l->raise[c] = (1.0f + stars * p->star_lift) / mul[c];
        q->own[c] = 0;
        for (int k = 0; k < 3; k++)
            q->own[c] += q->luma[k] * q->matrix[3 * k + c];
    }
    plan_air(facts, l);
    out->level = *q;
    out->level.norm_y = 1;
    out->level.norm_max = 0;
}

void dw_look_know_stars(struct dw_look_plan *p, const struct dw_look_params *params)
{
    struct dw_lift *l = &p->lift;
    if (!p->lifts)
        return;
    l->start = params->other_start;
    l->known_start = params->known_start - params->other_start;
}

/* The darker a picture is to be, the farther its shadows are opened: at dusk the ground lies five
 * stops below the sky, and what by noon is depth is then a black hole. */
static double toe_at(double key, const struct dw_look_params *p)
{
    float darker = dwk_log2(TOE_KEY / dwk_max((float)key, 1e-4f));
    return (double)(p->toe * dwk_exp2(p->toe_rise * darker));
}

enum dw_status dw_look_plan_make(const struct dw_frame *frame, const struct dw_facts *facts,
                                 const struct dw_look_params *params, enum dw_space space,
                                 struct dw_look_plan *out, struct dw_error *err)
{
    enum dw_status s = check(frame, params, err);
    if (s < 0)
        return s;
    struct dw_look_plan p = {.k = dw_kernels_best()};
    float mul[3];
    balance_at(frame, facts, mul);
    prepare_matrix(frame, params, mul, p.prepare.matrix);
    memcpy(p.prepare.luma, luma, sizeof luma);
    p.prepare.norm_y = NORM_LUMA;
    p.prepare.norm_max = 1.0f - NORM_LUMA;

    plan_lift(frame, facts, params, mul, &p);

    double toe = toe_at(frame->key, params);
    p.day =
        dw_tone_make((double)params->day_contrast, toe, frame->key, (double)params->day_hue_share);
    p.night = dw_tone_make((double)params->night_contrast, toe, frame->key,
                           (double)params->night_hue_share);
    p.day_weight = (float)frame->day;

    double to[9];
    dw_wide_to_space(space, to);
    for (int i = 0; i < 9; i++)
        p.gamut.matrix[i] = (float)to[i];
    memcpy(p.gamut.luma, luma, sizeof luma);
    p.gamut.knee = GAMUT_KNEE;
    p.gamut.hue = (float)frame->day;
    dw_space_to_cones(space, p.gamut.to_cones, p.gamut.from_cones);
    dw_space_to_xyz(space, to);
    for (int c = 0; c < 3; c++)
        p.gamut.own_luma[c] = (float)to[3 + c];
    p.seed = frame->number * 0x9e3779b1u;
    *out = p;
    return DW_OK;
}

void dw_look_prepare(const struct dw_look_plan *p, int n, float *const rgb[3], float *norm)
{
    p->k->tone->prepare(&p->prepare, (size_t)n, rgb[0], rgb[1], rgb[2], norm);
}

void dw_look_level(const struct dw_look_plan *p, int n, float *const rgb[3], float *level)
{
    p->k->tone->prepare(&p->level, (size_t)n, rgb[0], rgb[1], rgb[2], level);
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

enum dw_status dw_image_room(struct dw_image *image, int width, int height, struct dw_error *err)
{
    if (image->bits != 8 && image->bits != 16)
        return dw_fail(err, DW_ERR_USAGE, "%d bits a sample: expected 8 or 16", image->bits);
    bool has = image->bits == 8 ? image->px8 != NULL : image->px16 != NULL;
    if (has && image->width == width && image->height == height)
        return DW_OK;
    free(image->px8);
    free(image->px16);
    image->px8 = NULL;
    image->px16 = NULL;
    size_t n = (size_t)width * (size_t)height * 3;
    if (image->bits == 8)
        image->px8 = malloc(n);
    else
        image->px16 = malloc(n * sizeof *image->px16);
    if (!image->px8 && !image->px16)
        return dw_fail(err, DW_ERR_MEMORY, "no memory for a picture of %dx%d pixels", width,
                       height);
    image->width = width;
    image->height = height;
    return DW_OK;
}

void dw_image_free(struct dw_image *image)
{
    free(image->px8);
    free(image->px16);
    image->px8 = NULL;
    image->px16 = NULL;
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
    struct dw_near_spots spots = {0};
    float *rows = malloc(ROWS * w * sizeof *rows), *norm = rows;
    if (!rows) {
        s = dw_fail(err, DW_ERR_MEMORY, "no memory for rows of %d pixels", light->width);
        goto end;
    }
    if (p.lifts && (s = learn_background(light, &p, rows, &b, err)) < 0)
        goto end;
    if (p.near && ((s = dw_near_rows_open(&near, light->width, light->height, err)) < 0 ||
                   (s = dw_near_spots_open(&spots, light->width, err)) < 0))
        goto end;
    for (int y = 0; y < light->height; y++) {
        size_t at = (size_t)y * w;
        float *const rgb[3] = {light->plane[0] + at, light->plane[1] + at, light->plane[2] + at};
        struct dw_lift_rows lift = {0};
        if (p.near) {
            for (int v = y > 0 ? y + 1 : 0; v <= y + 1 && v < light->height; v++)
                keep_row(light, &p, &near, v);
            dw_near_rows_take(&near, &p, p.lifts ? &b : NULL, &spots, y, rgb, norm, &lift);
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
    dw_near_spots_free(&spots);
    return s;
}
