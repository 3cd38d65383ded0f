/* background.c: see background.h. */
#include "render/background.h"

#include "render/coarse.h"
#include "render/kernels/fastmath.h"
#include "render/kernels/kernels.h"

#include <string.h>

#define TILES_ALONG 64  /* the longer side; a tile is then some 50 pixels of a 6 MP picture */
#define SMALLEST_TILE 8 /* pixels; a smaller one could be filled by a single bright star */
/* Of a tile's width and height: some 32 samples, and those of 8 tiles about it, place a percentile
 * well enough. */
#define SAMPLES_ACROSS 8
#define SAMPLES_DOWN 4
#define ROUNDED 0xff /* bits of a level that do not count: 2^-15 of it */
#define PERCENTILE 0.6
/* From PERCENTILE to UPPER lies the grain: so many sigmas of a normal distribution, whose quantiles
 * are 0.253 (by so much the level is higher than the middle) and 0.842. */
#define UPPER 0.8
#define SIGMAS 0.588f
#define ABOVE 0.253f
#define LEAST_GRAIN 0.01f /* of the level: what 8 bits show, whatever the sensor can */
#define LEAST_LEVEL 0.2f  /* of the night sky's: darker is what the night hides, not sky */
#define NOTHING 1e-3f     /* keys */
#define NO_SKY 24.0f /* night skies; brighter surfaces are lamps, not what stars stand before */
/* Of that: beside a tile as bright as this lies a lit wall, which the air has not reddened. */
#define BESIDE_WALL 0.25f
#define OF_SKY 1.5f /* sigmas about the level within which a sample shows the sky's colour */
/* How much darker than its neighbours a tile is that begins to be foreground, and one that is
 * wholly.
 */
#define DARKER 1.1f
#define DARK 1.3f

/* What is known of each tile, a plane each, and work space. RED to BLUE are of luminance 1
 * until the end; GRAIN to BLUE are weighted while they are smoothed. */
enum plane {
    LEVEL,
    BASE,
    GRAIN,
    RED,
    GREEN,
    BLUE,
    AIR_RED,
    AIR_BLUE,
    WEIGHT,
    HIGHEST,
    ACROSS,
    DOWN,
    WORK,
    PLANES
};

static float *plane(const struct dw_background *b, enum plane which)
{
    return (float *)b->level.p + (size_t)which * (size_t)b->cols * (size_t)b->rows;
}

static int first_of(int tile, int tiles, int pixels)
{
    return (int)((long)tile * pixels / tiles);
}

enum dw_status dw_background_begin(struct dw_background *b, int width, int height,
                                   struct dw_error *err)
{
    int longer = width > height ? width : height;
    int tile = longer / TILES_ALONG;
    tile = tile < SMALLEST_TILE ? SMALLEST_TILE : tile;
    b->width = width;
    b->height = height;
    b->cols = dw_coarse_tiles(width, tile);
    b->rows = dw_coarse_tiles(height, tile);
    b->step_x = tile / SAMPLES_ACROSS < 1 ? 1 : tile / SAMPLES_ACROSS;
    b->step_y = tile / SAMPLES_DOWN < 1 ? 1 : tile / SAMPLES_DOWN;
    b->tile_row = 0;
    size_t cols = (size_t)b->cols, rows = (size_t)b->rows;
    size_t across = (size_t)(width / b->cols / b->step_x + 2);
    size_t down = (size_t)(height / b->rows / b->step_y + 2);
    b->room = across * down;
    if (!dw_grow(&b->taken, 4 * cols * b->room * sizeof(float)) ||
        !dw_grow(&b->count, cols * sizeof(size_t)) ||
        !dw_grow(&b->level, PLANES * cols * rows * sizeof(float)) ||
        !dw_grow(&b->line, cols * sizeof(float)))
        return dw_fail(err, DW_ERR_MEMORY, "no memory for the background of %dx%d pixels", width,
                       height);
    memset(b->count.p, 0, cols * sizeof(size_t));
    memset(b->level.p, 0, PLANES * cols * rows * sizeof(float));
    return DW_OK;
}

void dw_background_free(struct dw_background *b)
{
    dw_grow_free(&b->taken);
    dw_grow_free(&b->count);
    dw_grow_free(&b->level);
    dw_grow_free(&b->line);
}

static int tile_row_of(const struct dw_background *b, int y)
{
    int row = (int)(((long)y * b->rows) / b->height);
    while (row + 1 < b->rows && first_of(row + 1, b->rows, b->height) <= y)
        row++;
    return row;
}

bool dw_background_wants(const struct dw_background *b, int y)
{
    return (y - first_of(tile_row_of(b, y), b->rows, b->height)) % b->step_y == 0;
}

/* The samples of a tile of the row that is being collected: plane 0 the level, 1 to 3 its colours.
 */
static float *taken(const struct dw_background *b, int tile, size_t of)
{
    return (float *)b->taken.p + (4 * (size_t)tile + of) * b->room;
}

