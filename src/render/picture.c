/* picture.c: see picture.h. */
#include "render/picture.h"

#include "render/planes/geometry.h"

#include <math.h>
#include <string.h>

struct dw_frame dw_frame_as(const struct dw_frame *frame, enum dw_rendering rendering)
{
    struct dw_frame f = *frame;
    if (rendering != DW_MIX) {
        f.day = f.balance = rendering == DW_DAY ? 1 : 0;
        f.stars = rendering == DW_DAY ? 0 : 1;
    }
    return f;
}

/* The rows that pictures are made in. */
struct rows {
    float *light[3], *work[3], *other[3], *level;
};

static enum dw_status make_rows(struct dw_pictures *p, const struct dw_geometry *g, struct rows *r,
                                struct dw_error *err)
{
    size_t wide = dw_row_stride((size_t)(g->out_w > g->cells_w ? g->out_w : g->cells_w));
    if (!dw_grow(&p->rows, 10 * wide * sizeof(float)))
        return dw_fail(err, DW_ERR_MEMORY, "no memory for rows of %zu pixels", wide);
    float *at = p->rows.p;
    for (size_t c = 0; c < 3; c++) {
        r->light[c] = at + c * wide;
        r->work[c] = at + (3 + c) * wide;
        r->other[c] = at + (6 + c) * wide;
    }
    r->level = at + 9 * wide;
    return DW_OK;
}

static size_t pixel_bytes(const struct dw_picture *p)
{
    return 3 * (size_t)(p->image.bits / 8);
}

static enum dw_status open_picture(struct dw_picture *p, const struct dw_geometry *g,
                                   const struct dw_facts *facts, const struct dw_look_params *look,
                                   struct dw_error *err)
{
    bool swap = dw_turn_swaps(facts->turn_deg);
    enum dw_status s = DW_OK;
    p->plan.lifts = false;
    p->plan.near = false;
    if (!p->image.light)
        s = dw_look_plan_make(&p->row, facts, look, p->image.space, &p->plan, err);
    if (s >= 0)
        s = dw_image_room(&p->image, swap ? g->out_h : g->out_w, swap ? g->out_w : g->out_h, err);
    if (s >= 0 && !dw_grow(&p->block, DW_TURN_ROWS * (size_t)g->out_w * pixel_bytes(p)))
        s = dw_fail(err, DW_ERR_MEMORY, "no memory for rows of %d pixels", g->out_w);
    if (s >= 0 && p->plan.lifts)
        s = dw_background_begin(&p->background, g->cells_w, g->cells_h, err);
    if (s >= 0 && p->plan.near)
        s = dw_lift_memory_open(&p->memory, g->out_w, g->out_h, err);
    return s;
}

/* Levels are found in place: all pictures but the last take a copy of the light. */
static float *const *light_for(const struct rows *r, bool last, int width)
{
    if (last)
        return r->light;
    for (int c = 0; c < 3; c++)
        memcpy(r->work[c], r->light[c], (size_t)width * sizeof *r->work[c]);
    return r->work;
}

static bool same_weights(const struct dw_frame *a, const struct dw_frame *b)
{
    return a->day >= b->day && a->day <= b->day && a->balance >= b->balance &&
           a->balance <= b->balance && a->stars >= b->stars && a->stars <= b->stars;
}

/* Those of n pictures that really have to be made; the others show one of them. Gives how many. */
static int choose(struct dw_pictures *p, int n, struct dw_picture *own[DW_RENDERINGS])
{
    int k = 0;
    for (int i = 0; i < n; i++) {
        struct dw_picture *a = &p->picture[i];
        a->finished = NULL;
        for (int j = 0; j < k; j++)
            if (same_weights(&own[j]->row, &a->row))
                a->finished = &own[j]->image;
        if (!a->finished) {
            a->finished = &a->image;
            own[k++] = a;
        }
    }
    return k;
}

/* How much more grain a picture has than the cells: each pixel of the full size rests on fewer
 * samples, each of a smaller one on more. */
#define GRAIN_OF_FULL 1.6
static float noisier(const struct dw_geometry *g)
{
    return (float)((g->full ? GRAIN_OF_FULL : 1) * g->out_w / g->src_w);
}

/* How the stars stand in a frame; NAN where that is not known, or in more ways than one. */
static double sky_of(const struct dw_frame *f)
{
    return f->n_sources == 1 ? f->source[0].sky_deg : (double)NAN;
}

/* From the cells, whatever the output's size: they are at hand in any order. */
static enum dw_status learn_backgrounds(struct dw_picture *const own[], int n,
                                        struct dw_sources *sources, const struct dw_geometry *g,
                                        const struct dw_facts *facts, float most_air,
                                        const struct dw_hold_map *hold, const struct rows *r,
                                        struct dw_air *air, struct dw_error *err)
{
    enum dw_status s = DW_OK;
    struct dw_picture *lifted[DW_RENDERINGS];
    int k = 0;
    for (int i = 0; i < n; i++)
        if (own[i]->plan.lifts)
            lifted[k++] = own[i];
    for (int y = 0; k > 0 && y < g->cells_h; y++) {
        if (!dw_background_wants(&lifted[0]->background, y)) /* the same rows for all */
            continue;
        dw_sources_cell_row(sources, y, r->light, r->other);
        if (hold->on)
            dw_hold_row(hold, y, g->cells_w, g->cells_h, r->light);
        for (int i = 0; i < k; i++) {
            float *const *rgb = light_for(r, i == k - 1, g->cells_w);
            dw_look_level(&lifted[i]->plan, g->cells_w, rgb, r->level);
            dw_background_add(&lifted[i]->background, y, rgb, r->level);
        }
    }
    for (int i = 0; i < k && s >= 0; i++) {
        struct dw_background *b = &lifted[i]->background;
        dw_background_end(
            b, &(struct dw_sky_wanted){lifted[i]->plan.lift.floor, noisier(g), facts->turn_deg});
        s = dw_air_make(air, facts, g, b, most_air, err);
        if (s >= 0 && air->known && isfinite(sky_of(&lifted[i]->row)))
            dw_background_air(b, air->red, air->blue);
    }
    return s;
}

