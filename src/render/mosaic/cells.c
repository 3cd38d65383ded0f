/* cells.c: see cells.h. */
#include "render/mosaic/cells.h"

enum dw_status dw_cells_open(struct dw_cells *c, struct dw_samples *s, const struct dw_geometry *g,
                             struct dw_error *err)
{
    c->s = s;
    c->width = g->cells_w;
    c->height = g->cells_h;
    c->cell = g->cell;
    c->stride = (size_t)c->width + 2; /* one sample repeated at either end */
    for (int i = 0; i < 4; i++)
        c->held[i] = -1;
    if (s->m->cfa == DW_CFA_BAYER && !dw_grow(&c->ring, 8 * c->stride * sizeof(float)))
        return dw_fail(err, DW_ERR_MEMORY, "no memory for rows of %d cells", c->width);
    return DW_OK;
}

void dw_cells_free(struct dw_cells *c)
{
    dw_grow_free(&c->ring);
}

/* Puts the repaired values of hot pixels into a row that was split as it was recorded: cheaper than
 * a copy of every row that holds one. */
static void repair_row(const struct dw_cells *c, int row, float *even, float *odd)
{
    const struct dw_samples *s = c->s;
    for (uint32_t i = s->hot.row[row]; i < s->hot.row[row + 1]; i++) {
        const struct dw_hot_repair *r = &s->hot.repair[i];
        int colour = dw_samples_colour(s, r->x, row), at = r->x / 2;
        float v = ((float)dw_hot_value(s->m, r, row, 0) - s->black[colour]) * s->scale[colour];
        if (at < c->width)
            (r->x % 2 ? odd : even)[at] = v;
    }
}

/* The even (col 0) or odd (col 1) samples of a mosaic row; [-1] and [width] may be read. */
static const float *split_row(struct dw_cells *c, int row, int col)
{
    int slot = row & 3;
    float *even = (float *)c->ring.p + (size_t)(2 * slot) * c->stride + 1, *odd = even + c->stride;
    if (c->held[slot] != row) {
        struct dw_samples *s = c->s;
        int a = dw_samples_colour(s, 0, row), b = dw_samples_colour(s, 1, row);
        size_t n = (size_t)c->width;
        s->k->mosaic->split(dw_samples_raw_row(s, row), n, (float[2]){s->black[a], s->black[b]},
                            (float[2]){s->scale[a], s->scale[b]}, even, odd);
        repair_row(c, row, even, odd);
        even[-1] = even[0];
        even[n] = even[n - 1];
        odd[-1] = odd[0];
        odd[n] = odd[n - 1];
        c->held[slot] = row;
    }
    return col ? odd : even;
}

/* The four rows that bring the colour at (col, row) of each cell to its centre. */
static void surround(struct dw_cells *c, int y, int col, int row, const float *out[4])
{
    int own = 2 * y + row, other = row ? own - 2 : own + 2;
    if (other < 0 || other >= 2 * c->height)
        other = own;
    const float *near = split_row(c, own, col), *far = split_row(c, other, col);
    int side = col ? -1 : 1;
    out[0] = near;
    out[1] = near + side;
    out[2] = far;
    out[3] = far + side;
}

static void bayer_row(struct dw_cells *c, int y, float *const rgb[3], float *peak)
{
    struct dw_cell_rows rows;
    int greens = 0;
    for (int i = 0; i < 4; i++) {
        int col = i & 1, row = i >> 1, colour = dw_samples_colour(c->s, col, row);
        if (colour == 0)
            surround(c, y, col, row, rows.red);
        else if (colour == 2)
            surround(c, y, col, row, rows.blue);
        else
            rows.green[greens++] = split_row(c, 2 * y + row, col);
    }
    c->s->k->mosaic->cell(&rows, (size_t)c->width, rgb[0], rgb[1], rgb[2], peak);
}

/* Adds one mosaic row into the sums of its cells. */
static void add_row(struct dw_cells *c, int y, float *const rgb[3], float *peak)
{
    struct dw_samples *s = c->s;
    const uint16_t *row = dw_samples_row(s, y);
    bool full = s->m->cfa == DW_CFA_RGB;
    for (int x = 0; x < c->width * c->cell; x++) {
        int at = x / c->cell;
        for (int k = 0; k < (full ? 3 : 1); k++) {
            int colour = full ? k : dw_samples_colour(s, x, y);
            float v = ((float)row[full ? 3 * x + k : x] - s->black[colour]) * s->scale[colour];
            rgb[colour][at] += v;
            if (colour == 1)
                peak[at] = v > peak[at] ? v : peak[at];
        }
    }
}

/* How many samples of each colour the cell at column x of row y holds. */
static void count_cell(const struct dw_cells *c, int x, int y, float count[3])
{
    count[0] = count[1] = count[2] = 0;
    for (int v = 0; v < c->cell; v++)
        for (int u = 0; u < c->cell; u++)
            count[dw_samples_colour(c->s, x * c->cell + u, y * c->cell + v)] += 1;
}

static void mean_row(struct dw_cells *c, int y, float *const rgb[3], float *peak)
{
    for (int x = 0; x < c->width; x++) {
        rgb[0][x] = rgb[1][x] = rgb[2][x] = 0;
        peak[x] = -1;
    }
    for (int v = 0; v < c->cell; v++)
        add_row(c, y * c->cell + v, rgb, peak);
    for (int x = 0; x < c->width; x++) {
        float n[3];
        count_cell(c, x, y, n);
        if (c->s->m->cfa == DW_CFA_RGB)
            n[0] = n[2] = n[1];
        for (int k = 0; k < 3; k++)
            rgb[k][x] /= n[k] > 0 ? n[k] : 1;
        if (c->s->m->cfa == DW_CFA_MONO)
            rgb[0][x] = rgb[2][x] = rgb[1][x];
    }
}

void dw_cells_row(struct dw_cells *c, int y, float *const rgb[3], float *peak)
{
    if (c->s->m->cfa == DW_CFA_BAYER)
        bayer_row(c, y, rgb, peak);
    else
        mean_row(c, y, rgb, peak);
}