/* The mean colour of the samples that show sky, of luminance 1; without any it stays grey. */
static void tile_colour(const struct dw_background *b, int tile, size_t n, float level, float grain,
                        float rgb[3])
{
    const float *v = taken(b, tile, 0);
    float most = OF_SKY * grain, sum = 0, of[3] = {0, 0, 0};
    for (size_t i = 0; i < n; i++) {
        float d = v[i] - level, in = d <= most && -d <= most ? 1.0f : 0.0f;
        sum += in * v[i];
        for (size_t c = 0; c < 3; c++)
            of[c] += in * taken(b, tile, c + 1)[i];
    }
    for (int c = 0; c < 3; c++)
        rgb[c] = sum > 0 ? of[c] / sum : 1;
}

static void finish_tile_row(struct dw_background *b)
{
    float (*rank)(const float *, size_t, size_t) = dw_kernels_best()->tone->rank;
    size_t *count = b->count.p, at = (size_t)b->tile_row * (size_t)b->cols;
    for (int c = 0; c < b->cols; c++, at++) {
        const float *v = taken(b, c, 0);
        size_t n = count[c];
        count[c] = 0;
        if (n == 0)
            continue;
        float level = rank(v, n, (size_t)(PERCENTILE * (double)(n - 1)));
        float grain = (rank(v, n, (size_t)(UPPER * (double)(n - 1))) - level) * (1 / SIGMAS),
              rgb[3];
        level = level > ABOVE * grain ? level - ABOVE * grain : 0;
        tile_colour(b, c, n, level, grain, rgb);
        plane(b, LEVEL)[at] = level;
        plane(b, GRAIN)[at] = grain;
        for (int k = 0; k < 3; k++)
            plane(b, RED + (enum plane)k)[at] = rgb[k];
    }
}

void dw_background_add(struct dw_background *b, int y, float *const rgb[3], const float *level)
{
    int row = tile_row_of(b, y);
    if (row != b->tile_row) {
        finish_tile_row(b);
        b->tile_row = row;
    }
    size_t *count = b->count.p;
    const float *const from[4] = {level, rgb[0], rgb[1], rgb[2]};
    for (int c = 0; c < b->cols; c++) {
        int begin = first_of(c, b->cols, b->width), end = first_of(c + 1, b->cols, b->width);
        size_t n = (size_t)((end - begin + b->step_x - 1) / b->step_x);
        n = n < b->room - count[c] ? n : b->room - count[c];
        for (size_t k = 0; k < 4; k++) {
            float *v = taken(b, c, k) + count[c];
            for (size_t i = 0; i < n; i++)
                v[i] = from[k][begin + (int)i * b->step_x];
        }
        float *v = taken(b, c, 0) + count[c];
        for (size_t i = 0; i < n; i++)
            v[i] = dwk_float(dwk_bits(v[i]) & ~ROUNDED);
        count[c] += n;
    }
}

enum combining { HIGHEST_OF, SMOOTH, BETWEEN };

/* out = the highest or the 1-2-1 weighted mean of three along one direction, or the
 * mean of the outer two. */
static void combine(const float *in, float *out, int n, int lines, int step, int line_step,
                    enum combining how)
{
    for (int k = 0; k < lines; k++)
        for (int i = 0; i < n; i++) {
            const float *v = in + k * line_step + i * step;
            float a = i > 0 ? v[-step] : v[0], c = i + 1 < n ? v[step] : v[0];
            float most = a > c ? a : c;
            float *to = &out[k * line_step + i * step];
            if (how == SMOOTH)
                *to = 0.25f * (a + c) + 0.5f * v[0];
            else if (how == BETWEEN)
                *to = 0.5f * (a + c);
            else
                *to = most > v[0] ? most : v[0];
        }
}

/* Along both directions. */
static void combine_tiles(const struct dw_background *b, enum plane in, enum plane out,
                          enum combining how)
{
    combine(plane(b, in), plane(b, WORK), b->cols, b->rows, 1, b->cols, how);
    combine(plane(b, WORK), plane(b, out), b->rows, b->cols, b->cols, 1, how);
}

/* A tile that shows foreground gets the sky that is about it. Such a tile is darker than the mean
 * of those on either side of it or that above and below: a sky that only falls off evenly is not.
 */
static void replace_foreground(const struct dw_background *b, size_t n)
{
    float *level = plane(b, LEVEL), *weight = plane(b, WEIGHT);
    const float *highest = plane(b, HIGHEST);
    const float *across = plane(b, ACROSS), *down = plane(b, DOWN);
    for (size_t i = 0; i < n; i++) {
        float even = across[i] > down[i] ? across[i] : down[i];
        float share = (even - DARKER * level[i]) / ((DARK - DARKER) * level[i] + 1e-20f);
        share = share < 0 ? 0 : share > 1 ? 1 : share;
        level[i] += share * (highest[i] - level[i]);
        weight[i] *= 1 - share; /* of its grain and colour beside those of others */
    }
}

