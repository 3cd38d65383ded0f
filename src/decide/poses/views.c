/* views.c: see views.h. */
#include "decide/poses/views.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define SIDE DW_PATCH_SIDE
#define CELLS DW_PATCH_CELLS
#define LANES 4
#define WIDE 6 /* the local mean is over 2*WIDE+1 cells, near the border over fewer */

/* Share of white noise's variance that smoothing by 1 4 6 4 1 leaves, both ways: (70/256)^2. */
#define NOISE_LEFT 0.0748f
/* A block shows structure when it varies by so many times the noise that is left, and by this share
 * of its light: a sensor's pixels differ by less once smoothed, and they stand still whatever the
 * camera does. */
#define OVER_NOISE 3.0f
#define CONTRAST 0.004f

/* Single bright cells (hot pixels, small stars) come down to the best pair of opposite neighbours;
 * edges and lines have such a pair and stay. */
static void clip_spots(const float *in, float *out)
{
    memcpy(out, in, CELLS * sizeof *out);
    for (int y = 1; y < SIDE - 1; y++) {
        const float *u = in + (y - 1) * SIDE, *m = u + SIDE, *d = m + SIDE;
        float *o = out + y * SIDE;
        for (int x = 1; x < SIDE - 1; x++) {
            float a = m[x - 1] < m[x + 1] ? m[x - 1] : m[x + 1];
            float b = u[x] < d[x] ? u[x] : d[x];
            float c = u[x - 1] < d[x + 1] ? u[x - 1] : d[x + 1];
            float e = u[x + 1] < d[x - 1] ? u[x + 1] : d[x - 1];
            a = a > b ? a : b;
            c = c > e ? c : e;
            a = a > c ? a : c;
            o[x] = m[x] < a ? m[x] : a;
        }
    }
}

static int inside(int i)
{
    return i < 0 ? 0 : i >= SIDE ? SIDE - 1 : i;
}

/* Binomial 1 4 6 4 1 over 16, down and across; the border repeats. work: CELLS. */
static void smooth(const float *in, float *work, float *out)
{
    for (int y = 0; y < SIDE; y++) {
        const float *a = in + inside(y - 2) * SIDE, *b = in + inside(y - 1) * SIDE,
                    *c = in + y * SIDE, *d = in + inside(y + 1) * SIDE,
                    *e = in + inside(y + 2) * SIDE;
        float *o = work + y * SIDE;
        for (int x = 0; x < SIDE; x++)
            o[x] = ((a[x] + e[x]) + 4 * (b[x] + d[x]) + 6 * c[x]) * 0.0625f;
    }
    for (int y = 0; y < SIDE; y++) {
        const float *r = work + y * SIDE;
        float *o = out + y * SIDE;
        for (int x = 2; x < SIDE - 2; x++)
            o[x] = ((r[x - 2] + r[x + 2]) + 4 * (r[x - 1] + r[x + 1]) + 6 * r[x]) * 0.0625f;
        for (int k = 0; k < 4; k++) {
            int x = k < 2 ? k : SIDE - 4 + k;
            o[x] = ((r[inside(x - 2)] + r[inside(x + 2)]) +
                    4 * (r[inside(x - 1)] + r[inside(x + 1)]) + 6 * r[x]) *
                   0.0625f;
        }
    }
}

/* So many cells to either side that the surround stays even about its middle at the border too: an
 * uneven one would make structure of the sky's slope. */
static int reach(int i)
{
    int near = i < SIDE - 1 - i ? i : SIDE - 1 - i;
    return near < WIDE ? near : WIDE;
}

