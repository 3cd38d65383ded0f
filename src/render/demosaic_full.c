/* demosaic_full.c: green by the flatter direction, red and blue by colour differences.
 *
 * The plain first version: green at red and blue is the mean of the two green neighbours along
 * the direction in which the mosaic changes less, corrected by the curvature of the pixel's own
 * colour (Hamilton & Adams 1997); red and blue are green plus the mean difference to green of the
 * nearest samples. */
#include "render/demosaic.h"

#include <math.h>
#include <stddef.h>

struct view {
    const float *v;
    int w, h;
};

static int mirror(int i, int n)
{
    if (i < 0)
        i = -i;
    if (i >= n)
        i = 2 * (n - 1) - i;
    return i < 0 ? 0 : i >= n ? n - 1 : i;
}

static float at(const struct view *m, int x, int y)
{
    return m->v[(size_t)mirror(y, m->h) * (size_t)m->w + (size_t)mirror(x, m->w)];
}

static float green_at(const struct view *m, int x, int y)
{
    float c = at(m, x, y);
    float left = at(m, x - 1, y), right = at(m, x + 1, y);
    float up = at(m, x, y - 1), down = at(m, x, y + 1);
    float bend_x = 2 * c - at(m, x - 2, y) - at(m, x + 2, y);
    float bend_y = 2 * c - at(m, x, y - 2) - at(m, x, y + 2);
    float change_x = fabsf(left - right) + fabsf(bend_x);
    float change_y = fabsf(up - down) + fabsf(bend_y);
    float gx = 0.5f * (left + right) + 0.25f * bend_x;
    float gy = 0.5f * (up + down) + 0.25f * bend_y;
    if (change_x < change_y)
        return gx;
    return change_y < change_x ? gy : 0.5f * (gx + gy);
}

/* Mean of colour minus green over the neighbours of (x, y) that were measured in this colour. */
static float difference(const struct view *m, const struct view *green, int x, int y, int colour,
                        const uint8_t pattern[4])
{
    float sum = 0;
    int n = 0;
    for (int v = -1; v <= 1; v++)
        for (int u = -1; u <= 1; u++) {
            int px = mirror(x + u, m->w), py = mirror(y + v, m->h);
            if (pattern[(py & 1) * 2 + (px & 1)] != colour)
                continue;
            sum += at(m, px, py) - at(green, px, py);
            n++;
        }
    return n ? sum / (float)n : 0.0f;
}

void dw_demosaic_full(const float *mosaic, int w, int h, const uint8_t pattern[4],
                      float *const rgb[3])
{
    struct view m = {mosaic, w, h}, green = {rgb[1], w, h};
    for (int y = 0; y < h; y++)
        for (int x = 0; x < w; x++) {
            size_t i = (size_t)y * (size_t)w + (size_t)x;
            rgb[1][i] = pattern[(y & 1) * 2 + (x & 1)] == 1 ? mosaic[i] : green_at(&m, x, y);
        }
    for (int y = 0; y < h; y++)
        for (int x = 0; x < w; x++) {
            size_t i = (size_t)y * (size_t)w + (size_t)x;
            for (int c = 0; c < 3; c += 2)
                rgb[c][i] = pattern[(y & 1) * 2 + (x & 1)] == c
                                ? mosaic[i]
                                : rgb[1][i] + difference(&m, &green, x, y, c, pattern);
        }
}
