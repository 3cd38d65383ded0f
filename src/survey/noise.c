/* noise.c: see noise.h. */
#include "survey/noise.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>

/* A tile at z standard deviations from the line belongs to it between these; one further below
 * than the first speaks against the line, because nothing makes noise smaller. */
static const double z_below = -4.0, z_above = 3.0, price_of_below = 4.0;
enum { GROUPS = 12, FROM_GROUP = 2, MOST = GROUPS * FROM_GROUP };

struct line {
    double read_var, photon;
};

static double at(struct line l, double light)
{
    return l.read_var + l.photon * light;
}

double dw_noise_var(const struct dw_noise *noise, double light)
{
    return fmax(noise->read_var + noise->photon * light, noise->floor);
}

static int by_light(const void *a, const void *b)
{
    const struct dw_noise_point *p = a, *q = b;
    return (p->light > q->light) - (p->light < q->light);
}

static int by_var(const void *a, const void *b)
{
    const struct dw_noise_point *p = a, *q = b;
    return (p->var > q->var) - (p->var < q->var);
}

/* Without a branch, for it is called for some hundred lines a frame. Where the line says that a
 * variance is negative, every tile speaks against it. */
static double score(struct line l, const struct dw_noise_point *p, size_t n)
{
    long good = 0, below = 0;
    for (size_t i = 0; i < n; i++) {
        double v = at(l, p[i].light), sd = v * p[i].rel, over = p[i].var - v;
        int is_below = (v <= 0) | (over <= z_below * sd);
        good += (!is_below) & (over < z_above * sd);
        below += is_below;
    }
    return (double)good - price_of_below * (double)below;
}

/* Least squares over the tiles of the line, weights from the line's own variance. False if the
 * tiles do not determine it. */
static bool refine(struct line *l, double *rel, const struct dw_noise_point *p, size_t n)
{
    double w0 = 0, wx = 0, wy = 0, wxx = 0, wxy = 0, relative = 0;
    for (size_t i = 0; i < n; i++) {
        double v = at(*l, p[i].light);
        if (v <= 0)
            continue;
        double sd = v * p[i].rel, z = (p[i].var - v) / sd;
        if (z <= z_below || z >= z_above)
            continue;
        double w = 1 / (sd * sd);
        w0 += w;
        wx += w * p[i].light;
        wy += w * p[i].var;
        wxx += w * p[i].light * p[i].light;
        wxy += w * p[i].light * p[i].var;
        relative += 1 / (p[i].rel * p[i].rel);
    }
    if (w0 <= 0)
        return false;
    *rel = 1 / sqrt(relative);
    double mean = wx / w0, spread = wxx / w0 - mean * mean;
    double slope = (wxy / w0 - mean * wy / w0) / spread;
    /* The slope must be known to a tenth of what would explain all the variance as photons. */
    double slope_sd = 1 / sqrt(w0 * spread);
    if (!(spread > 0) || !(slope_sd < 0.1 * fabs(wy / w0) / fmax(fabs(mean), 1)) || slope < 0)
        return false;
    l->photon = slope;
    l->read_var = wy / w0 - slope * mean;
    if (l->read_var < 0) { /* pixels that differ bend the line upwards by day: not to be believed
                              where it meets the dark tiles */
        l->photon = wxy / wxx;
        l->read_var = 0;
    }
    return true;
}

/* From each group of equal light the lowest tile and the one at a quarter: the line passes by
 * some of them unless nearly all of the frame is texture. */
static size_t choose(const struct dw_noise_point *p, size_t n, struct dw_noise_point out[MOST])
{
    size_t m = 0;
    struct dw_noise_point *group = malloc(n * sizeof *group);
    if (!group)
        return 0;
    for (size_t g = 0; g < GROUPS; g++) {
        size_t from = g * n / GROUPS, to = (g + 1) * n / GROUPS;
        if (from == to)
            continue;
        for (size_t i = from; i < to; i++)
            group[i - from] = p[i];
        qsort(group, to - from, sizeof *group, by_var);
        out[m++] = group[0];
        if (to - from > 3)
            out[m++] = group[(to - from) / 4];
    }
    free(group);
    return m;
}

static void try_line(struct line l, const struct dw_noise_point *p, size_t n, struct line *best,
                     double *best_score)
{
    double s = score(l, p, n);
    if (s > *best_score) {
        *best_score = s;
        *best = l;
    }
}

struct dw_noise dw_noise_fit(struct dw_noise_point *points, size_t n)
{
    struct dw_noise out = {.floor = 1.0 / 12, .rel = 1};
    if (n == 0)
        return out;
    qsort(points, n, sizeof *points, by_light);
    struct dw_noise_point c[MOST];
    size_t m = choose(points, n, c);
    struct line best = {0, 0};
    double best_score = -HUGE_VAL;
    for (size_t i = 0; i < m; i++) {
        /* Photons alone first: it wins a tie unless the light is too little to be counted. */
        if (c[i].light * c[i].light > 4 * c[i].var)
            try_line((struct line){0, c[i].var / c[i].light}, points, n, &best, &best_score);
        try_line((struct line){c[i].var, 0}, points, n, &best, &best_score);
    }
    for (size_t i = 0; i < m; i++) {
        for (size_t k = i + 1; k < m; k++) {
            double apart = c[k].light - c[i].light;
            double slope = apart > 0 ? (c[k].var - c[i].var) / apart : -1;
            struct line l = {c[i].var - slope * c[i].light, slope};
            if (slope > 0 && l.read_var >= 0)
                try_line(l, points, n, &best, &best_score);
        }
    }
    for (int round = 0; round < 3; round++) {
        if (!refine(&best, &out.rel, points, n))
            break;
    }
    out.read_var = best.read_var;
    out.photon = best.photon;
    return out;
}
