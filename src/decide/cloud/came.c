/* came.c: a tile either has come back, and is off by what is known of its noise, or is covered, and
 * its light is any. How probable the one is and how probable the other is Bayes' rule. What goes
 * before is told by the tiles beside it: gaps and clouds are larger than a tile, and the rim of a
 * cloud, which dims by no more than noise does, lies beside what is plainly covered. */
#include "decide/cloud/came.h"

#include <math.h>

/* Stops: of a covered tile's light, so that its density is one over root 2 pi times that. */
#define RANGE 0.1
#define SHARE 0.3   /* of all tiles come back, before anything is known */
#define UNSURE 0.02 /* so much do those beside a tile leave open, whatever they say */
#define PASSES 2    /* of tiles and those beside them */
#define TOO_FAR 20  /* square of the distance, in variances, from where odds are next to nothing */

bool dw_came_take_room(struct dw_came *c, int cols, int rows, struct dw_arena *arena)
{
    size_t tiles = (size_t)cols * (size_t)rows;
    *c = (struct dw_came){.cols = cols, .rows = rows};
    /* the arena's memory is all zero */
    float **room[6] = {&c->likely, &c->beside, &c->odds, &c->across, &c->none, &c->before};
    bool ok = true;
    for (int i = 0; i < 6; i++)
        ok = (*room[i] = DW_TAKE(arena, tiles, float)) && ok;
    return ok;
}

/* Sum of v over the up to eight tiles beside each. */
static void sum_beside(const struct dw_came *c, const float *v, float *out)
{
    const int cols = c->cols, rows = c->rows;
    for (int y = 0; y < rows; y++) {
        const float *in = v + y * cols;
        float *across = c->across + y * cols;
        for (int x = 1; x + 1 < cols; x++)
            across[x] = in[x - 1] + in[x] + in[x + 1];
        across[0] = in[0] + (cols > 1 ? in[1] : 0);
        across[cols - 1] = in[cols - 1] + (cols > 1 ? in[cols - 2] : 0);
    }
    for (int y = 0; y < rows; y++) {
        const float *own = v + y * cols, *a = c->across + y * cols;
        const float *above = y > 0 ? a - cols : c->none, *below = y + 1 < rows ? a + cols : c->none;
        for (int x = 0; x < cols; x++)
            out[y * cols + x] = a[x] + above[x] + below[x] - own[x];
    }
}

void dw_came_look(struct dw_came *c, const float *off, const float *var)
{
    size_t tiles = (size_t)c->cols * (size_t)c->rows;
    c->off = off;
    c->var = var;
    for (size_t k = 0; k < tiles; k++) {
        c->odds[k] = isfinite(var[k]); /* known */
        c->likely[k] = isfinite(var[k]) ? (float)RANGE / sqrtf(var[k]) : 0;
    }
    sum_beside(c, c->odds, c->beside);
    for (size_t k = 0; k < tiles; k++)
        c->beside[k] = c->beside[k] > 0 ? 1 / c->beside[k] : 0;
}

double dw_came_odds(const struct dw_came *c, size_t k, double dm)
{
    if (!(c->likely[k] > 0))
        return 0;
    double d = (double)c->off[k] - dm, square = d * d / (double)c->var[k];
    return square < TOO_FAR ? (double)c->likely[k] * exp(-0.5 * square) : 0;
}

static float chance_of(float odds, float before)
{
    return odds * before / (odds * before + 1 - before);
}

/* Of chances that lie from 0 to 1. */
static float within(float chance)
{
    const float least = (float)UNSURE, most = 1 - (float)UNSURE;
    chance = chance > least ? chance : least;
    return chance < most ? chance : most;
}

void dw_came_weigh(const struct dw_came *c, double dm, float *chance)
{
    size_t tiles = (size_t)c->cols * (size_t)c->rows;
    for (size_t k = 0; k < tiles; k++) {
        c->odds[k] = (float)dw_came_odds(c, k, dm);
        chance[k] = chance_of(c->odds[k], (float)SHARE);
    }
    for (int pass = 0; pass < PASSES; pass++) {
        float *before = c->before;
        sum_beside(c, chance, before);
        for (size_t k = 0; k < tiles; k++) {
            float told = c->beside[k] > 0 ? before[k] * c->beside[k] : (float)SHARE;
            chance[k] = chance_of(c->odds[k], within(told));
        }
    }
}