/* Tiles in the order in which they lie below each other in the upright picture. */
struct fall {
    int first, across, down, columns, depth; /* index of the first; steps between tiles; how many */
};

static struct fall fall_of(const struct dw_background *b, int turn_deg)
{
    int c = b->cols, r = b->rows;
    switch (turn_deg) {
    case 90:
        return (struct fall){0, c, 1, r, c};
    case 180:
        return (struct fall){c * (r - 1), 1, -c, c, r};
    case 270:
        return (struct fall){c - 1, c, -1, r, c};
    default:
        return (struct fall){0, 1, c, c, r};
    }
}

/* Open sky is what has no foreground above it. Elsewhere nothing stands out that is not brighter
 * than the night's sky, as lit ground would be raised like a star. */
static void raise_base(const struct dw_background *b, int turn_deg, float floor)
{
    const struct fall f = fall_of(b, turn_deg);
    for (int i = 0; i < f.columns; i++) {
        bool open = true;
        for (int k = 0; k < f.depth; k++) {
            int at = f.first + i * f.across + k * f.down;
            float level = plane(b, LEVEL)[at];
            open = open && plane(b, WEIGHT)[at] > 0.5f;
            plane(b, BASE)[at] = open || level > floor ? level : floor;
        }
    }
}

/* Brings the sky within what a sky can be, and its grain to that of the picture. */
static void limit(struct dw_background *b, size_t n, const struct dw_sky_wanted *want)
{
    float *level = plane(b, LEVEL), *base = plane(b, BASE), *grain = plane(b, GRAIN);
    const float least = LEAST_LEVEL * want->floor > NOTHING ? LEAST_LEVEL * want->floor : NOTHING;
    const float most = b->no_sky = NO_SKY * (want->floor > 1 ? want->floor : 1);
    for (size_t i = 0; i < n; i++) {
        const float was = level[i], to = was > most ? most : was > least ? was : least;
        level[i] = to;
        base[i] = base[i] > most ? most : base[i] > least ? base[i] : least;
        grain[i] *= want->noisier * (was > to ? to / was : 1); /* darkness has none to be raised */
        grain[i] = grain[i] > LEAST_GRAIN * to ? grain[i] : LEAST_GRAIN * to;
        for (int k = 0; k < 3; k++) { /* the colour is of that level */
            float *v = &plane(b, RED + (enum plane)k)[i];
            *v = was > 0 ? *v * (to / was) : to;
        }
    }
}

void dw_background_end(struct dw_background *b, const struct dw_sky_wanted *want)
{
    finish_tile_row(b);
    size_t n = (size_t)b->cols * (size_t)b->rows;
    for (size_t i = 0; i < n; i++)
        plane(b, WEIGHT)[i] = 1;
    for (int pass = 0; pass < 2; pass++) { /* as far as smoothing reaches beyond a skyline */
        combine_tiles(b, LEVEL, HIGHEST, HIGHEST_OF);
        combine(plane(b, LEVEL), plane(b, ACROSS), b->cols, b->rows, 1, b->cols, BETWEEN);
        combine(plane(b, LEVEL), plane(b, DOWN), b->rows, b->cols, b->cols, 1, BETWEEN);
        replace_foreground(b, n);
    }
    raise_base(b, want->turn_deg, want->floor);
    for (size_t i = 0; i < n; i++)
        plane(b, WEIGHT)[i] += 1e-3f;
    for (int k = GRAIN; k <= BLUE; k++)
        for (size_t i = 0; i < n; i++)
            plane(b, (enum plane)k)[i] *= plane(b, WEIGHT)[i];
    for (int k = LEVEL; k <= BLUE; k++)
        combine_tiles(b, (enum plane)k, (enum plane)k, SMOOTH);
    combine_tiles(b, WEIGHT, WEIGHT, SMOOTH);
    for (int k = GRAIN; k <= BLUE; k++)
        for (size_t i = 0; i < n; i++)
            plane(b, (enum plane)k)[i] *=
                (k == GRAIN ? 1 : plane(b, LEVEL)[i]) / plane(b, WEIGHT)[i];
    limit(b, n, want);
}

void dw_background_air(struct dw_background *b, const float *red, const float *blue)
{
    size_t n = (size_t)b->cols * (size_t)b->rows;
    combine_tiles(b, LEVEL, HIGHEST, HIGHEST_OF);
    for (size_t i = 0; i < n; i++) {
        bool sky = plane(b, HIGHEST)[i] < BESIDE_WALL * b->no_sky;
        plane(b, AIR_RED)[i] = sky ? red[i] : 0;
        plane(b, AIR_BLUE)[i] = sky ? blue[i] : 0;
    }
}

void dw_background_row(struct dw_background *b, int y, int width, int height,
                       float *const out[DW_SKY_ROWS])
{
    for (int k = 0; k < DW_SKY_ROWS; k++)
        dw_coarse_row(plane(b, (enum plane)k), b->cols, b->rows, y, width, height, b->line.p,
                      out[k]);
}
