/* hot.c: see hot.h. */
#include "render/hot.h"

struct dw_hot_row dw_hot_in_row(const struct dw_hot *hot, size_t n, int y)
{
    size_t low = 0, high = n;
    while (low < high) {
        size_t mid = low + (high - low) / 2;
        if (hot[mid].y < y)
            low = mid + 1;
        else
            high = mid;
    }
    size_t end = low;
    while (end < n && hot[end].y == y)
        end++;
    return (struct dw_hot_row){hot + low, end - low};
}

static bool is_hot(const struct dw_hot *hot, size_t n, int x, int y)
{
    struct dw_hot_row row = dw_hot_in_row(hot, n, y);
    for (size_t i = 0; i < row.n; i++)
        if (row.hot[i].x == x)
            return true;
    return false;
}

/* Offsets by distance; same-coloured ones are picked from them. */
static const int8_t around[][2] = {
    {0, -1}, {-1, 0}, {1, 0}, {0, 1}, {-1, -1}, {1, -1}, {-1, 1}, {1, 1}, {0, -2}, {-2, 0},
    {2, 0}, {0, 2}, {-1, -2}, {1, -2}, {-2, -1}, {2, -1}, {-2, 1}, {2, 1}, {-1, 2}, {1, 2},
    {-2, -2}, {2, -2}, {-2, 2}, {2, 2}, {0, -3}, {-3, 0}, {3, 0}, {0, 3}, {-1, -3}, {1, -3},
    {-3, -1}, {3, -1}, {-3, 1}, {3, 1}, {-1, 3}, {1, 3},
};

static uint8_t colour_at(const struct dw_mosaic *m, int x, int y)
{
    return m->pattern[(y % m->period) * m->period + x % m->period];
}

static uint16_t median_of(uint16_t *v, int n)
{
    for (int i = 1; i < n; i++)
        for (int k = i; k > 0 && v[k] < v[k - 1]; k--) {
            uint16_t t = v[k];
            v[k] = v[k - 1];
            v[k - 1] = t;
        }
    return n % 2 ? v[n / 2] : (uint16_t)((v[n / 2 - 1] + v[n / 2] + 1) / 2);
}

uint16_t dw_hot_repair(const struct dw_mosaic *m, const struct dw_hot *hot, size_t n, int x, int y,
                       int channel)
{
    bool mosaic = m->cfa == DW_CFA_BAYER || m->cfa == DW_CFA_XTRANS;
    int samples = m->cfa == DW_CFA_RGB ? 3 : 1;
    uint16_t near[4];
    int found = 0;
    for (size_t i = 0; i < sizeof around / sizeof *around && found < 4; i++) {
        int u = x + around[i][0], v = y + around[i][1];
        if (u < 0 || v < 0 || u >= m->width || v >= m->height)
            continue;
        if (mosaic && colour_at(m, u, v) != colour_at(m, x, y))
            continue;
        if (is_hot(hot, n, u, v))
            continue;
        near[found++] = m->px[((size_t)v * (size_t)m->width + (size_t)u) * (size_t)samples +
                              (size_t)channel];
    }
    if (found == 0)
        return m->px[((size_t)y * (size_t)m->width + (size_t)x) * (size_t)samples +
                     (size_t)channel];
    return median_of(near, found);
}
