/* clipped.c: see clipped.h. */
#include "render/clipped.h"

#include "render/coarse.h"
#include "render/kernels/fastmath.h"

#include <string.h>

#define TILES_ALONG 64
#define SMALLEST_TILE 4 /* cells */
#define SAMPLES_ALONG 8 /* rows of a tile that are looked at, beside those that saturate */
#define NEAR 2          /* cells: so far resampling and a lens carry saturated light */
#define BRIGHT_FROM                                                                                \
    0.3f /* level of the highest channel, 1 = saturation: what is darker is another */
#define BRIGHT_SCALE 2.0f /* thing than the light that saturates; 1 / how much more counts wholly  \
                           */
#define GREEN_LOST 4.0f   /* weight of light of which green alone is lost */
#define LINE_PRIOR 20.0   /* pixels, and pixels squared stops of colour */
#define LINE_STEEPEST 0.5
#define LINE_FARTHEST 0.5 /* stops */
#define FAINTEST 0.1f     /* lowest channel of a colour that is believed */
#define PRIOR 1.0f        /* pixels: weight of the wider surroundings */
#define LEVELS 8          /* of halving; there are never 128 tiles along a side */

struct sums {
    float weight, rgb[3];
};

struct level {
    int cols, rows;
    struct sums *sum;
};

static int tiles_for(int pixels, int tile)
{
    int n = (pixels + tile / 2) / tile;
    return n < 1 ? 1 : n;
}

/* The coarser levels lie behind the finest in c->sums; returns how many there are. */
static int levels_of(const struct dw_clipped *c, struct level level[LEVELS], size_t *all)
{
    struct sums *at = c->sums.p;
    int n = 0, cols = c->cols, rows = c->rows;
    *all = 0;
    for (;;) {
        level[n] = (struct level){cols, rows, at ? at + *all : NULL};
        *all += (size_t)cols * (size_t)rows;
        if (++n == LEVELS || (cols == 1 && rows == 1))
            return n;
        cols = (cols + 1) / 2;
        rows = (rows + 1) / 2;
    }
}

static enum dw_status make_room(struct dw_clipped *c, const struct dw_cells *cells,
                                struct dw_error *err)
{
    int longer = cells->width > cells->height ? cells->width : cells->height;
    int tile = longer / TILES_ALONG;
    tile = tile < SMALLEST_TILE ? SMALLEST_TILE : tile;
    c->width = cells->width;
    c->height = cells->height;
    c->cols = tiles_for(c->width, tile);
    c->rows = tiles_for(c->height, tile);
    struct level level[LEVELS];
    size_t all, tiles = (size_t)c->cols * (size_t)c->rows;
    levels_of(c, level, &all);
    if (!dw_grow(&c->map, (size_t)c->width * (size_t)c->height) ||
        !dw_grow(&c->lost, tiles * sizeof(struct sums)) ||
        !dw_grow(&c->sums, all * sizeof(struct sums)) ||
        !dw_grow(&c->colour, 3 * tiles * sizeof(float)) ||
        !dw_grow(&c->line, ((size_t)c->cols + 4 * (size_t)c->width) * sizeof(float)))
        return dw_fail(err, DW_ERR_MEMORY, "no memory for the colours about clipped light");
    memset(c->sums.p, 0, all * sizeof(struct sums));
    memset(c->lost.p, 0, tiles * sizeof(struct sums));
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
        for (int v = y > NEAR ? y - NEAR : 0; v <= y + NEAR && v < c->height; v++)
            marked[v] = true;
    }
    return any;
}

static float ramp(float x, float from, float scale)
{
    float t = (x - from) * scale;
    return t < 0 ? 0 : t > 1 ? 1 : t;
}

/* How much a channel of a cell is saturated. */
static float share_of(const struct dw_develop *d, int channel, float raw, float peak)
{
    float at = channel == 1 ? peak : raw * d->mul[channel];
    return ramp(at, d->clip_start[channel], d->clip_scale[channel]);
}

/* Notes all cells about those of row y that saturate: an edge there is a mixture of something dark
 * with light whose green is lost, and magenta. */
static void note_row(struct dw_clipped *c, const struct dw_develop *d, int y, float *const rgb[3],
                     const float *peak)
{
    unsigned char *map = c->map.p;
    int up = y > NEAR ? y - NEAR : 0, down = y + NEAR < c->height ? y + NEAR : c->height - 1;
    for (int x = 0; x < c->width; x++) {
        bool clips = false;
        for (int k = 0; k < 3; k++)
            clips = clips || share_of(d, k, rgb[k][x], peak[x]) > 0;
        int left = x > NEAR ? x - NEAR : 0, right = x + NEAR < c->width ? x + NEAR : c->width - 1;
        for (int v = up; clips && v <= down; v++)
            memset(map + (size_t)v * (size_t)c->width + left, 1, (size_t)(right - left + 1));
    }
}

