/* tiles.c: from the survey's raw levels to light, tile by tile. */
#include "decide/steps.h"
#include "base/each.h"

#include <math.h>

#define LOG2_E 1.4426950408889634

/* Which tiles may say how exposure changed (docs/method/steadying.md): */
#define MAX_CLIPPED 1e-4f    /* share of samples at saturation */
#define MIN_SHARE 1e-4       /* of the range between black and white */
#define MAX_NOISE_STOPS 0.05 /* of the tile's mean */
enum { SHOTS_AT_A_TIME = 32 };

static void shot_tiles(struct dw_work *w, size_t i, const struct dw_levels *levels)
{
    const struct dw_measure *m = &w->survey->measure[i];
    size_t row = i * (size_t)w->tiles;
    double factor[3] = {1, 1, 1}; /* not yet known when tiles are measured for the first time */
    for (int c = 0; c < 3 && w->tint; c++)
        factor[c] = exp2(w->tint[i][c]);
    double black = (double)levels->black[1], range = (double)levels->white - black;
    for (int k = 0; k < w->tiles; k++) {
        const struct dw_tile *t = &m->tile[k];
        size_t at = row + (size_t)k;
        w->light[at] = w->noise[at] = w->lever[at] = NAN;
        if (!isfinite(t->mean[1]) || (w->lamp && w->lamp[k]))
            continue;
        /* For comparing shots all three colours together, each sample with one voice: a quarter
         * less noise than green alone. */
        double sum = 0, var = 0, voices = 0;
        for (int c = 0; c < 3; c++) {
            double voice = c == 1 ? 2 : 1;
            if (!isfinite(t->mean[c]))
                continue;
            voices += voice;
            voice *= factor[c];
            sum += voice * (double)(t->mean[c] - levels->black[c]);
            var += voice * voice * (t->var[c] > 0 ? (double)t->var[c] : 0);
        }
        double per = LOG2_E / sum, noise = var * per * per;
        if (t->clipped > MAX_CLIPPED || sum < MIN_SHARE * range * voices ||
            !(noise < MAX_NOISE_STOPS * MAX_NOISE_STOPS))
            continue;
        w->light[at] =
            (float)((double)log2f((float)(sum / (voices * range))) + w->ev[i] + dw_lift(w, i, k));
        w->noise[at] = (float)noise;
        w->lever[at] = (float)(voices * per);
    }
}

struct task {
    struct dw_work *w;
    const struct dw_facts *facts;
};

/* Light and key in one go: a shot's tiles are much to fetch twice. */
static enum dw_status measure(void *ctx, void *work, size_t from, size_t to, struct dw_error *err)
{
    (void)err;
    struct task *t = ctx;
    struct dw_work *w = t->w;
    for (size_t i = from; i < to; i++) {
        const struct dw_levels *levels = dw_facts_levels(t->facts, &w->shots->shot[i]);
        if (w->survey->measure[i].usable && w->survey->measure[i].tile)
            shot_tiles(w, i, levels);
        else
            for (size_t at = i * (size_t)w->tiles; at < (i + 1) * (size_t)w->tiles; at++)
                w->light[at] = w->noise[at] = w->lever[at] = NAN;
        dw_key_of_shot(w, i, levels, work);
    }
    return DW_OK;
}

enum dw_status dw_tiles(struct dw_work *w, const struct dw_facts *facts, struct dw_error *err)
{
    size_t all = w->n * (size_t)w->tiles;
    if (!w->light) { /* else: once more, with better levels, or knowing of lamps */
        w->light = DW_TAKE(&w->arena, all, float);
        w->noise = DW_TAKE(&w->arena, all, float);
        w->lever = DW_TAKE(&w->arena, all, float);
        w->key = DW_TAKE(&w->arena, w->n, double);
        w->whole = DW_TAKE(&w->arena, w->n, double);
    }
    if (!w->light || !w->noise || !w->lever || !w->key || !w->whole)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for %zu light grids", w->n);
    struct task t = {w, facts};
    const struct dw_each shots = {w->n, SHOTS_AT_A_TIME, 2 * (size_t)w->tiles * sizeof(double),
                                  measure, &t};
    return dw_each(&shots, w->run, err);
}
