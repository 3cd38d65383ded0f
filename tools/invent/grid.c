/*
 * grid.c - see grid.h.
 */
#include "grid.h"

#include "colour.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Fills one node. (x, y) are mosaic pixels of the unshifted frame. */
static void node(struct dwi_grid *g, const struct dwi_stage *st, const struct dwi_sky *sky,
                 double x, double y, size_t at)
{
    double d[3], rgb[3] = {0, 0, 0}, extra[3] = {0, 0, 0}, cam[3], direct = 1, stars = 1;
    dwi_lens_direction(&st->lens, x, y, d);
    if (d[2] > -0.12) {
        double up[3] = {d[0], d[1], d[2] > 0 ? d[2] : 0};
        dwi_sky_radiance(sky, up, rgb);
        stars = dwi_weather_sky(&g->weather, up, rgb);
    }
    if (d[2] < 0.2)
        direct = dwi_weather_ground(&g->weather, st, d, extra);
    dwi_camera_rgb(rgb, cam);
    for (int c = 0; c < 3; c++)
        g->plane[DWI_G_SKY + c][at] = (float)cam[c];
    dwi_camera_rgb(extra, cam);
    for (int c = 0; c < 3; c++)
        g->plane[DWI_G_EXTRA + c][at] = (float)cam[c];
    g->plane[DWI_G_DIRECT][at] = (float)direct;
    g->plane[DWI_G_STARS][at] = (float)stars;
}

int dwi_grid_make(struct dwi_grid *g, const struct dwi_stage *st, const struct dwi_shot *shot,
                  const struct dwi_sky *sky)
{
    int step = st->p->width / 150;
    memset(g, 0, sizeof *g);
    g->step = step < 4 ? 4 : step;
    g->w = (st->p->width + g->step - 1) / g->step + 1;
    g->h = (st->p->height + g->step - 1) / g->step + 1;
    size_t n = (size_t)g->w * (size_t)g->h;
    float *all = malloc(n * DWI_G_PLANES * sizeof *all);
    if (!all)
        return -1;
    for (int i = 0; i < DWI_G_PLANES; i++)
        g->plane[i] = all + n * (size_t)i;
    dwi_weather_at(&g->weather, st, shot, sky);
    for (int j = 0; j < g->h; j++)
        for (int i = 0; i < g->w; i++)
            node(g, st, sky, i * g->step - shot->shift_x, j * g->step - shot->shift_y,
                 (size_t)j * (size_t)g->w + (size_t)i);
    return 0;
}

void dwi_grid_free(struct dwi_grid *g)
{
    free(g->plane[0]);
    memset(g, 0, sizeof *g);
}

float dwi_grid_value(const struct dwi_grid *g, int plane, double x, double y)
{
    double u = x / g->step, v = y / g->step;
    u = u < 0 ? 0 : u > g->w - 1.001 ? g->w - 1.001 : u;
    v = v < 0 ? 0 : v > g->h - 1.001 ? g->h - 1.001 : v;
    int i = (int)u, j = (int)v;
    float a = (float)(u - i), b = (float)(v - j);
    const float *q = g->plane[plane] + (size_t)j * (size_t)g->w + (size_t)i;
    return (q[0] * (1 - a) + q[1] * a) * (1 - b) + (q[g->w] * (1 - a) + q[g->w + 1] * a) * b;
}
