/* noise.c: see noise.h. */
#include "render/light/noise.h"

#include "render/facts/colour.h"

#include <math.h>
#include <string.h>

/* Rings hold what is still to be read. */
enum { EDGE = DW_SETTLE_FARTHEST, IN_ROWS = 8, MID_ROWS = 12, ROWS = IN_ROWS + MID_ROWS + 1 };

struct dw_light_noise dw_light_noise_make(const struct dw_levels *levels,
                                          const struct dw_develop *develop, const float share[3],
                                          bool one_colour)
{
    struct dw_light_noise out = {{0, 0}, {1, 1}};
    const float luma[3] = DW_WIDE_LUMA;
    float read[3], photon[3];
    if (!(levels->read_dn >= 0) || !(levels->photon_dn >= 0))
        return out;
    /* Neutral light Y comes from balanced levels Y / gain; gain: the sum of any row of the matrix.
     */
    float gain = 0;
    for (int c = 0; c < 3; c++)
        for (int k = 0; k < 3; k++)
            gain += luma[c] * develop->matrix[3 * c + k];
    if (!(gain > 0))
        return out;
    for (int c = 0; c < 3; c++) {
        float range = levels->white - levels->black[c], mul = develop->mul[c];
        read[c] = share[c] * mul * mul * levels->read_dn * levels->read_dn / (range * range);
        photon[c] = share[c] * mul * levels->photon_dn / (range * gain);
    }
    for (int i = 0; i < 3; i++) { /* Y, R - Y, B - Y */
        float floor = 0, slope = 0;
        for (int k = 0; k < 3; k++) {
            float of_y = 0, m;
            for (int c = 0; c < 3; c++)
                of_y += luma[c] * develop->matrix[3 * c + k];
            m = i == 0 ? of_y : develop->matrix[3 * (i == 1 ? 0 : 2) + k] - of_y;
            if (one_colour) /* the same sample stands in all three */
                m = i == 0 && k == 1 ? gain : 0;
            floor += m * m * read[k];
            slope += m * m * photon[k];
        }
        if (i == 0) {
            out.luma[0] = floor;
            out.luma[1] = slope;
        } else if (out.luma[0] + out.luma[1] > 0) /* their ratio at the key serves all light */
            out.chroma[i - 1] = (floor + slope) / (out.luma[0] + out.luma[1]);
    }
    return out;
}

static float smooth(float x)
{
    x = fminf(fmaxf(x, 0), 1);
    return x * x * (3 - 2 * x);
}

static struct dw_settle step_of(const struct dw_light_noise *noise, const struct dw_noise_params *p,
                                float luma_trade, float chroma_trade, int reach)
{
    /* A difference has the variance of both. */
    struct dw_settle s = {.step = reach,
                          .floor = fmaxf(2 * noise->luma[0], 1e-20f),
                          .slope = noise->luma[1],
                          .luma_limit = 1 / (p->luma_limit * p->luma_limit),
                          .chroma_limit = 1 / (p->chroma_limit * p->chroma_limit),
                          .luma_trade = fminf(luma_trade, DW_NOISE_MOST_TRADE),
                          .chroma_trade = fminf(chroma_trade, DW_NOISE_MOST_TRADE)};
    /* Without colour there is no difference to compare. */
    s.of_u = noise->chroma[0] > 1e-6f ? 1 / noise->chroma[0] : 0;
    s.of_v = noise->chroma[1] > 1e-6f ? 1 / noise->chroma[1] : 0;
    return s;
}

