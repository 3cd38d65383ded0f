/* onward.c: see onward.h. */
#include "render/clipped/onward.h"

#include "render/kernels/fastmath.h"

#include <math.h>

#define KNOWN 0.98f /* share of its own light from which on a tile's colour stays as it is */

/* Weighted sums over tiles: places, from the tile asked for, and log2 of red and blue over green.
 */
struct sums {
    float n, x, y, xx, xy, yy, c[2], cx[2], cy[2];
};

static void add(struct sums *s, float w, float x, float y, const float c[2])
{
    s->n += w;
    s->x += w * x;
    s->y += w * y;
    s->xx += w * x * x;
    s->xy += w * x * y;
    s->yy += w * y * y;
    for (int k = 0; k < 2; k++) {
        s->c[k] += w * c[k];
        s->cx[k] += w * x * c[k];
        s->cy[k] += w * y * c[k];
    }
}

static float within(float v, float most)
{
    return v < -most ? -most : v > most ? most : v;
}

/* The plane's value at the tile asked for. */
static void carry_on(const struct sums *s, const struct dw_onward_params *p, float out[2])
{
    float x = s->x / s->n, y = s->y / s->n;
    float xx = s->xx / s->n - x * x, xy = s->xy / s->n - x * y, yy = s->yy / s->n - y * y;
    float spread = sqrtf(dwk_max(xx + yy, 0)), off = sqrtf(x * x + y * y);
    float far = p->farthest * spread, reach = off > far ? far / off : 1;
    xx += p->ridge;
    yy += p->ridge;
    float det = xx * yy - xy * xy;
    for (int k = 0; k < 2; k++) {
        float mean = s->c[k] / s->n;
        float cx = s->cx[k] / s->n - mean * x, cy = s->cy[k] / s->n - mean * y;
        float along = (cx * yy - cy * xy) / det, down = (cy * xx - cx * xy) / det;
        out[k] = mean - within(reach * (along * x + down * y), p->most_stops);
    }
}

/* Largest channel 1, from log2 of red and blue over green. */
static void colour_of(const float c[2], float rgb[3])
{
    float v[3] = {dwk_exp2(c[0]), 1, dwk_exp2(c[1])};
    float most = dwk_max(dwk_max(v[0], v[1]), v[2]);
    for (int k = 0; k < 3; k++)
        rgb[k] = v[k] / most;
}

void dw_onward_colours(struct dw_sums *map, int cols, int rows, float lean, struct dw_sums *work,
                       const struct dw_onward_params *p)
{
    for (int i = 0; i < cols * rows; i++) { /* for rgb two logarithms and how far it is known */
        const float *v = map[i].rgb;
        work[i].rgb[0] = dwk_log2(v[0] / v[1]);
        work[i].rgb[1] = dwk_log2(v[2] / v[1]);
        work[i].weight = map[i].weight / (map[i].weight + lean);
    }
    const float unit = 1 / (p->near * p->near);
    for (int y = 0; y < rows; y++)
        for (int x = 0; x < cols; x++) {
            const float own = work[y * cols + x].weight;
            struct sums s = {0};
            if (own > KNOWN)
                continue;
            for (int v = y > p->reach ? y - p->reach : 0; v <= y + p->reach && v < rows; v++)
                for (int u = x > p->reach ? x - p->reach : 0; u <= x + p->reach && u < cols; u++) {
                    const struct dw_sums *t = &work[v * cols + u];
                    float dx = (float)(u - x), dy = (float)(v - y);
                    float near = 1 / (1 + (dx * dx + dy * dy) * unit);
                    if (t->weight > 0)
                        add(&s, t->weight * near * near, dx, dy, t->rgb);
                }
            /* what is told by little goes by what the wider surroundings say */
            float told = (1 - own) * s.n / (s.n + p->least), c[2];
            if (!(told > 0))
                continue;
            carry_on(&s, p, c);
            for (int k = 0; k < 2; k++)
                c[k] = work[y * cols + x].rgb[k] + told * (c[k] - work[y * cols + x].rgb[k]);
            colour_of(c, map[y * cols + x].rgb);
        }
}
