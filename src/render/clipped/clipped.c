/* clipped.c: see clipped.h. */
#include "render/clipped/clipped.h"

#include "render/planes/coarse.h"
#include "render/clipped/green_line.h"
#include "render/facts/hold.h"
#include "render/clipped/onward.h"
#include "render/planes/ramp.h"
#include "render/clipped/wider.h"

#include <string.h>

/* Stops of rise beside the key from which on light that stays by night is a glow, and 1 / how many
 * more make sure of it: fewer carry over into the ground, where windows are lit. */
#define GLOW_FROM 1.0f
#define GLOW_SCALE (1 / 0.5f)
#define TILES_ALONG 64
#define SMALLEST_TILE 4  /* cells */
#define PATCHES_ALONG 3  /* of a tile, for edges */
#define SMALLEST_PATCH 2 /* cells: so wide are edges */
#define SAMPLES_ALONG 8  /* rows of a tile that are looked at, beside those that saturate */
#define NEAR 2           /* cells: so far resampling and a lens carry saturated light */
/* Cells: colours of a cell are partly its neighbours', so that one beside saturated samples may
 * count as saturated itself, and what is NEAR that is looked at as well. */
#define REACH (NEAR + 1)
/* Level of the highest channel (1 = saturation) from which light tells a colour, for what is darker
 * is another thing than the light that saturates; and 1 / how much more tells it wholly. */
#define BRIGHT_FROM 0.5f
#define BRIGHT_SCALE 2.0f
#define GREEN_LOST 4.0f /* weight of light of which green alone is lost */
/* Share of a tile's cells that its wider surroundings count for: a tile with a few cells of which
 * green alone is lost would else stand as a tuft of orange between others that have none. */
#define LEAN 0.6f
/* Where green is lost and red or blue is below this, balanced, a cell is the rim of a small light,
 * whose colours see different shares of it; and 1 / how much more makes sure that it is none. */
#define RIM_BELOW 0.3f
#define RIM_SCALE 5.0f
#define LOST_FROM 0.4f /* share of where saturation begins from which on a channel nears it */

static enum dw_status make_room(struct dw_clipped *c, const struct dw_cells *cells,
                                struct dw_error *err)
{
    int longer = cells->width > cells->height ? cells->width : cells->height;
    int tile = longer / TILES_ALONG;
    tile = tile < SMALLEST_TILE ? SMALLEST_TILE : tile;
    c->width = cells->width;
    c->height = cells->height;
    c->cols = dw_coarse_tiles(c->width, tile);
    c->rows = dw_coarse_tiles(c->height, tile);
    size_t tiles = (size_t)c->cols * (size_t)c->rows, all = dw_wider_room(c->cols, c->rows);
    int patch = (tile + PATCHES_ALONG - 1) / PATCHES_ALONG;
    patch = patch < SMALLEST_PATCH ? SMALLEST_PATCH : patch;
    enum dw_status s = dw_edged_begin(&c->edged, c->width, c->height, patch, err);
    if (s < 0)
        return s;
    if (!dw_grow(&c->map, (size_t)c->width * (size_t)c->height) ||
        !dw_grow(&c->lost, tiles * sizeof(struct dw_sums)) ||
        !dw_grow(&c->sums, all * sizeof(struct dw_sums)) ||
        !dw_grow(&c->colour, 3 * tiles * sizeof(float)) ||
        !dw_grow(&c->line, (size_t)(c->edged.cols + 5 * c->width) * sizeof(float)))
        return dw_fail(err, DW_ERR_MEMORY, "no memory for the colours about clipped light");
    memset(c->sums.p, 0, tiles * sizeof(struct dw_sums));
    memset(c->lost.p, 0, tiles * sizeof(struct dw_sums));
    memset(c->map.p, 0, (size_t)c->width * (size_t)c->height);
    return DW_OK;
}

