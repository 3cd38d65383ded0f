/* hot_thumb.c: hot pixels in thumbnails. See hot.h. */
#include "render/hot.h"

#include <stdbool.h>

/* True when the block holds a pixel of the list: the list is in the order of its rows. */
static bool holds_hot(const struct dw_thumb *t, const struct dw_hot *hot, size_t n_hot, int x,
                      int y)
{
    int left = x * t->block, top = y * t->block;
    for (int v = top; v < top + t->block; v++) {
        size_t i = dw_hot_find(hot, n_hot, left, v);
        if (i < n_hot && hot[i].y == v && hot[i].x < left + t->block)
            return true;
    }
    return false;
}

static void keep_in_range(const struct dw_thumb *t, const struct dw_hot *hot, size_t n_hot, int x,
                          int y, float *rgb)
{
    float low[3], high[3];
    int n = 0;
    for (int v = y - 1; v <= y + 1; v++)
        for (int u = x - 1; u <= x + 1; u++) {
            if (u < 0 || v < 0 || u >= t->width || v >= t->height || holds_hot(t, hot, n_hot, u, v))
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

void dw_hot_thumb(const struct dw_thumb *t, const struct dw_hot *hot, size_t n_hot, float *rgb)
{
    for (size_t i = 0; i < n_hot; i++) {
        int x = hot[i].x / t->block, y = hot[i].y / t->block;
        if (x < t->width && y < t->height)
            keep_in_range(t, hot, n_hot, x, y, rgb);
    }
}
