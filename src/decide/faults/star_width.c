/* star_width.c: see star_width.h. */
#include "decide/faults/star_width.h"
#include "base/limit.h"
#include "base/robust.h"

#include <math.h>

static const struct dw_star_width_params {
    double bright_sigma; /* a star whose shape is looked at stands so far above the sky's noise */
    double uneven;       /* on a sky whose range about it is less than this share of its height */
    size_t least_bright; /* and there are so many of them */
} params = {25, 0.3, 8};

/* Where a pixel lies in the pattern, whatever its period. */
static int phase_of(const struct dw_spike *s)
{
    return s->y % 6 * 6 + s->x % 6;
}

static const struct dw_tile *tile_of(const struct dw_survey *v, const struct dw_measure *m,
                                     const struct dw_spike *s)
{
    int c = s->x * v->cols / m->width, r = s->y * v->rows / m->height;
    return c < v->cols && r < v->rows ? &m->tile[r * v->cols + c] : NULL;
}

void dw_pattern_add(const struct dw_survey *survey, size_t shot, const struct dw_spike *spike,
                    struct dw_pattern_sums *sums)
{
    const struct dw_measure *m = &survey->measure[shot];
    for (size_t j = 0; j < m->n_spikes && m->tile; j++) {
        const struct dw_tile *t = tile_of(survey, m, &spike[j]);
        double *off = sums->off[phase_of(&spike[j])];
        for (int c = 0; t && c < 3; c++)
            if (isfinite(t->mean[c]))
                off[c] += dw_at_most(fabs((double)(spike[j].median - t->mean[c])), 100);
    }
}

struct dw_pattern dw_pattern_of(const struct dw_pattern_sums *sums, size_t n)
{
    struct dw_pattern out;
    double off[DW_PHASES][3] = {{0}};
    for (size_t k = 0; k < n; k++)
        for (int p = 0; p < DW_PHASES; p++)
            for (int c = 0; c < 3; c++)
                off[p][c] += sums[k].off[p][c];
    for (int p = 0; p < DW_PHASES; p++) {
        out.colour[p] = 1;
        for (int c = 0; c < 3; c += 2)
            if (off[p][c] < off[p][out.colour[p]])
                out.colour[p] = c;
    }
    return out;
}

/* What light from `wing`, the share of a star's height that its eight neighbours of the same colour
 * have (2 and 2.83 px away; between the fourth and the fifth of them), says of its width: the
 * variance of a Gaussian, px^2. */
static double variance_of(double wing)
{
    double low = 0.1, high = 100;
    for (int i = 0; i < 40; i++) {
        double v = sqrt(low * high), w = 0.5 * (exp(-2 / v) + exp(-4 / v));
        if (w < wing)
            low = v;
        else
            high = v;
    }
    return sqrt(low * high);
}

static inline float lesser(float a, float b)
{
    return a < b ? a : b;
}

static inline float greater(float a, float b)
{
    return a > b ? a : b;
}

/* The sky under a star, from the four tiles about it, and how uneven it is there: the range of
 * these four. Not finite where one of them is not known. Without a branch, as all of this: whether
 * the next spot is bright is chance, and a processor that guesses wrong waits. */
static inline double sky_under(const struct dw_survey *v, const struct dw_measure *m,
                               const struct dw_spike *s, int c, double *uneven)
{
    double x = (s->x + 0.5) * v->cols / m->width - 0.5,
           y = (s->y + 0.5) * v->rows / m->height - 0.5;
    int i = (int)dw_at_most(dw_at_least(x, 0), v->cols - 2),
        j = (int)dw_at_most(dw_at_least(y, 0), v->rows - 2);
    double u = dw_at_most(dw_at_least(x - i, 0), 1), d = dw_at_most(dw_at_least(y - j, 0), 1);
    const struct dw_tile *upper = &m->tile[j * v->cols + i], *lower = upper + v->cols;
    float p = upper[0].mean[c], q = upper[1].mean[c], r = lower[0].mean[c], t = lower[1].mean[c];
    double low = (double)lesser(lesser(p, q), lesser(r, t));
    double high = (double)greater(greater(p, q), greater(r, t));
    double sky = (double)p * (1 - u) * (1 - d);
    sky += (double)q * u * (1 - d);
    sky += (double)r * (1 - u) * d;
    sky += (double)t * u * d;
    *uneven = high - low;
    return sky;
}

/* The least light of a colour that any tile has; INFINITY when none is known. */
static double least_sky(const struct dw_survey *v, const struct dw_measure *m, int c)
{
    double least = INFINITY;
    for (int k = 0; k < v->cols * v->rows; k++)
        least = dw_at_most((double)m->tile[k].mean[c], least);
    return least;
}

static double noise_at(const struct dw_measure *m, int c, double sky)
{
    return sqrt((double)m->photon_dn * dw_at_least(sky - (double)m->black[c], 0) +
                (double)m->noise_dn * (double)m->noise_dn);
}

/* What a star must exceed in each colour to be bright anywhere: most spots do not, and are spared
 * being looked up in the tiles. */
static void least_bright_value(const struct dw_survey *v, const struct dw_measure *m,
                               double least[3])
{
    for (int c = 0; c < 3; c++) {
        double sky = least_sky(v, m, c);
        double value = sky + params.bright_sigma * dw_at_least(noise_at(m, c, sky), 0.3);
        least[c] = isfinite(value) ? value - 1e-6 * fabs(value) : -(double)INFINITY;
    }
}

double dw_star_variance(const struct dw_pattern *pattern, const struct dw_survey *v, size_t i,
                        const struct dw_spike *const *star, size_t n, double *work)
{
    const struct dw_measure *m = &v->measure[i];
    size_t bright = 0;
    if (!m->tile || v->cols < 2 || v->rows < 2)
        return (double)NAN;
    double least[3];
    least_bright_value(v, m, least);
    for (size_t k = 0; k < n; k++) {
        int c = pattern->colour[phase_of(star[k])];
        if (!((double)star[k]->value > least[c]))
            continue;
        double uneven, sky = sky_under(v, m, star[k], c, &uneven);
        double height = (double)star[k]->value - sky;
        double noise = dw_at_least(noise_at(m, c, sky), 0.3);
        work[bright] = ((double)star[k]->median - sky) / height;
        bright += (star[k]->value < 0.9f * m->white) & (fabs(sky) < (double)INFINITY) &
                  (height > params.bright_sigma * noise) & (uneven < params.uneven * height);
    }
    return bright >= params.least_bright ? variance_of(dw_median(work, bright)) : (double)NAN;
}