/* How far green stands above the mean of red and blue, in logarithms, against how far red stands
 * above blue: sums of a straight line's fit over all light that was measured. Where green alone is
 * lost, the line tells it from the other two: a reddening sky loses green faster than it turns. */
struct line_fit {
    double n, x, y, xx, xy;
};

static void fit_add(struct line_fit *f, float w, const float v[3])
{
    if (!(v[0] > 0 && v[1] > 0 && v[2] > 0))
        return;
    double r = (double)dwk_log2(v[0]), g = (double)dwk_log2(v[1]), b = (double)dwk_log2(v[2]);
    double x = r - b, y = g - (r + b) / 2, weight = (double)w;
    f->n += weight;
    f->x += weight * x;
    f->y += weight * y;
    f->xx += weight * x * x;
    f->xy += weight * x * y;
}

/* Green from red and blue. The line is drawn towards y = 0 by a few pixels of no colour. */
static float fit_green(const struct line_fit *f, float red, float blue)
{
    if (!(red > 0 && blue > 0))
        return 0.5f * (red + blue);
    double n = f->n + LINE_PRIOR, det = n * (f->xx + LINE_PRIOR) - f->x * f->x;
    double slope = (n * f->xy - f->x * f->y) / det, at = (f->y - slope * f->x) / n;
    slope = slope < -LINE_STEEPEST ? -LINE_STEEPEST : slope > LINE_STEEPEST ? LINE_STEEPEST : slope;
    double r = (double)dwk_log2(red), b = (double)dwk_log2(blue), y = at + slope * (r - b);
    y = y < -LINE_FARTHEST ? -LINE_FARTHEST : y > LINE_FARTHEST ? LINE_FARTHEST : y;
    return dwk_exp2((float)((r + b) / 2 + y));
}

/* Adds what of a row of cells, not yet balanced, tells a colour: bright light that was measured
 * well away from any that was not, and light of which green alone was lost. That lies nearest to
 * light that is lost wholly, so it weighs more. */
static void gather(struct dw_clipped *c, const struct dw_develop *d, int y, float *const rgb[3],
                   const float *peak, struct line_fit *fit)
{
    size_t first = (size_t)((long)y * c->rows / c->height) * (size_t)c->cols;
    struct sums *measured = (struct sums *)c->sums.p + first;
    struct sums *lost = (struct sums *)c->lost.p + first;
    const unsigned char *near = (unsigned char *)c->map.p + (size_t)y * (size_t)c->width;
    for (int x = 0; x < c->width; x++) {
        float v[3], level = peak[x], green = share_of(d, 1, 0, peak[x]);
        if (near[x] && green < 1)
            continue;
        float w = green < 1 ? 1 : GREEN_LOST;
        for (int k = 0; k < 3; k++) {
            v[k] = rgb[k][x] * d->mul[k];
            level = rgb[k][x] > level ? rgb[k][x] : level;
            w *= k == 1 ? 1 : 1 - share_of(d, k, rgb[k][x], peak[x]);
        }
        float bright = ramp(level, BRIGHT_FROM, BRIGHT_SCALE);
        w *= bright * bright;
        if (!(w > 0))
            continue;
        struct sums *t = &(green < 1 ? measured : lost)[(long)x * c->cols / c->width];
        t->weight += w;
        for (int k = 0; k < 3; k++)
            t->rgb[k] += w * v[k];
        if (green < 1)
            fit_add(fit, w, v);
    }
}

static void add_lost(struct dw_clipped *c, const struct line_fit *fit)
{
    struct sums *all = c->sums.p, *lost = c->lost.p;
    for (int i = 0; i < c->cols * c->rows; i++) {
        float green = fit_green(fit, lost[i].rgb[0], lost[i].rgb[2]);
        all[i].weight += lost[i].weight;
        all[i].rgb[0] += lost[i].rgb[0];
        all[i].rgb[1] += green > lost[i].rgb[1] ? green : lost[i].rgb[1];
        all[i].rgb[2] += lost[i].rgb[2];
    }
}

/* Each coarser tile is the sum of four. */
static void collect(const struct level *fine, const struct level *coarse)
{
    for (int y = 0; y < fine->rows; y++)
        for (int x = 0; x < fine->cols; x++) {
            const struct sums *from = &fine->sum[y * fine->cols + x];
            struct sums *to = &coarse->sum[y / 2 * coarse->cols + x / 2];
            to->weight += from->weight;
            for (int k = 0; k < 3; k++)
                to->rgb[k] += from->rgb[k];
        }
}

