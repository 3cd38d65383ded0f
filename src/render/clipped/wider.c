/* wider.c: see wider.h. */
#include "render/clipped/wider.h"

#include "render/planes/coarse.h"

#include <string.h>

#define FAINTEST 0.1f /* lowest channel of a colour that is believed */
#define PRIOR 1.0f    /* weight of white beyond all surroundings: as of one pixel */
#define LEVELS 8      /* of halving; there are never 128 tiles along a side */

/* A level has half the tiles of the one before it, and lies behind that. */
struct level {
    int cols, rows;
    struct dw_sums *sum;
};

/* Returns how many levels there are; *all: how many sums. */
static int levels_of(struct dw_sums *map, int cols, int rows, struct level level[LEVELS],
                     size_t *all)
{
    *all = 0;
    for (int n = 0;;) {
        level[n] = (struct level){cols, rows, map ? map + *all : NULL};
        *all += (size_t)cols * (size_t)rows;
        if (++n == LEVELS || (cols == 1 && rows == 1))
            return n;
        cols = (cols + 1) / 2;
        rows = (rows + 1) / 2;
    }
}

size_t dw_wider_room(int cols, int rows)
{
    struct level level[LEVELS];
    size_t all;
    levels_of(NULL, cols, rows, level, &all);
    return all;
}

/* Each coarser tile is the sum of four. */
static void collect(const struct level *fine, const struct level *coarse)
{
    for (int y = 0; y < fine->rows; y++)
        for (int x = 0; x < fine->cols; x++) {
            const struct dw_sums *from = &fine->sum[y * fine->cols + x];
            struct dw_sums *to = &coarse->sum[y / 2 * coarse->cols + x / 2];
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

/* Gives every tile, beside what it has, `lean` of the colour of its wider surroundings. `coarse`
 * holds finished colours already: sums of weight one. */
static void spread(const struct level *fine, const struct level *coarse, float lean)
{
    for (int y = 0; y < fine->rows; y++)
        for (int x = 0; x < fine->cols; x++) {
            float p, q, wide[3], mean[3];
            int i = dw_coarse_between(((float)x + 0.5f) / 2 - 0.5f, coarse->cols, &p);
            int j = dw_coarse_between(((float)y + 0.5f) / 2 - 0.5f, coarse->rows, &q);
            int right = coarse->cols > 1, below = coarse->rows > 1 ? coarse->cols : 0;
            const struct dw_sums *at = &coarse->sum[j * coarse->cols + i];
            struct dw_sums *t = &fine->sum[y * fine->cols + x];
            for (int k = 0; k < 3; k++)
                wide[k] = (1 - q) * ((1 - p) * at[0].rgb[k] + p * at[right].rgb[k]) +
                          q * ((1 - p) * at[below].rgb[k] + p * at[below + right].rgb[k]);
            normalise(t->rgb, mean);
            for (int k = 0; k < 3; k++)
                mean[k] = t->weight > 0 ? (t->weight * mean[k] + lean * wide[k]) : wide[k];
            normalise(mean, t->rgb);
        }
}

void dw_wider_colours(struct dw_sums *map, int cols, int rows, float lean)
{
    struct level level[LEVELS];
    size_t all, tiles = (size_t)cols * (size_t)rows;
    int n = levels_of(map, cols, rows, level, &all);
    memset(map + tiles, 0, (all - tiles) * sizeof *map);
    for (int i = 0; i + 1 < n; i++)
        collect(&level[i], &level[i + 1]);
    const struct level *top = &level[n - 1];
    for (int i = 0; i < top->cols * top->rows; i++) {
        for (int k = 0; k < 3; k++) /* white is neutral in balanced channels */
            top->sum[i].rgb[k] += PRIOR;
        normalise(top->sum[i].rgb, top->sum[i].rgb);
    }
    for (int i = n - 2; i >= 0; i--)
        spread(&level[i], &level[i + 1], lean);
}
