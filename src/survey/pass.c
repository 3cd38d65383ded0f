/* pass.c: see pass.h. The mosaic is read once, row by row, while it is in the cache. */
#include "survey/pass.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* The whole memory is one block; this hands out its parts, or only counts for block = NULL. */
struct carver {
    char *block;
    size_t at;
};

static void *carve(struct carver *c, size_t bytes)
{
    void *part = c->block ? c->block + c->at : NULL;
    c->at += (bytes + 63) / 64 * 64;
    return part;
}

static void carve_all(struct dw_pass *p, const struct dw_layout *l, struct carver *c)
{
    size_t samples = (size_t)l->samples + 64, vp = (size_t)l->vp, cells = (size_t)l->width / 2 + 16;
    p->tile = carve(c, (size_t)l->cols * (size_t)l->rows * sizeof *p->tile);
    p->thumb = carve(c, (size_t)l->thumb_width * (size_t)l->thumb_height * 3 * sizeof(float));
    p->sum = carve(c, vp * samples * sizeof *p->sum);
    p->high = carve(c, samples * sizeof(uint16_t));
    p->low = carve(c, samples * sizeof(uint16_t));
    p->dark = carve(c, vp * samples * sizeof(uint16_t));
    p->limit = carve(c, vp * samples * sizeof(uint16_t));
    p->green = carve(c, 3 * cells * sizeof(float));
    p->bins = carve(c, 3 * cells * sizeof(float));
    p->row3 = carve(c, cells * sizeof(float));
    p->energy = carve(c, cells * sizeof(float));
    p->hit = carve(c, samples / DW_HIT_RUN + 2);
    p->col_of = carve(c, ((size_t)l->width + 16) * sizeof(uint16_t));
}

enum dw_status dw_pass_prepare(struct dw_pass *p, const struct dw_layout *l, struct dw_error *err)
{
    struct carver c = {0};
    carve_all(p, l, &c);
    if (c.at > p->block_size) {
        free(p->block);
        p->block = aligned_alloc(64, c.at);
        p->block_size = p->block ? c.at : 0;
        if (!p->block)
            return dw_fail(err, DW_ERR_MEMORY, "survey: no memory for %zu bytes of sums", c.at);
    }
    c = (struct carver){p->block, 0};
    carve_all(p, l, &c);
    memset(p->block, 0, c.at);
    for (int x = 0, t = 0; x < l->width; x++) {
        while (x >= l->tile_x[t + 1])
            t++;
        p->col_of[x] = (uint16_t)t;
    }
    if (!p->k)
        p->k = dw_survey_kernels_best();
    return DW_OK;
}

void dw_pass_free(struct dw_pass *p)
{
    free(p->block);
    *p = (struct dw_pass){0};
}

static size_t row_room(const struct dw_layout *l)
{
    return (size_t)l->samples + 64;
}

static size_t cell_room(const struct dw_layout *l)
{
    return (size_t)l->width / 2 + 16;
}

/* ---- cells: the 2x2-binned green picture ---- */

/* Any mosaic, slowly: the mean of the cell's greens. */
static void cells_any(const struct dw_layout *l, const uint16_t *upper, const uint16_t *lower,
                      int y, size_t n, float *green)
{
    for (size_t i = 0; i < n; i++) {
        int32_t found = 0, sum = 0;
        for (int k = 0; k < 4; k++) {
            const uint16_t *row = k < 2 ? upper : lower;
            size_t x = 2 * i + (size_t)(k % 2);
            if (l->spp == 3) {
                sum += row[3 * x + 1];
                found++;
            } else if (l->colour[(y + k / 2) % l->vp][x % (size_t)l->hp] == 1) {
                sum += row[x];
                found++;
            }
        }
        green[i] = found > 0 ? (float)sum / (float)found : 0;
    }
}

static void read_cells(const struct dw_pass *p, const struct dw_layout *l,
                       const struct dw_mosaic *m, int cell_row, float *green)
{
    int y = 2 * cell_row;
    const uint16_t *upper = m->px + (size_t)y * (size_t)l->stride, *lower = upper + l->stride;
    size_t n = (size_t)l->width / 2;
    const uint8_t *c0 = l->colour[0], *c1 = l->colour[1];
    bool bayer = l->spp == 1 && l->hp == 2;
    if (l->spp == 1 && l->hp == 1)
        p->k->cells_mono(upper, lower, n, green);
    else if (bayer && c0[1] == 1 && c1[0] == 1 && c0[0] != 1 && c1[1] != 1)
        p->k->cells_bayer(upper, lower, n, 1, green);
    else if (bayer && c0[0] == 1 && c1[1] == 1 && c0[1] != 1 && c1[0] != 1)
        p->k->cells_bayer(upper, lower, n, 0, green);
    else
        cells_any(l, upper, lower, y, n, green);
}