/* A colour from its sums: the largest channel 1, none below FAINTEST. */
static void normalise(const float rgb[3], float out[3])
{
    float most = rgb[0] > rgb[1] ? rgb[0] : rgb[1];
    most = rgb[2] > most ? rgb[2] : most;
    for (int k = 0; k < 3; k++) {
        float v = most > 0 ? rgb[k] / most : 1;
        out[k] = v > FAINTEST ? v : FAINTEST;
    }
}

/* Index of the lower of two coarse tiles about a fine one, and the other's share. */
static int between(int fine, int coarse, float *share)
{
    float at = ((float)fine + 0.5f) / 2 - 0.5f;
    int i = at < 0 ? 0 : (int)at;
    if (i > coarse - 2)
        i = coarse > 1 ? coarse - 2 : 0;
    *share = ramp(at, (float)i, 1);
    return i;
}

/* Gives every tile, beside what it has, PRIOR of the colour of its wider surroundings. `coarse`
 * holds finished colours already: sums of weight one. */
static void spread(const struct level *fine, const struct level *coarse)
{
    for (int y = 0; y < fine->rows; y++)
        for (int x = 0; x < fine->cols; x++) {
            float p, q, wide[3], mean[3];
            int i = between(x, coarse->cols, &p), j = between(y, coarse->rows, &q);
            int right = coarse->cols > 1, below = coarse->rows > 1 ? coarse->cols : 0;
            const struct sums *at = &coarse->sum[j * coarse->cols + i];
            struct sums *t = &fine->sum[y * fine->cols + x];
            for (int k = 0; k < 3; k++)
                wide[k] = (1 - q) * ((1 - p) * at[0].rgb[k] + p * at[right].rgb[k]) +
                          q * ((1 - p) * at[below].rgb[k] + p * at[below + right].rgb[k]);
            normalise(t->rgb, mean);
            for (int k = 0; k < 3; k++)
                mean[k] = t->weight > 0 ? (t->weight * mean[k] + PRIOR * wide[k]) : wide[k];
            normalise(mean, t->rgb);
        }
}

static void fill(struct dw_clipped *c)
{
    struct level level[LEVELS];
    size_t all, tiles = (size_t)c->cols * (size_t)c->rows;
    int n = levels_of(c, level, &all);
    for (int i = 0; i + 1 < n; i++)
        collect(&level[i], &level[i + 1]);
    const struct level *top = &level[n - 1];
    for (int i = 0; i < top->cols * top->rows; i++) {
        for (int k = 0; k < 3; k++) /* white is neutral in balanced channels */
            top->sum[i].rgb[k] += PRIOR;
        normalise(top->sum[i].rgb, top->sum[i].rgb);
    }
    for (int i = n - 2; i >= 0; i--)
        spread(&level[i], &level[i + 1]);
    for (size_t i = 0; i < tiles; i++)
        for (size_t k = 0; k < 3; k++)
            ((float *)c->colour.p)[k * tiles + i] = level[0].sum[i].rgb[k];
}

enum dw_status dw_clipped_learn(struct dw_clipped *c, struct dw_cells *cells,
                                const struct dw_develop *d, struct dw_error *err)
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
    float *row = (float *)c->line.p + c->cols;
    size_t w = (size_t)c->width;
    float *const rgb[3] = {row, row + w, row + 2 * w}, *peak = row + 3 * w;
    for (int y = 0; y < c->height; y++)
        if (marked[y]) {
            dw_cells_row(cells, y, rgb, peak);
            note_row(c, d, y, rgb, peak);
        }
    int tile = c->height / c->rows, step = tile > SAMPLES_ALONG ? tile / SAMPLES_ALONG : 1,
        last = -1;
    struct line_fit line = {0};
    for (int y = 0; y < c->height; y++) { /* no farther than a tile from what is saturated */
        for (int v = last < y ? y : last + 1; v <= y + tile && v < c->height; v++)
            last = marked[v] ? v : last;
        if (last < 0 || y - last > tile || (y % step && !marked[y]))
            continue;
        dw_cells_row(cells, y, rgb, peak);
        gather(c, d, y, rgb, peak, &line);
    }
    add_lost(c, &line);
    fill(c);
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

void dw_clipped_row(struct dw_clipped *c, int y, int width, int height, float *const out[3])
{
    size_t tiles = (size_t)c->cols * (size_t)c->rows;
    for (size_t k = 0; k < 3; k++)
        dw_coarse_row((const float *)c->colour.p + k * tiles, c->cols, c->rows, y, width, height,
                      c->line.p, out[k]);
}

void dw_clipped_free(struct dw_clipped *c)
{
    dw_grow_free(&c->marked);
    dw_grow_free(&c->map);
    dw_grow_free(&c->lost);
    dw_grow_free(&c->sums);
    dw_grow_free(&c->colour);
    dw_grow_free(&c->line);
}