/* True if a sample of this row, hot pixels apart, lies at `limit` or above. */
static bool row_clips(struct dw_samples *s, int y, uint16_t limit)
{
    size_t n = (size_t)s->m->width * (s->m->cfa == DW_CFA_RGB ? 3 : 1);
    if (s->k->mosaic->highest(dw_samples_raw_row(s, y), n) < limit)
        return false;
    return s->hot.row[y] == s->hot.row[y + 1] ||
           s->k->mosaic->highest(dw_samples_row(s, y), n) >= limit;
}

/* Marks the rows of cells that hold saturated samples, and their neighbours, which resampling
 * takes samples from. */
static bool mark(struct dw_clipped *c, struct dw_cells *cells, float start)
{
    struct dw_samples *s = cells->s;
    bool *marked = c->marked.p, any = false;
    float least = 65535;
    for (int k = 0; k < 3; k++) {
        float level = s->black[k] + start / s->scale[k];
        least = level < least ? level : least;
    }
    memset(marked, 0, (size_t)c->height * sizeof *marked);
    for (int y = 0; y < c->height; y++) {
        bool clips = false;
        for (int v = 0; v < cells->cell && !clips; v++)
            clips = row_clips(s, y * cells->cell + v, (uint16_t)least);
        if (!clips)
            continue;
        any = true;
        for (int v = y > REACH ? y - REACH : 0; v <= y + REACH && v < c->height; v++)
            marked[v] = true;
    }
    return any;
}

/* How much a channel of a cell is saturated. */
static float share_of(const struct dw_develop *d, int channel, float raw, float peak)
{
    float at = channel == 1 ? peak : raw * d->mul[channel];
    return dw_ramp(at, d->clip_start[channel], d->clip_scale[channel]);
}

/* The highest channel of a cell. */
static float highest(float *const rgb[3], const float *peak, int x)
{
    float level = peak[x];
    for (int k = 0; k < 3; k++)
        level = rgb[k][x] > level ? rgb[k][x] : level;
    return level;
}

/* 1 / where each channel begins to count as saturated, of cells that are not yet balanced. */
struct starts {
    float inverse[3];
};

static struct starts starts_of(const struct dw_develop *d)
{
    struct starts s;
    for (int k = 0; k < 3; k++)
        s.inverse[k] = (k == 1 ? 1 : d->mul[k]) / d->clip_start[k];
    return s;
}

/* How near all three channels of a cell are to saturation. */
static float share_lost(const struct starts *s, float r, float g, float b)
{
    const float scale = 1 / (1 - LOST_FROM);
    return dw_ramp(r * s->inverse[0], LOST_FROM, scale) *
           dw_ramp(g * s->inverse[1], LOST_FROM, scale) *
           dw_ramp(b * s->inverse[2], LOST_FROM, scale);
}

/* out: the largest within NEAR cells. */
static void spread_row(const unsigned char *in, int width, unsigned char *out)
{
    memcpy(out, in, (size_t)width);
    for (int by = 1; by <= NEAR; by++)
        for (int x = 0; x < width; x++) {
            unsigned char a = x >= by ? in[x - by] : 0, b = x + by < width ? in[x + by] : 0;
            a = a > b ? a : b;
            out[x] = a > out[x] ? a : out[x];
        }
}

/* Notes levels, red, green's peak and blue, and all cells about those of row y that saturate: an
 * edge there is a mixture of something dark with light whose green is lost, and magenta. */
static void note_row(struct dw_clipped *c, const struct starts *s, int y, const float *level)
{
    size_t width = (size_t)c->width;
    const float *r = level, *g = level + width, *b = level + 2 * width;
    unsigned char *own = (unsigned char *)((float *)c->line.p + c->edged.cols + 4 * width);
    for (size_t x = 0; x < width; x++) {
        bool clips =
            r[x] * s->inverse[0] > 1 || g[x] * s->inverse[1] > 1 || b[x] * s->inverse[2] > 1;
        own[x] = clips ? (unsigned char)(1 + (int)(254 * share_lost(s, r[x], g[x], b[x]))) : 0;
    }
    dw_edged_row(&c->edged, y);
    spread_row(own, c->width, own + width);
    for (int v = y > NEAR ? y - NEAR : 0; v <= y + NEAR && v < c->height; v++) {
        unsigned char *map = (unsigned char *)c->map.p + (size_t)v * width;
        for (size_t x = 0; x < width; x++)
            map[x] = own[width + x] > map[x] ? own[width + x] : map[x];
    }
}