/* ---- detail ---- */

static void fold_fine(struct dw_pass *p, const struct dw_layout *l, int tile_row)
{
    int last = l->width / 2 - 1; /* the outermost cells have no neighbour on one side */
    for (int col = 0; col < l->cols; col++) {
        struct dw_tile_sums *t = &p->tile[tile_row * l->cols + col];
        int from = l->tile_x[col] / 2, to = l->tile_x[col + 1] / 2;
        from = from < 1 ? 1 : from;
        to = to > last ? last : to;
        for (int i = from; i < to; i++)
            t->fine += (double)p->energy[i];
        if (to > from)
            t->fine_n += (uint32_t)(to - from) * p->energy_rows;
    }
    memset(p->energy, 0, cell_room(l) * sizeof(float));
    p->energy_rows = 0;
}

/* Bins of 3x3 cells: row k of them is whole once cell row 3k+2 is read. */
static void add_bins(struct dw_pass *p, const struct dw_layout *l, int k)
{
    size_t room = cell_room(l), n = (size_t)l->width / 2, bins = n / 3;
    const float *g = p->green;
    p->k->add3(g, g + room, g + 2 * room, n, p->row3);
    float *out = p->bins + (size_t)(k % 3) * room;
    for (size_t j = 0; j < bins; j++)
        out[j] = ((p->row3[3 * j] + p->row3[3 * j + 1]) + p->row3[3 * j + 2]) / 9;
    if (k < 2)
        return;
    const float *up = p->bins + (size_t)((k - 2) % 3) * room;
    const float *mid = p->bins + (size_t)((k - 1) % 3) * room;
    struct dw_tile_sums *row =
        p->tile + dw_layout_find(l->tile_y, l->rows, 6 * (k - 1) + 2) * l->cols;
    for (size_t j = 1; j + 1 < bins; j++) {
        float e = mid[j] - 0.25f * ((up[j] + out[j]) + (mid[j - 1] + mid[j + 1]));
        struct dw_tile_sums *t = row + p->col_of[6 * j + 2];
        t->middle += (double)(e * e);
        t->middle_n++;
    }
}

/* ---- levels ---- */

static void count_samples(struct dw_pass *p, const struct dw_layout *l, int tile_row, int rows)
{
    uint32_t in_period[3] = {0};
    for (int r = 0; r < l->vp; r++) {
        for (int s = 0; s < l->hp; s++)
            in_period[l->colour[r][s]]++;
    }
    for (int col = 0; col < l->cols; col++) {
        uint32_t samples =
            (uint32_t)((l->tile_x[col + 1] - l->tile_x[col]) * l->spp) * (uint32_t)rows;
        for (int c = 0; c < 3; c++)
            p->tile[tile_row * l->cols + col].n[c] +=
                samples / (uint32_t)(l->hp * l->vp) * in_period[c];
    }
}

static void fold_sums(const struct dw_pass *p, const struct dw_layout *l, int from_px, int to_px,
                      uint64_t out[3])
{
    const size_t hp = (size_t)l->hp, n = (size_t)(to_px - from_px) * (size_t)l->spp;
    for (int r = 0; r < l->vp; r++) {
        const uint32_t *sum = p->sum + (size_t)r * row_room(l) + (size_t)from_px * (size_t)l->spp;
        if (hp == 2) { /* nearly every camera: a loop of fixed step is several times faster */
            uint64_t even = 0, odd = 0;
            for (size_t i = 0; i < n; i += 2) {
                even += sum[i];
                odd += sum[i + 1];
            }
            out[l->colour[r][0]] += even;
            out[l->colour[r][1]] += odd;
            continue;
        }
        for (size_t s = 0; s < hp; s++) {
            uint64_t total = 0;
            for (size_t i = s; i < n; i += hp)
                total += sum[i];
            out[l->colour[r][s]] += total;
        }
    }
}

