/* light.c: see light.h. */
#include "render/light/light.h"

#include "render/kernels/fastmath.h"

#include <math.h>
#include <string.h>

/* Share of saturation at which a channel begins to count as saturated, and how much further it is
 * so wholly. Wide, because a rosy glow turns yellowish where its green is rebuilt, and over a
 * narrow range that would be seen as a ring. */
#define CLIP_START                                                                                 \
    {                                                                                              \
        DW_LOST_FROM, DW_LOST_FROM, DW_LOST_FROM                                                   \
    }
#define CLIP_WIDTH                                                                                 \
    {                                                                                              \
        0.13f, 0.135f, 0.13f                                                                       \
    }
#define MOST_GAIN 17.0 /* stops; a key that low lies below the least count of any sensor */

/* 2^x by our own arithmetic: equal on every machine, which the C library's need not be. */
static float power_of_two(double x)
{
    double whole = floor(x);
    return ldexpf(dwk_exp2((float)(x - whole)), (int)whole);
}

static bool sane(float x, float low, float high)
{
    return x >= low && x <= high;
}

static float gain_of(const struct dw_source *source)
{
    return power_of_two(fmax(fmin(source->gain_stops, MOST_GAIN), -100.0));
}

void dw_light_show(struct dw_light *l, const struct dw_facts *facts, const struct dw_shown *shown)
{
    float gain = gain_of(&l->source);
    dw_lost_show(&l->develop_cells, facts->cam_to_wide, gain, shown);
    dw_lost_show(&l->develop_pixels, facts->cam_to_wide, gain, shown);
}

enum dw_status dw_develop_make(const struct dw_facts *facts, const struct dw_source *source,
                               struct dw_develop *out, struct dw_error *err)
{
    const float start[3] = CLIP_START, width[3] = CLIP_WIDTH;
    struct dw_develop d;
    for (int c = 0; c < 3; c++) {
        d.mul[c] = facts->white_mul[c] * source->chroma[c];
        if (!sane(d.mul[c], 1.0f / 16, 16))
            return dw_fail(err, DW_ERR_USAGE, "white balance %g: expected 1/16 to 16",
                           (double)d.mul[c]);
        float unit = c == 1 ? 1.0f : d.mul[c]; /* green's peak comes unbalanced */
        d.clip_start[c] = start[c] * unit;
        d.clip_scale[c] = 1.0f / (width[c] * unit);
    }
    if (!(fabs(source->shade[0]) <= DW_MOST_SHADE && fabs(source->shade[1]) <= DW_MOST_SHADE))
        return dw_fail(err, DW_ERR_USAGE, "shading of %g and %g stops: expected -%g to %g",
                       source->shade[0], source->shade[1], DW_MOST_SHADE, DW_MOST_SHADE);
    if (!(fabs(source->gain_stops) < 1000))
        return dw_fail(err, DW_ERR_USAGE, "gain of %g stops", source->gain_stops);
    float gain = gain_of(source);
    if (!sane((float)source->lamps, 0, 1))
        return dw_fail(err, DW_ERR_USAGE, "light of lamps by %g: 0 to 1 are possible",
                       source->lamps);
    d.lamps = (float)source->lamps;
    for (int i = 0; i < 9; i++) {
        d.matrix[i] = facts->cam_to_wide[i] * gain;
        if (!sane(facts->cam_to_wide[i], -8, 8))
            return dw_fail(err, DW_ERR_USAGE, "camera matrix element %g: expected -8 to 8",
                           (double)facts->cam_to_wide[i]);
    }
    dw_lost_show(&d, facts->cam_to_wide, gain, &(struct dw_shown)DW_SHOWN_DEFAULTS);
    *out = d;
    return DW_OK;
}

static bool reduced(const struct dw_geometry *g)
{
    return g->out_w != g->src_w || g->out_h != g->src_h;
}

