/* background.c: see background.h. */
#include "render/background.h"

#include "render/coarse.h"
#include "render/kernels/kernels.h"

#include <string.h>

#define TILES_ALONG 64  /* the longer side; a tile is then some 50 pixels of a 6 MP picture */
#define SMALLEST_TILE 8 /* pixels; a smaller one could be filled by a single bright star */
#define SAMPLES_ALONG 8 /* of a tile's side: some 64 samples place a percentile well enough */
#define PERCENTILE 0.6

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
    b->step_x = b->step_y = tile / SAMPLES_ALONG < 1 ? 1 : tile / SAMPLES_ALONG;
    b->tile_row = 0;
    size_t cols = (size_t)b->cols, rows = (size_t)b->rows;
    size_t across = (size_t)(width / b->cols / b->step_x + 2);
    size_t down = (size_t)(height / b->rows / b->step_y + 2);
    b->room = across * down;
    if (!dw_grow(&b->taken, cols * b->room * sizeof(float)) ||
        !dw_grow(&b->count, cols * sizeof(size_t)) ||
        !dw_grow(&b->level, 2 * cols * rows * sizeof(float)) ||
        !dw_grow(&b->line, cols * sizeof(float)))
        return dw_fail(err, DW_ERR_MEMORY, "no memory for the background of %dx%d pixels", width,
                       height);
    memset(b->count.p, 0, cols * sizeof(size_t));
    memset(b->level.p, 0, cols * rows * sizeof(float));
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

static void finish_tile_row(struct dw_background *b)
{
    float (*rank)(const float *, size_t, size_t) = dw_kernels_best()->tone->rank;
    size_t *count = b->count.p;
    float *level = (float *)b->level.p + (size_t)b->tile_row * (size_t)b->cols;
    for (int c = 0; c < b->cols; c++) {
        const float *v = (const float *)b->taken.p + (size_t)c * b->room;
        if (count[c] > 0)
            level[c] = rank(v, count[c], (size_t)(PERCENTILE * (double)(count[c] - 1)));
        count[c] = 0;
    }
}

void dw_background_add(struct dw_background *b, int y, const float *norm)
{
    int row = tile_row_of(b, y);
    if (row != b->tile_row) {
        finish_tile_row(b);
        b->tile_row = row;
    }
    size_t *count = b->count.p;
    for (int c = 0; c < b->cols; c++) {
        float *v = (float *)b->taken.p + (size_t)c * b->room;
        int end = first_of(c + 1, b->cols, b->width);
        for (int x = first_of(c, b->cols, b->width); x < end && count[c] < b->room; x += b->step_x)
            v[count[c]++] = norm[x];
    }
}

/* out = the highest (or, with `smooth`, the 1-2-1 weighted mean) of three along one direction. */
static void combine(const float *in, float *out, int n, int lines, int step, int line_step,
                    bool smooth)
{
    for (int k = 0; k < lines; k++)
        for (int i = 0; i < n; i++) {
            const float *v = in + k * line_step + i * step;
            float a = i > 0 ? v[-step] : v[0], c = i + 1 < n ? v[step] : v[0];
            float most = a > c ? a : c;
            most = most > v[0] ? most : v[0];
            out[k * line_step + i * step] = smooth ? 0.25f * (a + c) + 0.5f * v[0] : most;
        }
}

void dw_background_end(struct dw_background *b)
{
    finish_tile_row(b);
    float *level = b->level.p, *other = level + (size_t)b->cols * (size_t)b->rows;
    for (int pass = 0; pass < 2; pass++) {
        combine(level, other, b->cols, b->rows, 1, b->cols, pass == 1);
        combine(other, level, b->rows, b->cols, b->cols, 1, pass == 1);
    }
}

void dw_background_row(struct dw_background *b, int y, int width, int height, float *out)
{
    dw_coarse_row(b->level.p, b->cols, b->rows, y, width, height, b->line.p, out);
}
