/* own_light.c: the light that a tile has when no cloud is before it, or before what lights it: it
 * goes smoothly with the hour, and the tile comes back to it. */
#include "decide/returns_state.h"

#include <math.h>
#include <string.h>

#define NEAR 24       /* shots on either side that a first look takes in, */
#define LITTLE 0.3    /* and how many of them share a tile's light, beside the most that do: */
#define MUCH 0.7      /* covered, open */
#define CURVED 0.02   /* prior against slope and bend, per shot's weight */
#define MOST_OWN 0.95 /* share of its own expectation that a shot is taken to have */
#define FRESH 64      /* shots after which sums are taken anew, so that no rounding piles up */

/* How many of the shots about shot i have the value that it has, as a share of them. */
static double support(const struct dw_returns *r, const double *x, const double *var, size_t i)
{
    size_t first = r->from[i] + NEAR > i ? r->from[i] : i - NEAR;
    size_t end = r->to[i] < i + NEAR + 1 ? r->to[i] : i + NEAR + 1;
    double alike = 0, known = 0;
    for (size_t j = first; j < end; j++) {
        if (j == i || !isfinite(x[j]))
            continue;
        alike += dw_returns_tukey((x[j] - x[i]) * (x[j] - x[i]) / (var[i] + var[j]));
        known++;
    }
    return known > 0 ? alike / known : 0;
}

/* How much a value x of variance var is the one that most shots about have, 0..1. work: n. */
static void look(const struct dw_returns *r, const double *x, const double *var, double *work,
                 float *out)
{
    for (size_t i = 0; i < r->n; i++)
        work[i] = isfinite(x[i]) ? support(r, x, var, i) : 0;
    for (size_t i = 0; i < r->n; i++) {
        double most = 0;
        for (size_t j = r->from[i]; j < r->to[i]; j++)
            most = work[j] > most ? work[j] : most;
        double part = most > r->p->least_share ? work[i] / most : 0;
        out[i] = (float)fmin(1, fmax(0, (part - LITTLE) / (MUCH - LITTLE)));
    }
}

/* Whether a tile has the contrast with the next one, across or down, that it mostly has. */
static void look_beside(const struct dw_returns *r, size_t k, size_t other, double *work,
                        float *out)
{
    double *x = work, *var = work + r->n;
    for (size_t i = 0; i < r->n; i++) {
        x[i] = (double)r->beside[k * r->n + i] - (double)r->beside[other * r->n + i];
        var[i] = dw_returns_noise(r, i, k) + dw_returns_noise(r, i, other);
    }
    look(r, x, var, work + 2 * r->n, out);
}

/* The second largest of what a tile's four sides say: one may be covered. */
static float two_sides(const struct dw_returns *r, size_t k, size_t i)
{
    size_t cols = (size_t)r->g->cols, n = r->n;
    float side[4] = {r->off[k * n + i], r->var[k * n + i], k % cols ? r->off[(k - 1) * n + i] : 0,
                     k >= cols ? r->var[(k - cols) * n + i] : 0};
    float most = 0, second = 0;
    for (int s = 0; s < 4; s++) {
        second = fmaxf(second, fminf(most, side[s]));
        most = fmaxf(most, side[s]);
    }
    return second;
}

/* Whether a tile is open is told by its contrasts with those beside it, which come back as well and
 * hold no exposure error; or by its own light, where errors are already known more closely than it
 * is: by night a contrast has twice the noise. */
void dw_returns_find_open(struct dw_returns *r, double *work)
{
    size_t cols = (size_t)r->g->cols, n = r->n;
    memset(r->off, 0, r->tiles * n * sizeof *r->off);
    memset(r->var, 0, r->tiles * n * sizeof *r->var);
    for (size_t k = 0; k < r->tiles; k++) {
        if ((k + 1) % cols)
            look_beside(r, k, k + 1, work, r->off + k * n);
        if (k + cols < r->tiles)
            look_beside(r, k, k + cols, work, r->var + k * n);
    }
    double *x = work, *var = work + n;
    for (size_t k = 0; k < r->tiles; k++) {
        for (size_t i = 0; i < n; i++) {
            x[i] = (double)r->beside[k * n + i];
            var[i] = dw_returns_noise(r, i, k) + r->spread[i];
        }
        look(r, x, var, work + 2 * n, r->weight + k * n);
        for (size_t i = 0; i < n; i++) {
            r->open[k * n + i] = two_sides(r, k, i);
            if (r->spread[i] > dw_returns_noise(r, i, k))
                r->weight[k * n + i] = r->open[k * n + i];
        }
    }
}