/* Rows of the work space: a peak row, five of what lies about clipped light, then for reductions
 * one sum row and the ring. */
static enum dw_status make_room(struct dw_light *l, struct dw_error *err)
{
    const struct dw_geometry *g = &l->geo;
    size_t rows = 6;
    l->next_row = 0;
    if (reduced(g)) {
        bool same = l->across.in == g->src_w && l->across.out == g->out_w &&
                    l->down.in == g->src_h && l->down.out == g->out_h;
        if (!same) {
            dw_reduction_free(&l->across);
            dw_reduction_free(&l->down);
            enum dw_status s = dw_reduction_make(g->src_w, g->out_w, &l->across, err);
            if (s < 0 || (s = dw_reduction_make(g->src_h, g->out_h, &l->down, err)) < 0)
                return s;
        }
        rows += 3 * ((size_t)l->down.taps + 1);
    }
    l->wide = l->whole.src_w > l->whole.cells_w ? l->whole.src_w : l->whole.cells_w;
    if (!dw_grow(&l->rows, rows * (size_t)l->wide * sizeof(float)))
        return dw_fail(err, DW_ERR_MEMORY, "no memory for rows of %d pixels", l->wide);
    return DW_OK;
}

/* A crop and a displacement are in mosaic pixels: in units of `cell` of them. */
static struct dw_placing placing(const struct dw_facts *facts, const struct dw_source *source,
                                 int cell, int in_w, int in_h, int out_w, int out_h)
{
    return (struct dw_placing){.in_w = in_w,
                               .in_h = in_h,
                               .left = facts->crop.left / cell,
                               .top = facts->crop.top / cell,
                               .out_w = out_w,
                               .out_h = out_h,
                               .shift_x = source->shift_x / cell,
                               .shift_y = source->shift_y / cell,
                               .roll = source->roll_deg * (M_PI / 180)};
}

static enum dw_status open_places(struct dw_light *l, const struct dw_facts *facts,
                                  const struct dw_source *source, struct dw_error *err)
{
    const struct dw_geometry *g = &l->geo, *w = &l->whole;
    if (!(fabs(source->shift_x) < w->cell * w->cells_w &&
          fabs(source->shift_y) < w->cell * w->cells_h && fabs(source->roll_deg) < 5))
        return dw_fail(err, DW_ERR_USAGE, "a displacement of %g, %g pixels and %g degrees",
                       source->shift_x, source->shift_y, source->roll_deg);
    struct dw_placing at =
        placing(facts, source, w->cell, w->cells_w, w->cells_h, g->cells_w, g->cells_h);
    l->placed = !dw_place_idle(&at);
    if (!l->placed)
        return DW_OK;
    enum dw_status s = dw_place_open(&l->cells_at, &at, err);
    if (s < 0)
        return s;
    at = placing(facts, source, g->full ? 1 : w->cell, w->src_w, w->src_h, g->src_w, g->src_h);
    return dw_place_open(&l->rows_at, &at, err);
}

/* Both for the mosaic as it is and for what is left of it. */
static enum dw_status make_geometry(struct dw_light *l, const struct dw_mosaic *m,
                                    const struct dw_facts *facts, const struct dw_size *size,
                                    struct dw_error *err)
{
    const struct dw_crop *c = &facts->crop;
    enum dw_status s =
        dw_geometry_make(m->width - c->left - c->right, m->height - c->top - c->bottom,
                         facts->turn_deg, m->cfa, size, &l->geo, err);
    if (s < 0)
        return s;
    const struct dw_size all = {l->geo.full ? DW_SIZE_FULL : DW_SIZE_HALF, 0, 0};
    return dw_geometry_make(m->width, m->height, facts->turn_deg, m->cfa, &all, &l->whole, err);
}

