/* glance.c: see glance.h. */
#include "survey/glance.h"

#include <math.h>
#include <string.h>

/* 600 tiles of 512 cells cost a tenth of the whole pass and tell a tile's variance to 10 %, the
 * frame's to below 1 %. */
enum { CELLS = 512, LEAST_CELLS = 16, MOST_POSITIONS = 6 * 6 * 3, MOST_UNIT_CELLS = 9 };

/* What lies where in one unit of the mosaic (2x2 or 6x6 pixels), as offsets from its corner. */
struct unit {
    int n, cells;
    ptrdiff_t at[MOST_POSITIONS];
    uint8_t colour[MOST_POSITIONS];
    ptrdiff_t first[MOST_UNIT_CELLS], last[MOST_UNIT_CELLS]; /* greens of each 2x2 cell */
};

struct looked {
    uint64_t sum[MOST_POSITIONS];
    uint32_t units, high;
    int32_t diff[CELLS], green[CELLS];
    size_t diffs;
};

static struct unit make_unit(const struct dw_layout *l)
{
    struct unit u = {0};
    for (int cy = 0; cy < l->unit; cy += 2) {
        for (int cx = 0; cx < l->unit; cx += 2) {
            ptrdiff_t first = -1, last = -1;
            for (int k = 0; k < 4; k++) {
                int y = cy + k / 2;
                for (int s = (cx + k % 2) * l->spp; s < (cx + k % 2 + 1) * l->spp; s++) {
                    u.at[u.n] = (ptrdiff_t)y * l->stride + s;
                    u.colour[u.n] = l->colour[y % l->vp][s % l->hp];
                    if (u.colour[u.n] == 1 && first < 0)
                        first = u.at[u.n];
                    else if (u.colour[u.n] == 1)
                        last = u.at[u.n];
                    u.n++;
                }
            }
            if (last >= 0) {
                u.first[u.cells] = first;
                u.last[u.cells++] = last;
            }
        }
    }
    return u;
}

static void look(const struct unit *u, const uint16_t *p, uint16_t clip, struct looked *a)
{
    for (int i = 0; i < u->n; i++) {
        a->sum[i] += p[u->at[i]];
        a->high += p[u->at[i]] >= clip;
    }
    a->units++;
    for (int i = 0; i < u->cells && a->diffs < CELLS; i++) {
        a->green[a->diffs] = p[u->first[i]];
        a->diff[a->diffs++] = p[u->first[i]] - p[u->last[i]];
    }
}

/* ---- quartiles ---- */

enum { BINS = 1024 };

/* Where `rank` of the counted numbers lie below, in bins; -1 when that is in an outermost bin,
 * which takes in all beyond. */
static double quantile_bin(const uint16_t bins[BINS], double rank)
{
    double below = 0;
    for (int b = 0; b < BINS; b++) {
        if (below + bins[b] > rank)
            return b == 0 || b == BINS - 1 ? -1 : b + (rank - below) / bins[b];
        below += bins[b];
    }
    return -1;
}

bool dw_quartiles(const int32_t *v, size_t n, int32_t about, double *median, double *sigma)
{
    const double quartile = 0.674489750196082; /* of the normal distribution */
    for (int shift = 0; n > 0 && shift < 24; shift += 2) {
        uint16_t bins[BINS] = {0};
        for (size_t i = 0; i < n; i++) {
            int32_t b = ((v[i] - about) >> shift) + BINS / 2;
            bins[b < 0 ? 0 : b >= BINS ? BINS - 1 : b]++;
        }
        double low = quantile_bin(bins, 0.25 * (double)n);
        double mid = quantile_bin(bins, 0.5 * (double)n);
        double high = quantile_bin(bins, 0.75 * (double)n);
        if (low < 0 || high < 0)
            continue;
        double width = ldexp(1, shift); /* a bin of shift 0 begins half below its number */
        *median = about + (mid - BINS / 2) * width - 0.5;
        *sigma = (high - low) * width / (2 * quartile);
        return true;
    }
    return false;
}

/* ---- tiles ---- */

static void finish(const struct unit *u, const struct looked *a, struct dw_glance *out)
{
    double sum[3] = {0}, n[3] = {0};
    for (int i = 0; i < u->n; i++) {
        sum[u->colour[i]] += (double)a->sum[i];
        n[u->colour[i]] += a->units;
    }
    for (int c = 0; c < 3; c++)
        out->mean[c] = n[c] > 0 ? sum[c] / n[c] : (double)NAN;
    out->high = a->units > 0 ? a->high / (n[0] + n[1] + n[2]) : 0;
    out->noise_var = out->light = out->scatter = (double)NAN;
    out->noise_rel = 1;
    double centre, sigma;
    if (a->diffs < LEAST_CELLS || !dw_quartiles(a->diff, a->diffs, 0, &centre, &sigma) ||
        !dw_quartiles(a->green, a->diffs, a->green[0], &out->light, &out->scatter))
        return;
    out->noise_var = 0.5 * sigma * sigma; /* a difference scatters by two samples */
    /* Asymptotic variance of the quartile estimate of sigma: 1.36 sigma^2 / n (37 % efficient
     * at the normal; Rousseeuw & Croux 1993, JASA 88, 1273). */
    out->noise_rel = 2 * sqrt(1.36 / (double)a->diffs);
}

/* Every which unit is looked at, along rows and columns alike, so that about CELLS cells are. */
static int stride_of(const struct dw_layout *l, int units_x, int units_y)
{
    double cells = (double)units_x * units_y * l->unit * l->unit / 4;
    return cells > CELLS ? (int)ceil(sqrt(cells / CELLS)) : 1;
}

void dw_glance(const struct dw_layout *l, const struct dw_mosaic *m, uint16_t clip,
               struct dw_glance *out)
{
    const struct unit u = make_unit(l);
    for (int t = 0; t < l->rows * l->cols; t++) {
        int row = t / l->cols, col = t % l->cols;
        int x0 = l->tile_x[col], x1 = l->tile_x[col + 1];
        int y0 = l->tile_y[row], y1 = l->tile_y[row + 1];
        int step = l->unit * stride_of(l, (x1 - x0) / l->unit, (y1 - y0) / l->unit);
        struct looked a;
        memset(&a, 0, sizeof a);
        for (int y = y0; y < y1; y += step) {
            const uint16_t *line = m->px + (size_t)y * (size_t)l->stride;
            for (int x = x0; x < x1; x += step)
                look(&u, line + (size_t)x * (size_t)l->spp, clip, &a);
        }
        finish(&u, &a, &out[t]);
    }
}
