/* plan.c: what is the same for all pixels of a frame, from its row of the frame list, the
 * shoot's facts and the parameters. See look.h and docs/method/look.md. */
#include "render/look/look.h"

#include "base/matrix3.h"

#include "render/facts/colour.h"
#include "render/look/curves.h"
#include "render/kernels/fastmath.h"

#include <string.h>

#define NORM_LUMA 0.65f /* the rest is the largest channel: coloured lights are not overrated */
#define TOGETHER 2.2f   /* 1 / grain of 3x3 pixels weighted 1-2-1; 2.67 were each by itself */
#define NEVER 1e20f     /* sigmas */
#define MOST_SIDE 1.3f  /* skies: more than that beside or above a pixel goes on */
#define STANDS_OUT 2.0f /* half a sky's light: what adds less keeps little colour by itself */
/* Key at which the toe is what the parameters say: a low sun's; below it shadows open. */
#define TOE_KEY 0.2f
#define OPEN_HALF 2.0f   /* stops below that at which they do by half */
#define GAMUT_KNEE 0.9f  /* saturation up to which colours stay exactly as they are */
#define MOST_STOPS 12.0f /* above the key, for what is to be shown bright */
#define HALVINGS 16

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
                 {"opened shadows", p->open, 0.0f, 10.0f},
                 {"shadows that are opened", p->open_below, 0.001f, 1.0f},
                 {"night chroma", p->night_chroma, 0.0f, 1.0f},
                 {"star lift", p->star_lift, 0.0f, 20.0f},
                 {"star start", p->star_start, 0.0f, 100.0f},
                 {"star softness", p->star_half, 0.01f, 100.0f},
                 {"known star start", p->known_start, 0.0f, 100.0f},
                 {"known star softness", p->known_half, 0.01f, 100.0f},
                 {"known star paleness", p->known_pale, 0.0f, 100.0f},
                 {"star paleness", p->star_pale, 0.0f, 100.0f},
                 {"other star start", p->other_start, 0.0f, 100.0f},
                 {"air undone", p->star_air, 0.0f, 30.0f},
                 {"paleness of the map's stars", p->map_pale, 0.0f, 1000.0f},
                 {"star colour's width", p->star_wide, 0.0f, 1.0f},
                 {"star colour", p->star_vivid, 0.0f, 10.0f},
                 {"faint stars' colour", p->faint_vivid, 0.0f, 10.0f},
                 {"order of stars", p->order, 0.0f, 4.0f},
                 {"order of their colour", p->order_pale, 0.0f, 4.0f}};
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

void dw_look_white(const struct dw_frame *f, const struct dw_facts *facts, float wide[3])
{
    float mul[3];
    balance_at(f, facts, mul);
    for (int c = 0; c < 3; c++)
        wide[c] = 1 / mul[c];
}