enum dw_status dw_light_open(struct dw_light *l, const struct dw_mosaic *m,
                             const struct dw_levels *levels, const struct dw_facts *facts,
                             const struct dw_source *source, const struct dw_size *size,
                             struct dw_error *err)
{
    enum dw_status s = make_geometry(l, m, facts, size, err);
    if (s < 0)
        return s;
    struct dw_levels own = *levels;
    for (int c = 0; c < 3; c++)
        own.black[c] += (float)source->black_dn;
    if ((s = dw_samples_open(&l->samples, m, &own, facts, err)) < 0 ||
        (s = dw_cells_open(&l->cells, &l->samples, &l->whole, err)) < 0 ||
        (s = dw_develop_make(facts, source, &l->develop_cells, err)) < 0)
        return s;
    l->noise.on = false;
    l->develop_pixels = l->develop_cells;
    l->source = *source;
    if (l->geo.full) { /* these come balanced, because their colours are compared with each other */
        if ((s = dw_pixels_open(&l->pixels, &l->samples, l->develop_cells.mul, err)) < 0)
            return s;
        for (int c = 0; c < 3; c++)
            l->develop_pixels.mul[c] = 1.0f;
        l->develop_pixels.clip_start[1] *= l->develop_cells.mul[1]; /* green's peak comes so too */
        l->develop_pixels.clip_scale[1] /= l->develop_cells.mul[1];
    }
    if ((s = dw_clipped_learn(&l->clipped, &l->cells, &l->develop_cells, facts, source->green,
                              err)) < 0 ||
        (s = open_places(l, facts, source, err)) < 0)
        return s;
    return make_room(l, err);
}

void dw_light_free(struct dw_light *l)
{
    dw_samples_free(&l->samples);
    dw_cells_free(&l->cells);
    dw_clipped_free(&l->clipped);
    dw_pixels_free(&l->pixels);
    dw_noise_free(&l->noise);
    dw_reduction_free(&l->across);
    dw_reduction_free(&l->down);
    dw_place_free(&l->cells_at);
    dw_place_free(&l->rows_at);
    dw_grow_free(&l->rows);
}

/* Camera levels in place to scene-linear light; y of `height` rows as long. */
static void develop_row(struct dw_light *l, const struct dw_develop *d, int y, int width,
                        int height, float *const rgb[3])
{
    float *peak = l->rows.p;
    size_t wide = (size_t)l->wide;
    float *const around[5] = {peak + wide, peak + 2 * wide, peak + 3 * wide, peak + 4 * wide,
                              peak + 5 * wide};
    bool clips = dw_clipped_in_row(&l->clipped, y, height);
    if (clips)
        dw_clipped_row(&l->clipped, y, width, height, around);
    l->samples.k->develop->develop(d, peak, clips ? (const float *const *)around : NULL,
                                   (size_t)width, rgb[0], rgb[1], rgb[2]);
    if (!dw_shade_idle(&l->source))
        dw_shade_row(&l->source, y, width, height, rgb);
}

static void whole_cell_row(void *light, int y, float *const rgb[3])
{
    struct dw_light *l = light;
    dw_cells_row(&l->cells, y, rgb, l->rows.p);
    develop_row(l, &l->develop_cells, y, l->whole.cells_w, l->whole.cells_h, rgb);
}

static void whole_pixel_row(void *light, int y, float *const rgb[3])
{
    struct dw_light *l = light;
    dw_pixels_row(&l->pixels, y, rgb, l->rows.p);
    develop_row(l, &l->develop_pixels, y, l->whole.src_w, l->whole.src_h, rgb);
}

void dw_light_cell_row(struct dw_light *l, int y, float *const rgb[3])
{
    if (l->placed)
        dw_place_row(&l->cells_at, y, whole_cell_row, l, rgb);
    else
        whole_cell_row(l, y, rgb);
}

/* What is left of a sample's variance in each colour of a pixel, and how much of that in their
 * differences. Cells: squares of the weights in dw_cells_row. Full size: as measured on flat noise
 * (tests/test_noise.c), of which the demosaic takes a part for detail that all colours share. */
