/* background.c: see background.h. */
#include "render/stars/background.h"

#include "render/planes/coarse.h"
#include "render/kernels/fastmath.h"
#include "render/kernels/kernels.h"

#include <string.h>

#define TILES_ALONG 64  /* the longer side; a tile is then some 50 pixels of a 6 MP picture */
#define SMALLEST_TILE 8 /* pixels; a smaller one could be filled by a single bright star */
/* Of a tile's width and height: some 32 samples, and those of 8 tiles about it, place a percentile
 * well enough. */
#define SAMPLES_ACROSS 8
#define SAMPLES_DOWN 4
#define ROUNDED 0xff       /* bits of a level that do not count: 2^-15 of it */
#define AT_A_TIME 16       /* columns: numbers of the longest vector */
#define NO_SAMPLE 0x1p127f /* keys: above all that are one */
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

/* And of the columns of samples. */
enum told { MIDDLE, HIGH, MOST, SUM, OF_RED, OF_GREEN, OF_BLUE, RANK, TOLD };

static float *plane(const struct dw_background *b, enum plane which)
{
    return (float *)b->level.p + (size_t)which * (size_t)b->cols * (size_t)b->rows;
}

static int first_of(int tile, int tiles, int pixels)
{
    return (int)((long)tile * pixels / tiles);
}

/* Samples that a row of pixels gives a tile, at most. */
static size_t across(const struct dw_background *b)
{
    return (size_t)(b->width / b->cols / b->step_x + 1);
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
    b->columns = (cols + AT_A_TIME - 1) / AT_A_TIME * AT_A_TIME;
    b->lines = across(b) * (size_t)(height / b->rows / b->step_y + 2);
    b->n_taken = 0;
    if (!dw_grow(&b->taken, (4 * b->lines + TOLD) * b->columns * sizeof(float)) ||
        !dw_grow(&b->first, (cols + 1) * sizeof(int)) ||
        !dw_grow(&b->level, PLANES * cols * rows * sizeof(float)) ||
        !dw_grow(&b->line, cols * sizeof(float)))
        return dw_fail(err, DW_ERR_MEMORY, "no memory for the background of %dx%d pixels", width,
                       height);
    for (int c = 0; c <= b->cols; c++)
        ((int *)b->first.p)[c] = first_of(c, b->cols, width);
    memset(b->level.p, 0, PLANES * cols * rows * sizeof(float));
    return DW_OK;
}

void dw_background_free(struct dw_background *b)
{
    dw_grow_free(&b->taken);
    dw_grow_free(&b->first);
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

/* The samples of the tile row that is being collected: plane 0 the level, 1 to 3 its colours. */
static float *taken(const struct dw_background *b, size_t of)
{
    return (float *)b->taken.p + of * b->lines * b->columns;
}

static float *told(const struct dw_background *b, enum told which)
{
    return taken(b, 4) + (size_t)which * b->columns;
}

/* Samples that a row of pixels gives this tile. */
static size_t samples(const struct dw_background *b, int tile)
{
    const int *first = b->first.p;
    return (size_t)((first[tile + 1] - first[tile] + b->step_x - 1) / b->step_x);
}

/* What columns hold at this part of their samples. */
static void quantile(const struct dw_background *b, double part, enum told out)
{
    int32_t *k = (int32_t *)(void *)told(b, RANK);
    for (size_t c = 0; c < b->columns; c++) {
        size_t n = c < (size_t)b->cols ? b->n_taken / across(b) * samples(b, (int)c) : 1;
        k[c] = (int32_t)(part * (double)(n - 1));
    }
    dw_kernels_best()->sky->rank(taken(b, 0), b->columns, b->n_taken, k, told(b, out));
}

/* Level and grain of each tile, and the mean colour of the samples that show sky, of luminance 1;
 * without any it stays grey. */
static void finish_tile_row(struct dw_background *b)
{
    if (b->n_taken == 0)
        return;
    quantile(b, PERCENTILE, MIDDLE);
    quantile(b, UPPER, HIGH);
    float *level = told(b, MIDDLE), *grain = told(b, HIGH), *most = told(b, MOST);
    for (size_t c = 0; c < b->columns; c++) {
        grain[c] = (grain[c] - level[c]) * (1 / SIGMAS);
        level[c] = level[c] > ABOVE * grain[c] ? level[c] - ABOVE * grain[c] : 0;
        most[c] = OF_SKY * grain[c];
    }
    float *const sum[4] = {told(b, SUM), told(b, OF_RED), told(b, OF_GREEN), told(b, OF_BLUE)};
    const float *const of[4] = {taken(b, 0), taken(b, 1), taken(b, 2), taken(b, 3)};
    dw_kernels_best()->sky->within(of, b->columns, b->n_taken, level, most, sum);
    size_t at = (size_t)b->tile_row * (size_t)b->cols;
    for (size_t c = 0; c < (size_t)b->cols; c++, at++) {
        plane(b, LEVEL)[at] = level[c];
        plane(b, GRAIN)[at] = grain[c];
        for (int k = 0; k < 3; k++)
            plane(b, RED + (enum plane)k)[at] = sum[0][c] > 0 ? sum[k + 1][c] / sum[0][c] : 1;
    }
    b->n_taken = 0;
}

/* One line of samples, the ith of each tile, from a row of pixels; where a tile has none, `none`.
 */
static void take(const struct dw_background *b, int i, const float *row, float none, float *out)
{
    const int *first = b->first.p, on = i * b->step_x;
    for (int c = 0; c < b->cols; c++)
        out[c] = first[c] + on < first[c + 1] ? row[first[c] + on] : none;
    for (size_t c = (size_t)b->cols; c < b->columns; c++)
        out[c] = none;
}

void dw_background_add(struct dw_background *b, int y, float *const rgb[3], const float *level)
{
    int row = tile_row_of(b, y);
    if (row != b->tile_row) {
        finish_tile_row(b);
        b->tile_row = row;
    }
    for (size_t i = 0; i < across(b) && b->n_taken < b->lines; i++, b->n_taken++) {
        float *line = taken(b, 0) + b->n_taken * b->columns;
        take(b, (int)i, level, NO_SAMPLE, line);
        for (size_t c = 0; c < b->columns; c++)
            line[c] = dwk_float(dwk_bits(line[c]) & ~ROUNDED);
        for (size_t k = 0; k < 3; k++)
            take(b, (int)i, rgb[k], 0, taken(b, k + 1) + b->n_taken * b->columns);
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