/* Balance, then saturation about luminance. */
static void plan_prepare(const struct dw_frame *f, const struct dw_look_params *p,
                         const float mul[3], struct dw_prepare *q)
{
    float day = (float)f->day;
    float s = day * p->day_saturation + (1.0f - day) * p->night_saturation;
    for (int i = 0; i < 9; i++)
        q->matrix[i] = ((i % 4 == 0 ? s : 0.0f) + (1.0f - s) * luma[i % 3]) * mul[i % 3];
    memcpy(q->luma, luma, sizeof luma);
    q->norm_max = 1.0f - NORM_LUMA;
    for (int c = 0; c < 3; c++) {
        q->own[c] = 0;
        for (int k = 0; k < 3; k++)
            q->own[c] += q->luma[k] * q->matrix[3 * k + c];
    }
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

/* Whether anything is lifted, and whether colours are smoothed. What is above the night sky keeps
 * daylight's balance, as the night's is for the sky: that holds from where the night's balance
 * comes in, while the lift fades in later. */
static void plan_near(const struct dw_frame *f, const struct dw_look_params *p,
                      struct dw_look_plan *out)
{
    float stars = (float)f->stars;
    out->smooth = stars * p->night_chroma;
    out->lifts = stars * p->star_lift > 0.0f || (p->star_lift > 0.0f && f->balance < 1);
    out->near = out->lifts || out->smooth > 0.0f;
}

/* What is above the night sky is raised, if the plan lifts. After plan_near and plan_prepare. */
static void plan_lift(const struct dw_frame *f, const struct dw_facts *facts,
                      const struct dw_look_params *p, const float mul[3], struct dw_look_plan *out)
{
    struct dw_lift *l = &out->lift;
    const float stars = (float)f->stars;
    l->start = out->lifts ? p->star_start : NEVER;
    l->half = p->star_half;
    l->known_start = (out->lifts ? p->known_start : NEVER) - l->start;
    l->known_half = p->known_half - p->star_half;
    l->pale = p->star_pale * p->star_pale;
    l->known_pale = p->known_pale * p->known_pale - l->pale;
    /* all these come in with the lift */
    l->map_pale = stars * (p->map_pale * p->map_pale - p->known_pale * p->known_pale);
    l->wide = stars * p->star_wide;
    l->vivid = 1 + stars * (p->star_vivid - 1);
    l->faint_vivid = stars * (p->faint_vivid - p->star_vivid);
    l->air = stars;
    l->stand = STANDS_OUT;
    l->together = 1.0f + out->smooth * (TOGETHER - 1.0f);
    l->floor = facts->night_sky_keys > 0.0f ? facts->night_sky_keys : 0.0f;
    l->most_side = MOST_SIDE;
    memcpy(l->luma, out->prepare.luma, sizeof l->luma);
    l->norm_y = 1.0f - out->prepare.norm_max;
    l->raise_luma = 1.0f + stars * p->star_lift; /* the balance keeps white's luminance */
    for (int c = 0; c < 3; c++)
        l->raise[c] = l->raise_luma / mul[c];
    plan_air(facts, l);
}

/* The darker a picture is to be, the farther its shadows are opened: at dusk the ground lies five
 * stops below the sky, and what by noon is depth is then a black hole. With the toe alone it would
 * still be one, as a straight curve shows it those five stops darker. */
static struct dw_shadows shadows_at(double key, const struct dw_look_params *p)
{
    float darker = dwk_log2(TOE_KEY / dwk_max((float)key, 1e-4f)), dim = dwk_max(darker, 0);
    float opened = p->open * (dim * dim / (dim * dim + OPEN_HALF * OPEN_HALF));
    return (struct dw_shadows){(double)(p->toe * dwk_exp2(p->toe_rise * darker)), (double)opened,
                               (double)p->open_below};
}

static void plan_curves(const struct dw_frame *f, const struct dw_look_params *p,
                        struct dw_look_plan *out)
{
    const struct dw_shadows s = shadows_at(f->key, p);
    out->day = dw_tone_make((double)p->day_contrast, &s, f->key, (double)p->day_hue_share);
    out->night = dw_tone_make((double)p->night_contrast, &s, f->key, (double)p->night_hue_share);
    out->day_weight = (float)f->day;
}

/* dw_tone_value by our own arithmetic: equal on every machine. */
static float tone_at(const struct dw_tone *t, float x)
{
    float z = x * dwk_exp2(t->power * dwk_log2((x + t->toe) * t->toe_scale));
    z *= (x + t->open_to) / (x + t->open);
    return z / (z + t->pin);
}

float dw_look_keys(const struct dw_frame *f, const struct dw_look_params *p, float shown)
{
    struct dw_look_plan plan;
    plan_curves(f, p, &plan);
    float low = 0, high = MOST_STOPS;
    for (int i = 0; i < HALVINGS; i++) {
        float mid = 0.5f * (low + high), x = dwk_exp2(mid), night = tone_at(&plan.night, x);
        if (night + plan.day_weight * (tone_at(&plan.day, x) - night) < shown)
            low = mid;
        else
            high = mid;
    }
    return dwk_exp2(high);
}

static void plan_gamut(const struct dw_frame *f, enum dw_space space, struct dw_gamut *g)
{
    double to[9];
    dw_wide_to_space(space, to);
    for (int i = 0; i < 9; i++)
        g->matrix[i] = (float)to[i];
    memcpy(g->luma, luma, sizeof luma);
    g->knee = GAMUT_KNEE;
    g->hue = (float)f->day;
    dw_space_to_cones(space, g->to_cones, g->from_cones);
    dw_space_to_xyz(space, to);
    for (int c = 0; c < 3; c++)
        g->own_luma[c] = (float)to[3 + c];
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
    plan_prepare(frame, params, mul, &p.prepare);
    plan_near(frame, params, &p);
    plan_lift(frame, facts, params, mul, &p);
    plan_curves(frame, params, &p);
    plan_gamut(frame, space, &p.gamut);
    p.seed = frame->number * 0x9e3779b1u;
    *out = p;
    return DW_OK;
}

void dw_look_know_stars(struct dw_look_plan *p, const struct dw_look_params *params)
{
    struct dw_lift *l = &p->lift;
    if (!p->lifts)
        return;
    l->start = params->other_start;
    l->known_start = params->known_start - params->other_start;
}
