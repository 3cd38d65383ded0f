/* pixels_xtrans.c: see pixels_xtrans.h. */
#include "render/mosaic/pixels_xtrans.h"

/* Row y of the mosaic in balanced levels. */
static const float *level_row(struct dw_pixels *p, int y)
{
    int slot = y % DW_PIXELS_RING;
    float *out = p->ring + (size_t)slot * p->stride;
    if (p->held[slot] == y)
        return out;
    struct dw_samples *s = p->s;
    const uint16_t *row = dw_samples_row(s, y);
    for (int x = 0; x < s->m->width; x++) {
        int c = dw_samples_colour(s, x, y);
        out[x] = ((float)row[x] - s->black[c]) * s->scale[c] * p->mul[c];
    }
    p->held[slot] = y;
    return out;
}

void dw_pixels_xtrans_row(struct dw_pixels *p, int y, float *const rgb[3], float *peak)
{
    int w = p->s->m->width, h = p->s->m->height;
    int top = y < 2 ? 0 : y - 2, bottom = y + 2 < h ? y + 2 : h - 1;
    const float *row[5] = {NULL};
    for (int v = top; v <= bottom; v++)
        row[v - top] = level_row(p, v);
    for (int x = 0; x < w; x++) {
        float sum[3] = {0}, weight[3] = {0}, most = -1.0f;
        for (int v = top; v <= bottom; v++)
            for (int u = x < 2 ? 0 : x - 2; u <= x + 2 && u < w; u++) {
                int c = dw_samples_colour(p->s, u, v);
                int d = (u - x) * (u - x) + (v - y) * (v - y);
                float k = 1.0f / (float)(1 + d * d), level = row[v - top][u];
                sum[c] += k * level;
                weight[c] += k;
                most = c == 1 && d <= 2 && level > most ? level : most;
            }
        for (int c = 0; c < 3; c++)
            rgb[c][x] = weight[c] > 0 ? sum[c] / weight[c] : 0.0f;
        peak[x] = most;
    }
}