/* Weighted moments of the shots within reach about the one at work, for a parabola. */
struct moments {
    double s[5], y[3]; /* of time, unit reach_s; of light times that */
    double came, known;
};

static void add_shot(struct moments *m, double t, double y, double w, double came, double known)
{
    double power = w;
    for (int p = 0; p < 5; p++) {
        m->s[p] += power;
        if (p < 3)
            m->y[p] += power * y;
        power *= t;
    }
    m->came += came;
    m->known += known;
}

/* Moments about a time that lies later by d. */
static void move_on(struct moments *m, double d)
{
    double *s = m->s, *y = m->y;
    s[4] += d * (-4 * s[3] + d * (6 * s[2] + d * (-4 * s[1] + d * s[0])));
    s[3] += d * (-3 * s[2] + d * (3 * s[1] - d * s[0]));
    s[2] += d * (-2 * s[1] + d * s[0]);
    s[1] -= d * s[0];
    y[2] += d * (-2 * y[1] + d * y[0]);
    y[1] -= d * y[0];
}

/* The parabola's value at time 0, and what a unit of weight there has of it. */
static bool parabola(const struct moments *m, double *value, double *own)
{
    double a = m->s[0], b = m->s[1], c = m->s[2], d = m->s[3], prior = CURVED * a;
    double e = c + prior, f = m->s[4] + prior;
    double first = e * f - d * d, second = c * d - b * f, third = b * d - c * e;
    double det = a * first + b * second + c * third;
    if (!(a > 0 && det > 1e-12 * a * e * f))
        return false;
    *value = (first * m->y[0] + second * m->y[1] + third * m->y[2]) / det;
    *own = first / det;
    return *own > 0;
}

/* Takes shot j of tile k into the moments about shot i, or, with sign -1, out of them. */
static void take_shot(const struct dw_returns *r, size_t k, size_t j, size_t i, double sign,
                      struct moments *m)
{
    double x = (double)r->beside[k * r->n + j], w = sign * (double)r->weight[k * r->n + j];
    if (isfinite(x))
        add_shot(m, (r->g->time[j] - r->g->time[i]) / r->p->reach_s, x - r->found[j],
                 w / (dw_returns_noise(r, j, k) + r->spread[j]), w, sign);
}

void dw_returns_expect(struct dw_returns *r, size_t k)
{
    const double *t = r->g->time;
    const float *x = r->beside + k * r->n, *weight = r->weight + k * r->n;
    float *off = r->off + k * r->n, *var = r->var + k * r->n;
    struct moments m = {0};
    size_t first = 0, end = 0; /* that the moments hold */
    for (size_t i = 0; i < r->n; i++) {
        if (end == 0 || r->from[i] >= end || i % FRESH == 0) {
            m = (struct moments){0};
            first = end = r->from[i];
        } else
            move_on(&m, (t[i] - t[i - 1]) / r->p->reach_s);
        for (; end < r->to[i]; end++)
            take_shot(r, k, end, i, 1, &m);
        for (; first < r->from[i]; first++)
            take_shot(r, k, first, i, -1, &m);
        var[i] = INFINITY;
        double value, own;
        if (!isfinite(x[i]) || m.came < r->p->least_share * m.known || !parabola(&m, &value, &own))
            continue;
        double noise = dw_returns_noise(r, i, k), shared = noise + r->spread[i];
        double h = fmin(own * (double)weight[i] / shared, MOST_OWN), others = own / (1 - h);
        if (!(shared > 2 * r->p->least_share * others)) /* hardly any */
            continue;
        off[i] = (float)(((double)x[i] - r->found[i] - value) / (1 - h));
        var[i] = (float)(noise + others);
    }
}