enum dw_status dw_noise_open(struct dw_noise_window *w, const struct dw_kernels *k,
                             const struct dw_light_noise *noise,
                             const struct dw_noise_params *params, float strength, int reach,
                             int width, int height, struct dw_error *err)
{
    float relative = sqrtf(noise->luma[0] + noise->luma[1]);
    strength *= smooth((relative - params->least) / (params->most - params->least));
    w->on = strength > 0;
    if (!w->on)
        return DW_OK;
    w->k = k;
    w->width = width;
    w->height = height;
    w->next = 0;
    w->first = step_of(noise, params, strength * params->luma_trade,
                       strength * params->chroma_trade, reach);
    w->second = step_of(noise, params, 0, strength * params->chroma_trade, 2 * reach);
    w->stride = (size_t)width + 2 * EDGE;
    if (!dw_grow(&w->rows, 3 * ROWS * w->stride * sizeof(float)))
        return dw_fail(err, DW_ERR_MEMORY, "no memory for rows of %d pixels", width);
    return DW_OK;
}

void dw_noise_free(struct dw_noise_window *w)
{
    dw_grow_free(&w->rows);
}

static float *plane(const struct dw_noise_window *w, int row, int i)
{
    return (float *)w->rows.p + (size_t)(3 * row + i) * w->stride + EDGE;
}

static float *in_row(const struct dw_noise_window *w, int y, int i)
{
    return plane(w, y % IN_ROWS, i);
}

static float *mid_row(const struct dw_noise_window *w, int y, int i)
{
    return plane(w, IN_ROWS + y % MID_ROWS, i);
}

/* Beyond an edge the outermost pixel goes on: nothing is traded with it. */
static void spread_edges(const struct dw_noise_window *w, float *row)
{
    for (int i = 1; i <= EDGE; i++) {
        row[-i] = row[0];
        row[w->width - 1 + i] = row[w->width - 1];
    }
}

static int inside(const struct dw_noise_window *w, int y)
{
    return y < 0 ? 0 : y < w->height ? y : w->height - 1;
}

static void settle(const struct dw_noise_window *w, const struct dw_settle *step, int y,
                   float *(*from)(const struct dw_noise_window *, int, int), float *const out[3])
{
    struct dw_settle_rows rows;
    for (int i = 0; i < 3; i++) {
        rows.up[i] = from(w, inside(w, y - step->step), i);
        rows.mid[i] = from(w, y, i);
        rows.down[i] = from(w, inside(w, y + step->step), i);
    }
    w->k->noise->settle(step, &rows, (size_t)w->width, out[0], out[1], out[2]);
}

/* Takes in source row y and makes the row of the first step that it completes. */
static void take_row(struct dw_noise_window *w, int y,
                     void (*source)(void *ctx, int y, float *const rgb[3]), void *ctx)
{
    if (y < w->height) {
        const float luma[3] = DW_WIDE_LUMA;
        float *const rgb[3] = {in_row(w, y, 1), in_row(w, y, 0), in_row(w, y, 2)};
        source(ctx, y, rgb);
        w->k->noise->split(luma, (size_t)w->width, rgb[0], rgb[1], rgb[2]);
        for (int i = 0; i < 3; i++)
            spread_edges(w, in_row(w, y, i));
    }
    int done = y - w->first.step;
    if (done < 0 || done >= w->height)
        return;
    float *const out[3] = {mid_row(w, done, 0), mid_row(w, done, 1), mid_row(w, done, 2)};
    settle(w, &w->first, done, in_row, out);
    for (int i = 0; i < 3; i++)
        spread_edges(w, out[i]);
}

void dw_noise_row(struct dw_noise_window *w, int y,
                  void (*source)(void *ctx, int y, float *const rgb[3]), void *ctx,
                  float *const rgb[3])
{
    int last = y + w->first.step + w->second.step, begin = y - w->second.step - 2 * w->first.step;
    if (w->next > last + 1)
        w->next = begin > 0 ? begin : 0;
    for (; w->next <= last; w->next++)
        take_row(w, w->next, source, ctx);
    const float luma[3] = DW_WIDE_LUMA;
    float *const out[3] = {plane(w, ROWS - 1, 0), plane(w, ROWS - 1, 1), plane(w, ROWS - 1, 2)};
    settle(w, &w->second, y, mid_row, out);
    w->k->noise->join(luma, out[0], out[1], out[2], (size_t)w->width, rgb[0], rgb[1], rgb[2]);
}