struct share {
    float colour[3], difference;
};

static struct share noise_share(const struct dw_light *l)
{
    switch (l->samples.m->cfa) {
    case DW_CFA_BAYER:
        return l->geo.full ? (struct share){{1.22f, 1.22f, 1.22f}, 0.165f}
                           : (struct share){{0.390625f, 0.5f, 0.390625f}, 1};
    case DW_CFA_XTRANS:
        return l->geo.full ? (struct share){{0.245f, 0.245f, 0.245f}, 1.6f}
                           : (struct share){{0.5f, 0.2f, 0.5f}, 1};
    default:
        return l->geo.full ? (struct share){{1, 1, 1}, 1}
                           : (struct share){{0.25f, 0.25f, 0.25f}, 1};
    }
}

struct dw_light_noise dw_light_noise_of(const struct dw_light *l, const struct dw_levels *levels)
{
    const struct share share = noise_share(l);
    struct dw_light_noise noise = dw_light_noise_make(levels, &l->develop_cells, share.colour,
                                                      l->samples.m->cfa == DW_CFA_MONO);
    noise.chroma[0] *= share.difference;
    noise.chroma[1] *= share.difference;
    return noise;
}

enum dw_status dw_light_smooth(struct dw_light *l, const struct dw_levels *levels, float strength,
                               struct dw_error *err)
{
    const struct dw_noise_params params = DW_NOISE_DEFAULTS;
    const struct dw_light_noise noise = dw_light_noise_of(l, levels);
    return dw_noise_open(&l->noise, l->samples.k, &noise, &params, strength, l->geo.full ? 2 : 1,
                         l->whole.src_w, l->whole.src_h, err);
}

/* Row y of the mosaic, with the noise smoothed before anything is moved: between samples noise is
 * another than the sensor's. */
static void whole_row(void *light, int y, float *const rgb[3])
{
    struct dw_light *l = light;
    dw_place_source *row = l->geo.full ? whole_pixel_row : whole_cell_row;
    if (l->noise.on)
        dw_noise_row(&l->noise, y, row, l, rgb);
    else
        row(l, y, rgb);
}

/* Row y before any reduction, in its place. */
static void source_row(struct dw_light *l, int y, float *const rgb[3])
{
    if (l->placed)
        dw_place_row(&l->rows_at, y, whole_row, l, rgb);
    else
        whole_row(l, y, rgb);
}

static void reduced_row(struct dw_light *l, int y, float *const rgb[3])
{
    size_t w = (size_t)l->geo.src_w;
    size_t wide = (size_t)l->wide;
    int taps = l->down.taps, start = l->down.start[y];
    const float *weight = l->down.weight + (size_t)y * (size_t)taps;
    float *sum = (float *)l->rows.p + 6 * wide, *ring = sum + 3 * wide;
    if (l->next_row < start)
        l->next_row = start;
    for (; l->next_row < start + taps; l->next_row++) {
        float *slot = ring + (size_t)(l->next_row % taps) * 3 * wide;
        source_row(l, l->next_row, (float *const[3]){slot, slot + wide, slot + 2 * wide});
    }
    for (int c = 0; c < 3; c++) {
        const struct dw_mosaic_kernels *k = l->samples.k->mosaic;
        for (int i = 0; i < taps; i++) {
            const float *row = ring + ((size_t)((start + i) % taps) * 3 + (size_t)c) * wide;
            if (i == 0)
                k->scale(row, w, weight[i], sum);
            else
                k->accumulate(row, w, weight[i], sum);
        }
        dw_reduce_row(&l->across, sum, rgb[c]);
    }
}

void dw_light_row(struct dw_light *l, int y, float *const rgb[3])
{
    if (reduced(&l->geo))
        reduced_row(l, y, rgb);
    else
        source_row(l, y, rgb);
}