/* The rows since the last edge of a tile or block go to both. */
static void fold_strip(struct dw_pass *p, const struct dw_layout *l, int tile_row, int block_row,
                       uint64_t *blocks)
{
    for (int col = 0; col < l->cols; col++)
        fold_sums(p, l, l->tile_x[col], l->tile_x[col + 1], p->tile[tile_row * l->cols + col].sum);
    for (int b = 0; block_row < l->thumb_height && b < l->thumb_width; b++)
        fold_sums(p, l, b * l->block, (b + 1) * l->block, blocks + 3 * b);
    memset(p->sum, 0, (size_t)l->vp * row_room(l) * sizeof *p->sum);
}

static void fold_counts(struct dw_pass *p, const struct dw_layout *l, int tile_row)
{
    for (int col = 0; col < l->cols; col++) {
        struct dw_tile_sums *t = &p->tile[tile_row * l->cols + col];
        for (int i = l->tile_x[col] * l->spp; i < l->tile_x[col + 1] * l->spp; i++) {
            t->high += p->high[i];
            t->low += p->low[i];
        }
    }
    memset(p->high, 0, row_room(l) * sizeof(uint16_t));
    memset(p->low, 0, row_room(l) * sizeof(uint16_t));
}

static void finish_block_row(struct dw_pass *p, const struct dw_layout *l, int block_row,
                             uint64_t *blocks)
{
    double n[3] = {0};
    for (int r = 0; r < l->vp; r++) {
        for (int s = 0; s < l->hp; s++)
            n[l->colour[r][s]] += (double)l->block * l->block * l->spp / (l->hp * l->vp);
    }
    for (int b = 0; b < l->thumb_width; b++) {
        float *out = p->thumb + ((size_t)block_row * (size_t)l->thumb_width + (size_t)b) * 3;
        for (int c = 0; c < 3; c++)
            out[c] = n[c] > 0 ? (float)((double)blocks[3 * b + c] / n[c]) : NAN;
    }
    memset(blocks, 0, (size_t)l->thumb_width * 3 * sizeof *blocks);
}

/* ---- thresholds along a row ---- */

static void spread_dark(struct dw_pass *p, const struct dw_layout *l, const uint16_t dark[3])
{
    for (int r = 0; r < l->vp; r++) {
        uint16_t *row = p->dark + (size_t)r * row_room(l);
        for (int i = 0, s = 0; i < l->samples; i++, s = s + 1 == l->hp ? 0 : s + 1)
            row[i] = dark[l->colour[r][s]];
    }
}

static void spread_limits(struct dw_pass *p, const struct dw_layout *l,
                          const struct dw_spot_limits *spot)
{
    for (int r = 0; r < l->vp; r++) {
        uint16_t *row = p->limit + (size_t)r * row_room(l);
        for (int col = 0; col < l->cols; col++) { /* a tile begins where the colours do */
            int from = l->tile_x[col] * l->spp, to = l->tile_x[col + 1] * l->spp;
            for (int i = from, s = 0; i < to; i++, s = s + 1 == l->hp ? 0 : s + 1)
                row[i] = spot[col].dn[l->colour[r][s]];
        }
    }
}

/* Of a run that holds a spot: which samples may be it. */
static bool stands_out(int v, int up, int down, int left, int right, int limit)
{
    int low1 = up < down ? up : down, low2 = left < right ? left : right;
    int high1 = up < down ? down : up, high2 = left < right ? right : left;
    return v > limit + (low1 > low2 ? low1 : low2) || v < (high1 < high2 ? high1 : high2) - limit;
}

/* Spots of one row among samples from .. to - 1. At the rim of the picture, where a neighbour of
 * the same colour is missing, the one opposite speaks for it. */
static enum dw_status find_between(struct dw_pass *p, const struct dw_layout *l,
                                   const struct dw_mosaic *m, int y, int from, int to,
                                   const struct dw_spot_rule *rule, struct dw_spots *spots,
                                   struct dw_error *err)
{
    const uint16_t *limit = p->limit + (size_t)(y % l->vp) * row_room(l);
    const uint16_t *row = m->px + (size_t)y * (size_t)l->stride;
    for (int i = from; i < to; i++) {
        struct dw_spot_sides b = dw_spot_sides(l, i, y);
        if (!stands_out(row[i], row[i + b.up], row[i + b.down], row[i + b.left], row[i + b.right],
                        limit[i]))
            continue;
        enum dw_status s = dw_spots_look(spots, l, m, rule, i, y, err);
        if (s < 0)
            return s;
    }
    return DW_OK;
}

