/* hot_thumb.c: hot pixels in thumbnails. See hot.h. */
#include "render/mosaic/hot.h"

#include <stdbool.h>
#include <string.h>

/* Where the block of a pixel lies; false beyond the thumbnail. */
static bool block_of(const struct dw_thumb *t, struct dw_hot hot, int *x, int *y)
{
    *x = hot.x / t->block;
    *y = hot.y / t->block;
    return *x < t->width && *y < t->height;
}

static void keep_in_range(const struct dw_thumb *t, const uint8_t *held, int x, int y, float *rgb)
{
    float low[3], high[3];
    int n = 0;
    for (int v = y - 1; v <= y + 1; v++)
        for (int u = x - 1; u <= x + 1; u++) {
            if (u < 0 || v < 0 || u >= t->width || v >= t->height ||
                held[(size_t)v * (size_t)t->width + (size_t)u])
                continue; /* the block itself holds one, too */
            const float *near = t->rgb + ((size_t)v * (size_t)t->width + (size_t)u) * 3;
            for (int c = 0; c < 3; c++) {
                low[c] = n == 0 || near[c] < low[c] ? near[c] : low[c];
                high[c] = n == 0 || near[c] > high[c] ? near[c] : high[c];
            }
            n++;
        }
    float *own = rgb + ((size_t)y * (size_t)t->width + (size_t)x) * 3;
    for (int c = 0; n > 0 && c < 3; c++)
        own[c] = own[c] < low[c] ? low[c] : own[c] > high[c] ? high[c] : own[c];
}

void dw_hot_thumb(const struct dw_thumb *t, const struct dw_hot *hot, size_t n_hot, float *rgb,
                  uint8_t *held)
{
    int x, y;
    memset(held, 0, (size_t)t->width * (size_t)t->height);
    for (size_t i = 0; i < n_hot; i++)
        if (block_of(t, hot[i], &x, &y))
            held[(size_t)y * (size_t)t->width + (size_t)x] = 1;
    for (size_t i = 0; i < n_hot; i++)
        if (block_of(t, hot[i], &x, &y))
            keep_in_range(t, held, x, y, rgb);
}
