/* hot.c: see hot.h. */
#include "render/mosaic/hot.h"

#include <stdlib.h>
#include <string.h>

/* Offsets by distance; same-coloured ones are picked from them. */
static const int8_t around[][2] = {
    {0, -1}, {-1, 0},  {1, 0},   {0, 1},   {-1, -1}, {1, -1},  {-1, 1}, {1, 1},  {0, -2},
    {-2, 0}, {2, 0},   {0, 2},   {-1, -2}, {1, -2},  {-2, -1}, {2, -1}, {-2, 1}, {2, 1},
    {-1, 2}, {1, 2},   {-2, -2}, {2, -2},  {-2, 2},  {2, 2},   {0, -3}, {-3, 0}, {3, 0},
    {0, 3},  {-1, -3}, {1, -3},  {-3, -1}, {3, -1},  {-3, 1},  {3, 1},  {-1, 3}, {1, 3},
};

static bool has_colours(const struct dw_mosaic *m)
{
    return m->cfa == DW_CFA_BAYER || m->cfa == DW_CFA_XTRANS;
}

static uint8_t colour_at(const struct dw_mosaic *m, int x, int y)
{
    return m->pattern[(y % m->period) * m->period + x % m->period];
}

static int by_place(const void *a, const void *b)
{
    const struct dw_hot *p = a, *q = b;
    return p->y != q->y ? p->y - q->y : p->x - q->x;
}

static bool is_hot(const struct dw_hot *hot, size_t n, int x, int y)
{
    const struct dw_hot at = {(uint16_t)x, (uint16_t)y};
    return n > 0 && bsearch(&at, hot, n, sizeof *hot, by_place);
}

static struct dw_hot_repair look_around(const struct dw_hot_map *map, const struct dw_mosaic *m,
                                        int x, int y)
{
    struct dw_hot_repair r = {.x = (uint16_t)x};
    for (size_t i = 0; i < sizeof around / sizeof *around && r.n < 4; i++) {
        int u = x + around[i][0], v = y + around[i][1];
        if (u < 0 || v < 0 || u >= m->width || v >= m->height)
            continue;
        if (has_colours(m) && colour_at(m, u, v) != colour_at(m, x, y))
            continue;
        if (!is_hot(map->hot, map->n_hot, u, v))
            r.near[r.n++] = (uint32_t)v * (uint32_t)m->width + (uint32_t)u;
    }
    return r;
}

enum dw_status dw_hot_map_make(struct dw_hot_map *map, const struct dw_hot *hot, size_t n_hot,
                               const struct dw_mosaic *m, struct dw_error *err)
{
    size_t pattern = has_colours(m) ? (size_t)(m->period * m->period) : 0;
    if (map->row && map->hot == hot && map->n_hot == n_hot && map->width == m->width &&
        map->height == m->height && map->period == m->period &&
        memcmp(map->pattern, m->pattern, pattern) == 0)
        return DW_OK;
    dw_hot_map_free(map);
    map->hot = hot;
    map->n_hot = n_hot;
    map->width = m->width;
    map->height = m->height;
    map->period = m->period;
    memcpy(map->pattern, m->pattern, sizeof map->pattern);
    map->repair = malloc((n_hot + 1) * sizeof *map->repair);
    map->row = malloc(((size_t)m->height + 1) * sizeof *map->row);
    if (!map->repair || !map->row) {
        dw_hot_map_free(map);
        return dw_fail(err, DW_ERR_MEMORY, "no memory for %zu hot pixels", n_hot);
    }
    uint32_t n = 0;
    size_t i = 0;
    for (int y = 0; y < m->height; y++) {
        map->row[y] = n;
        for (; i < n_hot && hot[i].y <= y; i++)
            if (hot[i].y == y && hot[i].x < m->width)
                map->repair[n++] = look_around(map, m, hot[i].x, y);
    }
    map->row[m->height] = n;
    return DW_OK;
}

void dw_hot_map_free(struct dw_hot_map *map)
{
    free(map->repair);
    free(map->row);
    *map = (struct dw_hot_map){0};
}

uint16_t dw_hot_value(const struct dw_mosaic *m, const struct dw_hot_repair *repair, int y,
                      int channel)
{
    size_t step = m->cfa == DW_CFA_RGB ? 3 : 1, c = (size_t)channel;
    int n = repair->n;
    uint16_t v[4];
    if (n == 0)
        return m->px[((size_t)y * (size_t)m->width + repair->x) * step + c];
    for (int i = 0; i < n; i++) {
        uint16_t value = m->px[repair->near[i] * step + c];
        int k = i;
        for (; k > 0 && v[k - 1] > value; k--)
            v[k] = v[k - 1];
        v[k] = value;
    }
    return n % 2 ? v[n / 2] : (uint16_t)((v[n / 2 - 1] + v[n / 2] + 1) / 2);
}
