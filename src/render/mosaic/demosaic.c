/* demosaic.c: the window over the rows of a mosaic; the sums are in kernels/demosaic.c.
 *
 * Method. "Site" is a sample of red or blue; every row has sites of one colour only.
 * 1. Green at a site is estimated along the row and along the column: the smoothed green of that
 *    line, and the curvature of the site's own colour, as detail is common to all colours. The two
 *    are fused by their expected errors, taken from how much the difference of the colours varies
 *    along each direction in 5x5 samples (Zhang & Wu 2005; Chung & Chan 2006). A soft share, not a
 *    choice: noise then makes no maze of strokes.
 * 2. How strongly the own colour's detail shows in green is no constant. For a blue star of which
 *    red is the half it is one half, and a plain colour difference would put a false ring about
 *    it. So the ratio of contrasts of the two over 5x5 sites gives a slope (after Kiku et al.
 *    2013, who fit a line and interpolate what is left), pulled towards 1 by some caution.
 * 3. Red at blue sites and blue at red ones: residuals and slopes of the four diagonal sites, the
 *    diagonal that changes less counting more; then both at the green samples from the four sites
 *    about them, with the shares of step 1.
 * 4. Limits, for what no fit foresees: green keeps near the range of its neighbours, and no colour
 *    falls by more than half below the lowest of its own (beside bright, steep stars). In noise
 *    about no light at all this lifts red and blue by up to 0.04 of its sigma.
 * Everything reproduces a plane exactly, and keeps measured samples. */
#include "render/mosaic/demosaic.h"

#include <stdbool.h>
#include <string.h>

/* Rows that are held, per kind. */
enum {
    MOSAIC_ROWS = 10,  /* even, odd */
    ACTIVITY_ROWS = 5, /* across even, across odd, down even, down odd */
    CONTRAST_ROWS = 9, /* of green, of the own colour */
    SITE_ROWS = 4,     /* green, residual, slope, share */
    OTHER_ROWS = 3,    /* colour, residual, slope */
    SCRATCH_ROWS = 4,

    MOSAIC_AT = 0,
    ACTIVITY_AT = MOSAIC_AT + 2 * MOSAIC_ROWS,
    CONTRAST_AT = ACTIVITY_AT + 4 * ACTIVITY_ROWS,
    SITE_AT = CONTRAST_AT + 2 * CONTRAST_ROWS,
    OTHER_AT = SITE_AT + 4 * SITE_ROWS,
    SCRATCH_AT = OTHER_AT + 3 * OTHER_ROWS,
    ALL_ROWS = SCRATCH_AT + SCRATCH_ROWS
};

/* A step of the method runs so many rows behind the front, which is as soon as it can. */
enum { CONTRAST_LAG = 2, ACTIVITY_LAG = 4, GREEN_LAG = 6, OTHER_LAG = 7, FINISH_LAG = 8 };

/* Half rows: what a step reads beyond the cells of a row, and the room that is kept there. */
enum { READ_CELLS = 5, LEAD = 8, TRAIL = 16 };

static size_t vectors(size_t n)
{
    return (n + 7) & ~(size_t)7;
}

static size_t cells_of(int width)
{
    return (size_t)(width + 1) / 2;
}

size_t dw_demosaic_space(int width)
{
    return (size_t)ALL_ROWS * (LEAD + vectors(cells_of(width)) + TRAIL);
}

/* The half row of kind `kind` of row y in a ring of `rows` rows that begins at row `at`. */
static float *ring(const struct dw_demosaic *d, int at, int rows, int kinds, int y, int kind)
{
    int slot = (y + 16 * rows) % rows; /* y may be a few rows above the frame */
    return d->space + (size_t)(at + slot * kinds + kind) * d->stride + LEAD;
}

static float *mosaic_row(const struct dw_demosaic *d, int y, int odd)
{
    return ring(d, MOSAIC_AT, MOSAIC_ROWS, 2, y, odd);
}

static float *activity_row(const struct dw_demosaic *d, int y, int down, int odd)
{
    return ring(d, ACTIVITY_AT, ACTIVITY_ROWS, 4, y, 2 * down + odd);
}

static float *contrast_row(const struct dw_demosaic *d, int y, int own)
{
    return ring(d, CONTRAST_AT, CONTRAST_ROWS, 2, y, own);
}

enum site_kind { GREEN, RESIDUAL, SLOPE, SHARE };

static float *site_row(const struct dw_demosaic *d, int y, enum site_kind kind)
{
    return ring(d, SITE_AT, SITE_ROWS, 4, y, (int)kind);
}

