/* tears.c: see tears.h. */
#include "shot/tears.h"

#include "base/robust.h"

#include <math.h>
#include <stdlib.h>

enum { BLOCK = 64, LEAST_BLOCKS = 4, LEAST_TORN_BLOCKS = 2, MOST_SAMPLED = 1024 };
#define STANDS_OUT 8.0 /* times the usual deviation of the block's column */
#define USUAL 5.0      /* at most, left of the tear */
#define CONSTANT 0.3   /* spread of the torn part, of its height */

struct sums {
    double *v; /* rows * columns means of blocks, then the usual deviation of each column */
    size_t rows, columns;
};

static bool sum_blocks(const struct dw_mosaic *m, struct sums *s)
{
    s->rows = (size_t)m->height;
    s->columns = (size_t)m->width / BLOCK;
    s->v = malloc((s->rows + 1) * s->columns * sizeof *s->v);
    if (!s->v)
        return false;
    for (size_t y = 0; y < s->rows; y++)
        for (size_t c = 0; c < s->columns; c++) {
            const uint16_t *px = m->px + y * (size_t)m->width + c * BLOCK;
            uint32_t sum = 0;
            for (size_t i = 0; i < BLOCK; i++) /* fixed length: vector code */
                sum += px[i];
            s->v[y * s->columns + c] = (double)sum / BLOCK;
        }
    return true;
}

/* How far a block stands out from those of its colour above and below. */
static double deviation(const struct sums *s, size_t y, size_t c, size_t period)
{
    const double *v = s->v + y * s->columns + c;
    return v[0] - 0.5 * (v[0 - period * s->columns] + v[period * s->columns]);
}

/* The usual size of a deviation in each column, from rows spread over the height. */
static void learn_usual(struct sums *s, size_t period)
{
    double sample[MOST_SAMPLED];
    size_t step = s->rows / MOST_SAMPLED + 1;
    for (size_t c = 0; c < s->columns; c++) {
        size_t n = 0;
        for (size_t y = period; y + period < s->rows && n < MOST_SAMPLED; y += step)
            sample[n++] = fabs(deviation(s, y, c, period));
        s->v[s->rows * s->columns + c] = fmax(dw_median(sample, n), 0.02);
    }
}

/* The column at which the row tears, 0 if it does not. */
static size_t tear_of(const struct sums *s, size_t y, size_t period)
{
    const double *usual = s->v + s->rows * s->columns;
    size_t c = s->columns;
    double least = INFINITY, most = -INFINITY, sum = 0;
    while (c > 0) {
        double d = deviation(s, y, c - 1, period);
        bool out = fabs(d) > STANDS_OUT * usual[c - 1];
        if (!out || d * sum < 0 ||
            fmax(most, d) - fmin(least, d) > CONSTANT * fabs(d) + 2 * USUAL * usual[c - 1])
            break;
        least = fmin(least, d);
        most = fmax(most, d);
        sum += d;
        c--;
    }
    if (s->columns - c < LEAST_TORN_BLOCKS || c < 2)
        return 0;
    size_t place = c;
    /* the block of the tear itself is in between; left of it all is as usual */
    for (c = c - 1; c > 0; c--)
        if (fabs(deviation(s, y, c - 1, period)) > USUAL * usual[c - 1])
            return 0;
    return place;
}

struct dw_tears dw_find_tears(const struct dw_mosaic *m)
{
    struct dw_tears found = {0, 0};
    struct sums s = {NULL, 0, 0};
    size_t period = (size_t)m->period;
    if (m->cfa == DW_CFA_RGB || m->width / BLOCK < LEAST_BLOCKS ||
        (size_t)m->height <= 2 * period || !sum_blocks(m, &s))
        return found;
    learn_usual(&s, period);
    unsigned char *seen = calloc(s.columns + 1, 1);
    for (size_t y = period; seen && y + period < s.rows; y++) {
        size_t place = tear_of(&s, y, period);
        if (place == 0)
            continue;
        found.rows++;
        found.places += !seen[place];
        seen[place] = 1;
    }
    free(seen);
    free(s.v);
    return found;
}