/* Adds what of a row of cells, not yet balanced, tells a colour: bright light that was measured
 * well away from any that was not, and light of which green alone was lost. That lies nearest to
 * light that is lost wholly, so it weighs more. */
static void gather(struct dw_clipped *c, const struct dw_develop *d, int y, float *const rgb[3],
                   const float *peak, struct dw_green_line *fit)
{
    size_t first = (size_t)((long)y * c->rows / c->height) * (size_t)c->cols;
    struct dw_sums *measured = (struct dw_sums *)c->sums.p + first;
    struct dw_sums *lost = (struct dw_sums *)c->lost.p + first;
    /* twilight's glows come out better with what their rims tell: it lies nearest to what is lost,
     * and as they do goes redder towards the ground; by day it puts a disc of cream about the sun
     */
    const float by_day = 1 - d->lamps;
    const unsigned char *near = (unsigned char *)c->map.p + (size_t)y * (size_t)c->width;
    for (int x = 0; x < c->width; x++) {
        float v[3], level = highest(rgb, peak, x);
        if (!(level > BRIGHT_FROM)) /* most of a night */
            continue;
        float green = share_of(d, 1, 0, peak[x]);
        if (near[x] && green < 1)
            continue;
        float w = green < 1 ? 1 : GREEN_LOST;
        for (int k = 0; k < 3; k++) {
            v[k] = rgb[k][x] * d->mul[k];
            w *= k == 1 ? 1 : 1 - share_of(d, k, rgb[k][x], peak[x]);
        }
        float bright = dw_ramp(level, BRIGHT_FROM, BRIGHT_SCALE);
        w *= bright * bright;
        if (green >= 1 && w > 0)
            w *= dw_ramp(v[0] < v[2] ? v[0] : v[2], RIM_BELOW, RIM_SCALE) *
                 dw_edged_inside(&c->edged, x, y, by_day);
        if (!(w > 0))
            continue;
        struct dw_sums *t = &(green < 1 ? measured : lost)[(long)x * c->cols / c->width];
        t->weight += w;
        for (int k = 0; k < 3; k++)
            t->rgb[k] += w * v[k];
        if (green < 1)
            dw_green_line_add(fit, w, v);
    }
}

static void add_lost(struct dw_clipped *c, const struct dw_green_line *fit)
{
    struct dw_sums *all = c->sums.p, *lost = c->lost.p;
    for (int i = 0; i < c->cols * c->rows; i++) {
        float green = dw_green_line_tell(fit, lost[i].rgb[0], lost[i].rgb[2]);
        all[i].weight += lost[i].weight;
        all[i].rgb[0] += lost[i].rgb[0];
        all[i].rgb[1] += green > lost[i].rgb[1] ? green : lost[i].rgb[1];
        all[i].rgb[2] += lost[i].rgb[2];
    }
}

/* As planes, which rows are made of. */
static void keep_colours(struct dw_clipped *c)
{
    const struct dw_sums *sums = c->sums.p;
    size_t tiles = (size_t)c->cols * (size_t)c->rows;
    float *plane = c->colour.p;
    for (size_t i = 0; i < tiles; i++)
        for (size_t k = 0; k < 3; k++)
            plane[k * tiles + i] = sums[i].rgb[k];
}

/* A town's glow is warm as lamps are, and a skyline ends it below. But unlike theirs its light
 * rises beside the key from dusk to night, and far about. */
static void mark_glows(struct dw_edged *e, const struct dw_facts *facts)
{
    float *glow = e->glow.p;
    if (!(facts->hold.night_key > 0))
        return;
    for (int y = 0; y < e->rows; y++)
        for (int x = 0; x < e->cols; x++) {
            double rise = dw_hold_rise(facts, (x + 0.5) / e->cols, (y + 0.5) / e->rows);
            *glow++ = dw_ramp((float)rise, GLOW_FROM, GLOW_SCALE);
        }
}