/* GREEN: here the other colour itself. */
static float *other_row(const struct dw_demosaic *d, int y, enum site_kind kind)
{
    return ring(d, OTHER_AT, OTHER_ROWS, 3, y, (int)kind);
}

static float *scratch_row(const struct dw_demosaic *d, int i)
{
    return ring(d, SCRATCH_AT, SCRATCH_ROWS, 1, i, 0);
}

/* 0 if the sites of row y are in its even columns, 1 if in its odd ones. */
static int site_column(const struct dw_demosaic *d, int y)
{
    return d->source.pattern[(y & 1) * 2] == 1;
}

/* Edges are mirrored about the outermost sample, which keeps the phase of the pattern. */
static int mirror(int i, int n)
{
    while (i < 0 || i >= n)
        i = i < 0 ? -i : 2 * (n - 1) - i;
    return i;
}

void dw_demosaic_start(struct dw_demosaic *d, const struct dw_demosaic_kernels *k,
                       const struct dw_demosaic_source *source, float *space)
{
    *d = (struct dw_demosaic){.k = k, .source = *source, .space = space};
    d->cells = vectors(cells_of(source->width));
    d->stride = LEAD + d->cells + TRAIL;
    d->front = -FINISH_LAG - 1;
    /* Whole vectors are worked on; what is in them beyond the row is never used, but must not be
     * such that it makes arithmetic slow. */
    memset(space, 0, dw_demosaic_space(source->width) * sizeof *space);
}

/* Cell i, of which at least one column is outside the frame. */
static void mirror_cell(float *even, float *odd, int i, int w)
{
    int x = 2 * i;
    if (x < 0 || x >= w)
        even[i] = even[mirror(x, w) / 2];
    if (x + 1 < 0 || x + 1 >= w)
        odd[i] = odd[mirror(x + 1, w) / 2];
}

static void read_row(struct dw_demosaic *d, int y)
{
    int w = d->source.width;
    float *even = mosaic_row(d, y, 0), *odd = mosaic_row(d, y, 1);
    d->source.row(d->source.ctx, mirror(y, d->source.height), even, odd);
    for (int i = -READ_CELLS; i < 0; i++)
        mirror_cell(even, odd, i, w);
    for (int i = w / 2; i < (int)cells_of(w) + READ_CELLS; i++)
        mirror_cell(even, odd, i, w);
}

static struct dw_demosaic_site site_at(const struct dw_demosaic *d, int y, ptrdiff_t from)
{
    int p = site_column(d, y);
    const float *beside = mosaic_row(d, y, 1 - p) + from;
    struct dw_demosaic_site s = {
        .colour = mosaic_row(d, y, p) + from, .left = beside - 1 + p, .right = beside + p};
    for (int i = 0; i < 3; i++) {
        s.up[i] = mosaic_row(d, y - i - 1, p) + from;
        s.down[i] = mosaic_row(d, y + i + 1, p) + from;
    }
    return s;
}

static void contrast_step(struct dw_demosaic *d, int y)
{
    float *raw[2] = {scratch_row(d, 0), scratch_row(d, 1)};
    struct dw_demosaic_site s = site_at(d, y, -4);
    d->k->contrast(&s, d->cells + 8, raw[0] - 4, raw[1] - 4);
    for (int own = 0; own < 2; own++)
        d->k->spread(raw[own] - 2, d->cells + 8, contrast_row(d, y, own) - 2);
}

static void activity_step(struct dw_demosaic *d, int y)
{
    const float *even[7], *odd[7];
    for (int i = 0; i < 7; i++) {
        even[i] = mosaic_row(d, y - 3 + i, 0) - 3;
        odd[i] = mosaic_row(d, y - 3 + i, 1) - 3;
    }
    float *raw[4];
    for (int i = 0; i < 4; i++)
        raw[i] = scratch_row(d, i);
    d->k->activity(even, odd, d->cells + 8, raw[0] - 3, raw[1] - 3, raw[2] - 3, raw[3] - 3);
    for (int down = 0; down < 2; down++)
        d->k->gather(raw[2 * down] - 2, raw[2 * down + 1] - 2, d->cells + 8,
                     activity_row(d, y, down, 0) - 2, activity_row(d, y, down, 1) - 2);
}

static void green_step(struct dw_demosaic *d, int y)
{
    int p = site_column(d, y);
    for (int i = 0; i < 4; i++) {
        const float *row[5];
        for (int j = 0; j < 5; j++)
            row[j] = (i < 2 ? activity_row(d, y + j - 2, i, p)
                            : contrast_row(d, y + 2 * (j - 2), i - 2)) -
                     2;
        d->k->stack(row, d->cells + 8, scratch_row(d, i) - 2);
    }
    struct dw_demosaic_site s = site_at(d, y, -2);
    d->k->green(&s, scratch_row(d, 0) - 2, scratch_row(d, 1) - 2, scratch_row(d, 2) - 2,
                scratch_row(d, 3) - 2, d->cells + 8, site_row(d, y, GREEN) - 2,
                site_row(d, y, RESIDUAL) - 2, site_row(d, y, SLOPE) - 2, site_row(d, y, SHARE) - 2);
}