/* Takes the mean of the surround off. work: CELLS. */
static void take_slow_off(float *v, float *work)
{
    double sum[SIDE] = {0};
    int first = 0,
        last = 0; /* sum holds rows first..last-1, added and taken off in a fixed order */
    for (int y = 0; y < SIDE; y++) {
        int r = reach(y);
        for (; last <= y + r; last++)
            for (int x = 0; x < SIDE; x++)
                sum[x] += (double)v[last * SIDE + x];
        for (; first < y - r; first++)
            for (int x = 0; x < SIDE; x++)
                sum[x] -= (double)v[first * SIDE + x];
        double share = 1.0 / (2 * r + 1);
        for (int x = 0; x < SIDE; x++)
            work[y * SIDE + x] = (float)(sum[x] * share);
    }
    /* across, in the same way: LANES rows side by side, as one alone would wait for its own sums */
    for (int y = 0; y < SIDE; y += LANES) {
        double before[SIDE + 1][LANES] = {{0}};
        for (int x = 0; x < SIDE; x++)
            for (int k = 0; k < LANES; k++)
                before[x + 1][k] = before[x][k] + (double)work[(y + k) * SIDE + x];
        for (int x = 0; x < SIDE; x++) {
            int r = reach(x);
            double share = 1.0 / (2 * r + 1);
            for (int k = 0; k < LANES; k++)
                v[(y + k) * SIDE + x] -= (float)((before[x + r + 1][k] - before[x - r][k]) * share);
        }
    }
}

static void find_structure(const float *root, const float *band, const struct dw_measure *m,
                           bool *structure)
{
    float photon = isfinite(m->photon_dn) ? m->photon_dn : 1;
    float read = isfinite(m->noise_dn) ? m->noise_dn : 1;
    for (int b = 0; b < DW_PATCH_BLOCKS; b++) {
        int x0 = b % DW_BLOCKS_ACROSS * DW_BLOCK_SIDE, y0 = b / DW_BLOCKS_ACROSS * DW_BLOCK_SIDE;
        float lights[DW_BLOCK_SIDE] = {0}, squares[DW_BLOCK_SIDE] = {0}; /* of columns */
        double light = 0, square = 0;
        for (int y = y0; y < y0 + DW_BLOCK_SIDE; y++)
            for (int x = 0; x < DW_BLOCK_SIDE; x++) {
                float at = band[y * SIDE + x0 + x];
                lights[x] += root[y * SIDE + x0 + x];
                squares[x] += at * at;
            }
        for (int x = 0; x < DW_BLOCK_SIDE; x++) {
            light += (double)lights[x];
            square += (double)squares[x];
        }
        const int n = DW_BLOCK_SIDE * DW_BLOCK_SIDE;
        float r = (float)(light / n), var = (float)(square / n), lifted = r * r;
        float dn = fmaxf(lifted - DW_PATCH_LIFT, 0);
        /* of a mean of two greens, by the slope of the root; and the code's own rounding */
        float noise = (photon * dn + read * read) / 2 / (4 * lifted + 1) + 1.0f / 3072;
        float share = CONTRAST * dn / (2 * r + 1e-3f); /* contrast in units of the root */
        structure[b] = var > OVER_NOISE * NOISE_LEFT * noise && var > share * share;
    }
}

enum dw_status dw_view_make(const struct dw_patches *p, const struct dw_measure *m,
                            const bool *wanted, struct dw_view_work *work, struct dw_view *out,
                            struct dw_error *err)
{
    if (!work->plane)
        work->plane = malloc(2 * CELLS * sizeof *work->plane);
    if (!out->band)
        out->band = malloc(DW_PATCHES * CELLS * sizeof *out->band);
    if (!work->plane || !out->band)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for a shot's patches");
    out->n = p->n;
    for (int i = 0; i < p->n; i++) {
        const float *root = p->root + (size_t)i * CELLS;
        float *band = out->band + (size_t)i * CELLS;
        if (wanted && !wanted[i]) {
            memset(out->structure + i * DW_PATCH_BLOCKS, 0, DW_PATCH_BLOCKS);
            continue;
        }
        clip_spots(root, work->plane);
        smooth(work->plane, work->plane + CELLS, band);
        take_slow_off(band, work->plane);
        find_structure(root, band, m, out->structure + i * DW_PATCH_BLOCKS);
    }
    return DW_OK;
}

void dw_view_free(struct dw_view *v)
{
    free(v->band);
    *v = (struct dw_view){0};
}

void dw_view_work_free(struct dw_view_work *w)
{
    free(w->plane);
    *w = (struct dw_view_work){0};
}