enum dw_status dw_clipped_learn(struct dw_clipped *c, struct dw_cells *cells,
                                const struct dw_develop *d, const struct dw_facts *facts,
                                const double green[4], struct dw_error *err)
{
    c->height = cells->height;
    if (!dw_grow(&c->marked, (size_t)c->height * sizeof(bool)))
        return dw_fail(err, DW_ERR_MEMORY, "no memory for marks of %d rows", c->height);
    c->any = mark(c, cells, d->clip_start[1]);
    if (!c->any)
        return DW_OK;
    enum dw_status s = make_room(c, cells, err);
    if (s < 0)
        return s;
    const bool *marked = c->marked.p;
    c->edged.red_to_blue = d->mul[0] / d->mul[2];
    mark_glows(&c->edged, facts);
    float *row = (float *)c->line.p + c->edged.cols;
    size_t w = (size_t)c->width;
    float *const rgb[3] = {row, row + w, row + 2 * w}, *peak = row + 3 * w;
    const struct starts starts = starts_of(d);
    for (int y = 0; y < c->height; y++)
        if (marked[y]) {
            float *level = dw_edged_levels(&c->edged, y);
            float *const levels[3] = {level, rgb[1], level + 2 * w};
            dw_cells_row(cells, y, levels, level + w);
            note_row(c, &starts, y, level);
        }
    int tile = c->height / c->rows, step = tile > SAMPLES_ALONG ? tile / SAMPLES_ALONG : 1,
        last = -1;
    struct dw_green_line line = {.known = {green[0], green[1], green[2], green[3]}};
    for (int y = 0; y < c->height; y++) { /* no farther than a tile from what is saturated */
        for (int v = last < y ? y : last + 1; v <= y + tile && v < c->height; v++)
            last = marked[v] ? v : last;
        if (last < 0 || y - last > tile || (y % step && !marked[y]))
            continue;
        dw_cells_row(cells, y, rgb, peak);
        gather(c, d, y, rgb, peak, &line);
    }
    add_lost(c, &line);
    dw_edged_end(&c->edged);
    const float lean =
        LEAN * (float)c->width * (float)c->height / ((float)c->cols * (float)c->rows);
    const struct dw_onward_params onward = DW_ONWARD_DEFAULTS;
    dw_wider_colours(c->sums.p, c->cols, c->rows, lean);
    dw_onward_colours(c->sums.p, c->cols, c->rows, lean, c->lost.p, &onward);
    keep_colours(c);
    return DW_OK;
}

bool dw_clipped_in_row(const struct dw_clipped *c, int y, int height)
{
    if (!c->any)
        return false;
    const bool *marked = c->marked.p;
    int first = (int)((long)y * c->height / height),
        last = (int)(((long)y + 1) * c->height / height);
    for (int v = first; v <= last && v < c->height; v++)
        if (marked[v])
            return true;
    return false;
}

void dw_clipped_row(struct dw_clipped *c, int y, int width, int height, float *const out[5])
{
    size_t tiles = (size_t)c->cols * (size_t)c->rows;
    for (size_t k = 0; k < 3; k++)
        dw_coarse_row((const float *)c->colour.p + k * tiles, c->cols, c->rows, y, width, height,
                      c->line.p, out[k]);
    dw_coarse_row(c->edged.share.p, c->edged.cols, c->edged.rows, y, width, height, c->line.p,
                  out[3]);
    const unsigned char *map = c->map.p;
    map += (size_t)((long)y * c->height / height) * (size_t)c->width;
    for (int x = 0; x < width; x++)
        out[4][x] = (float)map[(long)x * c->width / width] * (1.0f / 255);
}

void dw_clipped_free(struct dw_clipped *c)
{
    dw_grow_free(&c->marked);
    dw_grow_free(&c->map);
    dw_edged_free(&c->edged);
    dw_grow_free(&c->lost);
    dw_grow_free(&c->sums);
    dw_grow_free(&c->colour);
    dw_grow_free(&c->line);
}