/* All renderings of a frame have the same key, so that what is held is the same for all. */
static enum dw_status make_hold(struct dw_hold_map *m, const struct dw_picture *p,
                                const struct dw_geometry *g, const struct dw_facts *facts,
                                struct dw_error *err)
{
    m->on = false;
    if (p->image.light || facts->mosaic_width < 1 || facts->mosaic_height < 1)
        return DW_OK;
    double w = facts->mosaic_width, h = facts->mosaic_height;
    struct dw_hold_view view = {facts->crop.left / w,
                                facts->crop.top / h,
                                (facts->crop.left + g->cell * g->cells_w) / w,
                                (facts->crop.top + g->cell * g->cells_h) / h,
                                0,
                                g->out_w > g->cells_w ? g->out_w : g->cells_w};
    return dw_hold_make(m, facts, &p->row, &view, err);
}

/* Light without any look. */
static void keep_row(const struct dw_geometry *g, float *const rgb[3], void *out)
{
    const struct dw_kernels *k = dw_kernels_best();
    for (int c = 0; c < 3; c++)
        k->tone->tame((size_t)g->out_w, rgb[c]);
    k->encode->pack_half(rgb[0], rgb[1], rgb[2], (size_t)g->out_w, DW_GREY, out);
}

/* Row y, of light if its neighbours do not count; else it was taken, and so was the next. */
static void finish_row(struct dw_picture *p, const struct dw_geometry *g, int turn_deg, int y,
                       float *const rgb[3], const float *const known[DW_KNOWN_ROWS])
{
    size_t px = pixel_bytes(p);
    void *picture = p->image.bits == 8 ? (void *)p->image.px8 : (void *)p->image.px16;
    int held = y % DW_TURN_ROWS;
    void *out = (unsigned char *)p->block.p + (size_t)held * (size_t)g->out_w * px;
    if (p->image.light)
        keep_row(g, rgb, out);
    else if (p->plan.near)
        dw_lift_row(&p->plan, p->plan.lifts ? &p->background : NULL, &p->memory, known, y,
                    p->image.bits, out);
    else
        dw_look_row(&p->plan, g->out_w, y, p->image.bits, (const float *const *)rgb, out);
    if (held == DW_TURN_ROWS - 1 || y == g->out_h - 1)
        dw_turn_store(picture, g->out_w, g->out_h, px, turn_deg, y - held, held + 1, p->block.p);
}

enum dw_status dw_pictures_make(struct dw_pictures *p, int n, struct dw_sources *sources,
                                const struct dw_facts *facts, const struct dw_look_params *look,
                                struct dw_error *err)
{
    const struct dw_geometry *g = dw_sources_geometry(sources);
    struct dw_picture *own[DW_RENDERINGS];
    struct rows r;
    int k = choose(p, n, own);
    enum dw_status s = make_rows(p, g, &r, err);
    for (int i = 0; i < k && s >= 0; i++)
        s = open_picture(own[i], g, facts, look, err);
    if (s < 0)
        return s;
    s = make_hold(&p->hold, own[0], g, facts, err);
    if (s < 0)
        return s;
    s = learn_backgrounds(own, k, sources, g, facts, look->star_air, &p->hold, &r, &p->air, err);
    if (s < 0)
        return s;
    bool near = false, lifts = false;
    for (int i = 0; i < k; i++) {
        near = near || own[i]->plan.near;
        lifts = lifts || own[i]->plan.lifts;
    }
    double sky_deg = lifts ? sky_of(&own[0]->row) : (double)NAN; /* else no star is asked for */
    s = dw_known_place(&p->known, facts, g, sky_deg, look, err);
    if (s < 0)
        return s;
    for (int i = 0; i < k && p->known.n > 0; i++)
        dw_look_know_stars(&own[i]->plan, look);
    const float *known[DW_KNOWN_ROWS] = {NULL};
    for (int y = 0; y < g->out_h + (near ? 1 : 0); y++) {
        if (y < g->out_h) {
            dw_sources_row(sources, y, r.light, r.other);
            if (p->hold.on)
                dw_hold_row(&p->hold, y, g->out_w, g->out_h, r.light);
        }
        if (y > 0 && p->known.n > 0)
            dw_known_row(&p->known, y - 1, known);
        for (int i = 0; i < k; i++) {
            bool behind = own[i]->plan.near; /* by one row */
            if (behind && y < g->out_h)
                dw_lift_take(&own[i]->plan, &own[i]->memory, y, (const float *const *)r.light);
            if (behind ? y > 0 : y < g->out_h)
                finish_row(own[i], g, facts->turn_deg, behind ? y - 1 : y, r.light,
                           known[0] ? known : NULL);
        }
    }
    return DW_OK;
}

void dw_pictures_free(struct dw_pictures *p)
{
    for (int i = 0; i < DW_RENDERINGS; i++) {
        dw_background_free(&p->picture[i].background);
        dw_lift_memory_free(&p->picture[i].memory);
        dw_grow_free(&p->picture[i].block);
        dw_image_free(&p->picture[i].image);
    }
    dw_grow_free(&p->rows);
    dw_air_free(&p->air);
    dw_known_free(&p->known);
    dw_hold_free(&p->hold);
}