static enum dw_status find_spots(struct dw_pass *p, const struct dw_layout *l,
                                 const struct dw_mosaic *m, int y, const struct dw_spot_rule *rule,
                                 struct dw_spots *spots, struct dw_error *err)
{
    const int n = l->samples, dx = l->step_x;
    if (n < 2 * dx || l->height < 2 * l->step_y)
        return DW_OK;
    if (y < l->step_y || y + l->step_y >= l->height)
        return find_between(p, l, m, y, 0, n, rule, spots, err);
    const uint16_t *row = m->px + (size_t)y * (size_t)l->stride;
    const ptrdiff_t dy = (ptrdiff_t)l->step_y * l->stride;
    const size_t phase = (size_t)(y % l->vp) * row_room(l);
    const uint16_t *limit = p->limit + phase, *dark = p->dark + phase;
    p->k->spots(row - dy, row, row + dy, (size_t)n, (size_t)dx, limit, dark, p->hit);
    enum dw_status s = find_between(p, l, m, y, 0, dx, rule, spots, err);
    for (int run = 0; run * DW_HIT_RUN < n && s >= 0; run++) {
        if (!p->hit[run])
            continue;
        int from = run * DW_HIT_RUN, to = from + DW_HIT_RUN;
        from = from < dx ? dx : from;
        to = to > n - dx ? n - dx : to;
        s = find_between(p, l, m, y, from, to, rule, spots, err);
    }
    return s < 0 ? s : find_between(p, l, m, y, n - dx, n, rule, spots, err);
}

/* ---- the pass ---- */

/* Everything that the second row of cell row `cell` completes. */
static void take_cells(struct dw_pass *p, const struct dw_layout *l, const struct dw_mosaic *m,
                       int cell)
{
    size_t room = cell_room(l);
    float *g[3]; /* cell rows cell - 2, cell - 1, cell */
    for (int k = 0; k < 3; k++)
        g[k] = p->green + (size_t)((cell + 1 + k) % 3) * room;
    read_cells(p, l, m, cell, g[2]);
    if (cell >= 2) { /* detail is that of the row above, which may lie in the tile row above */
        p->k->detail(g[0], g[1], g[2], (size_t)l->width / 2, p->energy);
        p->energy_rows++;
        int above = dw_layout_find(l->tile_y, l->rows, 2 * (cell - 1));
        if (2 * cell == l->tile_y[above + 1])
            fold_fine(p, l, above);
    }
    if (cell % 3 == 2)
        add_bins(p, l, cell / 3);
}

enum dw_status dw_pass_run(struct dw_pass *p, const struct dw_layout *l, const struct dw_mosaic *m,
                           const struct dw_thresholds *t, struct dw_spots *spots,
                           struct dw_error *err)
{
    memset(p->tile, 0, (size_t)l->cols * (size_t)l->rows * sizeof *p->tile);
    uint64_t *blocks = calloc((size_t)l->thumb_width * 3 + 1, sizeof *blocks);
    if (!blocks)
        return dw_fail(err, DW_ERR_MEMORY, "survey: no memory for a thumbnail");
    spread_dark(p, l, t->dark);
    enum dw_status s = DW_OK;
    int tile_row = -1, block_row = 0;
    for (int y = 0; y < l->height && s >= 0; y++) {
        int now = dw_layout_find(l->tile_y, l->rows, y);
        if (now != tile_row) {
            tile_row = now;
            spread_limits(p, l, t->limits + tile_row * l->cols);
            count_samples(p, l, tile_row, l->tile_y[tile_row + 1] - l->tile_y[tile_row]);
        }
        int phase = y % l->vp;
        p->k->levels(m->px + (size_t)y * (size_t)l->stride, (size_t)l->samples, t->clip,
                     p->dark + (size_t)phase * row_room(l), p->sum + (size_t)phase * row_room(l),
                     p->high, p->low);
        s = find_spots(p, l, m, y, t->rule, spots, err);
        if (y % 2 == 1)
            take_cells(p, l, m, y / 2);
        bool tile_ends = y + 1 == l->tile_y[tile_row + 1];
        bool block_ends = y + 1 == (block_row + 1) * l->block;
        if (tile_ends || block_ends)
            fold_strip(p, l, tile_row, block_row, blocks);
        if (tile_ends)
            fold_counts(p, l, tile_row);
        if (block_ends) {
            if (block_row < l->thumb_height)
                finish_block_row(p, l, block_row, blocks);
            block_row++;
        }
    }
    if (tile_row >= 0)
        fold_fine(p, l, tile_row);
    free(blocks);
    return s;
}