static void other_step(struct dw_demosaic *d, int y)
{
    int p = site_column(d, y);
    struct dw_demosaic_fit fit[4];
    for (int i = 0; i < 4; i++) {
        int v = i < 2 ? y - 1 : y + 1;
        ptrdiff_t u = -1 + p - (i % 2 == 0);
        fit[i] = (struct dw_demosaic_fit){site_row(d, v, RESIDUAL) + u, site_row(d, v, SLOPE) + u,
                                          mosaic_row(d, v, site_column(d, v)) + u,
                                          site_row(d, v, GREEN) + u};
    }
    d->k->diagonal(fit, site_row(d, y, GREEN) - 1, d->cells + 8, other_row(d, y, GREEN) - 1,
                   other_row(d, y, RESIDUAL) - 1, other_row(d, y, SLOPE) - 1);
}

/* Row v as it looks from a green sample of another row or column: of the colour of its own sites
 * or of the other one, from cell `from` on. */
static struct dw_demosaic_fit fit_of(const struct dw_demosaic *d, int v, bool own, ptrdiff_t from)
{
    if (own)
        return (struct dw_demosaic_fit){site_row(d, v, RESIDUAL) + from,
                                        site_row(d, v, SLOPE) + from,
                                        mosaic_row(d, v, site_column(d, v)) + from, NULL};
    return (struct dw_demosaic_fit){other_row(d, v, RESIDUAL) + from, other_row(d, v, SLOPE) + from,
                                    other_row(d, v, GREEN) + from, NULL};
}

/* A colour at the green samples of row y: that of the row's own sites, or the other one. */
static void straight_step(struct dw_demosaic *d, int y, bool own, const float *share, float *colour)
{
    int p = site_column(d, y);
    struct dw_demosaic_fit fit[4] = {fit_of(d, y, own, -p), fit_of(d, y, own, 1 - p),
                                     fit_of(d, y - 1, !own, 0), fit_of(d, y + 1, !own, 0)};
    d->k->straight(fit, share, mosaic_row(d, y, 1 - p), d->cells, colour);
}

static void finish_step(struct dw_demosaic *d, int y, float *const rgb[3])
{
    int p = site_column(d, y);
    float *share = scratch_row(d, 0), *own = scratch_row(d, 1), *other = scratch_row(d, 2);
    d->k->between(site_row(d, y, SHARE) - p, site_row(d, y, SHARE) + 1 - p,
                  site_row(d, y - 1, SHARE), site_row(d, y + 1, SHARE), d->cells, share);
    straight_step(d, y, true, share, own);
    straight_step(d, y, false, share, other);

    int colour = d->source.pattern[(y & 1) * 2 + p];
    const float *at_site[3], *at_green[3];
    at_site[1] = site_row(d, y, GREEN);
    at_green[1] = mosaic_row(d, y, 1 - p);
    at_site[colour] = mosaic_row(d, y, p);
    at_green[colour] = own;
    at_site[2 - colour] = other_row(d, y, GREEN);
    at_green[2 - colour] = other;
    int width = d->source.width;
    for (int c = 0; c < 3; c++) {
        const float *even = p == 0 ? at_site[c] : at_green[c];
        const float *odd = p == 0 ? at_green[c] : at_site[c];
        d->k->join(even, odd, (size_t)width / 2, rgb[c]);
        if (width % 2)
            rgb[c][width - 1] = even[width / 2];
    }
}

void dw_demosaic_next(struct dw_demosaic *d, float *const rgb[3])
{
    int y;
    do { /* only the first row takes more than one turn */
        y = ++d->front - FINISH_LAG;
        read_row(d, d->front);
        /* Rows further up than these would read rows that were never there. */
        if (d->front - CONTRAST_LAG >= -6)
            contrast_step(d, d->front - CONTRAST_LAG);
        if (d->front - ACTIVITY_LAG >= -5)
            activity_step(d, d->front - ACTIVITY_LAG);
        if (d->front - GREEN_LAG >= -2)
            green_step(d, d->front - GREEN_LAG);
        if (d->front - OTHER_LAG >= -1)
            other_step(d, d->front - OTHER_LAG);
    } while (y < 0);
    finish_step(d, y, rgb);
}
