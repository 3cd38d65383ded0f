/*
 * frame.c - see frame.h.
 */
#include "frame.h"

#include "colour.h"
#include "ghost.h"
#include "grid.h"
#include "movers.h"
#include "optics.h"
#include "rng.h"
#include "sky.h"
#include "trails.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

int dwi_stage_make(struct dwi_stage *s, const struct dwi_params *p, char *err, int err_size)
{
    memset(s, 0, sizeof *s);
    s->p = p;
    int seen[3] = {0};
    for (int i = 0; i < 4; i++) {
        const char *at = p->bayer[i] ? strchr("RGB", p->bayer[i]) : NULL;
        if (!at) {
            snprintf(err, (size_t)err_size, "option bayer: '%s' is not like RGGB", p->bayer);
            return -1;
        }
        s->cfa[i] = (uint8_t)(at - "RGB");
        seen[s->cfa[i]]++;
    }
    if (strlen(p->bayer) != 4 || seen[0] != 1 || seen[1] != 2 || seen[2] != 1) {
        snprintf(err, (size_t)err_size, "option bayer: '%s' is not like RGGB", p->bayer);
        return -1;
    }
    dwi_lens_init(&s->lens, p);
    if (dwi_world_make(&s->world, p, &s->lens, p->jobs) || dwi_stars_make(&s->stars, p)) {
        snprintf(err, (size_t)err_size, "out of memory for a frame of %dx%d", p->width, p->height);
        dwi_stage_free(s);
        return -1;
    }
    return 0;
}

void dwi_stage_free(struct dwi_stage *s)
{
    dwi_world_free(&s->world);
    dwi_stars_free(&s->stars);
}

/* Light that each material sends back, per camera channel, cd/m2 at albedo 1. */
struct ground_light {
    float sky[DWI_MATERIALS][3];
    float sun[DWI_MATERIALS][3];
    float moon[DWI_MATERIALS][3];
    float extra[DWI_MATERIALS][3]; /* per lux of the grid's extra light */
    float sun_dir[3], moon_dir[3];
    float pane[8][3];                        /* light of each pane, lit or dark */
    float tree_leaf[64];                     /* flutter of foliage tiles, factors */
    float sun_alt;                           /* degrees */
    float room[3];                           /* light on the walls of the room, cd/m2 at albedo 1 */
    float fog_through[256], fog[3], veil[3]; /* camera channels */
};

/* Inside: a lamp of 60 lx until bedtime, and the twentieth part of the light outside. */
static void room_light(struct ground_light *g, const struct dwi_stage *st,
                       const struct dwi_shot *shot, const struct dwi_sky *sky)
{
    double lamp[3], r[3], rgb[3], cam[3];
    int on = dwi_lamp_on(st->p, shot, 0);
    dwi_rgb_of_kelvin(2900, lamp);
    dwi_material_rgb(DWI_ROOM, r);
    for (int c = 0; c < 3; c++)
        rgb[c] = r[c] / M_PI * (60 * on * lamp[c] + 0.05 * sky->sky_rgb[c]);
    dwi_camera_rgb(rgb, cam);
    for (int c = 0; c < 3; c++)
        g->room[c] = (float)cam[c];
}

static void ground_light(struct ground_light *g, const struct dwi_stage *st,
                         const struct dwi_shot *shot, const struct dwi_sky *sky,
                         const struct dwi_weather *wx)
{
    double cam[3];
    memset(g, 0, sizeof *g);
    for (int m = 0; m < DWI_MATERIALS; m++) {
        double r[3], v[3];
        const double *light[3] = {sky->sky_rgb, sky->sun_rgb, sky->moon_rgb};
        float(*to[3])[3] = {g->sky, g->sun, g->moon};
        dwi_material_rgb(m, r);
        for (int k = 0; k < 3; k++) {
            for (int c = 0; c < 3; c++)
                v[c] = r[c] * light[k][c] / M_PI;
            if (m >= DWI_PATCH0) { /* the target is lit by D65 of the same illuminance */
                double y =
                    0.21263901 * light[k][0] + 0.71516868 * light[k][1] + 0.07219232 * light[k][2];
                for (int c = 0; c < 3; c++)
                    v[c] = r[c] * y / M_PI;
            }
            dwi_camera_rgb(v, cam);
            for (int c = 0; c < 3; c++)
                to[k][m][c] = (float)cam[c];
        }
        for (int c = 0; c < 3; c++)
            g->extra[m][c] = (float)(r[c] / M_PI);
    }
    for (int i = 0; i < 3; i++) {
        g->sun_dir[i] = (float)sky->a.sun[i] / 127;
        g->moon_dir[i] = (float)sky->a.moon[i] / 127;
    }
    for (int i = 0; i < 8; i++) {
        double rgb[3], day = 0.05 / M_PI * (sky->sun_lux + sky->moon_lux + st->p->night_lx);
        double lit = dwi_lamp_on(st->p, shot, i) ? 40 : 0;
        dwi_rgb_of_kelvin(2900, rgb);
        for (int c = 0; c < 3; c++)
            rgb[c] = rgb[c] * lit + day;
        dwi_camera_rgb(rgb, cam);
        for (int c = 0; c < 3; c++)
            g->pane[i][c] = (float)cam[c];
    }
    for (int i = 0; i < 64; i++)
        g->tree_leaf[i] = (float)exp2(
            st->p->foliage * dwi_normal(dwi_key(st->p->seed, DWI_S_FOLIAGE,
                                                (uint64_t)shot->index * 64 + (uint64_t)i)));
    g->sun_alt = (float)sky->sun_alt_deg;
    for (int i = 0; i < 256; i++)
        g->fog_through[i] = (float)dwi_fog_through(wx, i);
    double fog[3];
    dwi_fog_light(wx, fog);
    dwi_camera_rgb(fog, cam);
    for (int c = 0; c < 3; c++)
        g->fog[c] = (float)cam[c];
    dwi_camera_rgb(wx->veil_rgb, cam);
    for (int c = 0; c < 3; c++)
        g->veil[c] = (float)cam[c];
    room_light(g, st, shot, sky);
}

static float smooth(float t)
{
    t = t < 0 ? 0 : t > 1 ? 1 : t;
    return t * t * (3 - 2 * t);
}

/* Light of a ground pixel. `at` indexes the world; c is its colour; direct and extra come from
 * the grid. */
static float ground_pixel(const struct ground_light *g, const struct dwi_world *w, size_t at, int c,
                          float direct, float extra, int tile)
{
    int m = w->material[at];
    float a = w->albedo[at];
    if (m == DWI_PANE)
        return g->pane[((int)a - 1) & 7][c];
    if (m == DWI_ROOM)
        return a * g->room[c];
    float ne = w->normal[0][at], nn = w->normal[1][at], nu = w->normal[2][at];
    float s = ne * g->sun_dir[0] + nn * g->sun_dir[1] + nu * g->sun_dir[2];
    float o = ne * g->moon_dir[0] + nn * g->moon_dir[1] + nu * g->moon_dir[2];
    float lit = w->shadow[at] ? smooth((g->sun_alt - 0.1f * w->shadow[at]) / 0.5f + 0.5f) : 1;
    float v = g->sky[m][c] * (0.6f + 0.4f / 127 * nu) + g->extra[m][c] * extra;
    if (s > 0)
        v += s * lit * direct * g->sun[m][c];
    if (o > 0)
        v += o * direct * g->moon[m][c];
    if (m == DWI_TREE || m == DWI_FOREST || m == DWI_MEADOW)
        v *= g->tree_leaf[tile & 63];
    v *= a;
    float t = g->fog_through[w->far[at]];
    return v * t + (1 - t) * g->fog[c] + g->veil[c];
}

/* Interpolates all planes of the grid to one row of pixels' height. */
static void grid_row(const struct dwi_grid *g, int y, float *row)
{
    int j = y / g->step;
    float b = (float)(y - j * g->step) / (float)g->step;
    for (int k = 0; k < DWI_G_PLANES - 1; k++) {
        const float *q = g->plane[k] + (size_t)j * (size_t)g->w;
        for (int i = 0; i < g->w; i++)
            row[k * g->w + i] = q[i] + (q[i + g->w] - q[i]) * b;
    }
}

static void compose(const struct dwi_stage *st, const struct dwi_shot *shot,
                    const struct dwi_grid *g, const struct ground_light *gl, float *row,
                    float *light)
{
    const struct dwi_params *p = st->p;
    const struct dwi_world *w = &st->world;
    int tile_px = p->width / 30 > 1 ? p->width / 30 : 1;
    float inv = 1.0f / (float)g->step;
    for (int y = 0; y < p->height; y++) {
        grid_row(g, y, row);
        float *out = light + (size_t)y * (size_t)p->width;
        size_t at = (size_t)(y - shot->shift_y + DWI_MARGIN) * (size_t)w->w +
                    (size_t)(DWI_MARGIN - shot->shift_x);
        /* whole rounds of 64 tiles more, for it must not be negative */
        int tile_row = (y - shot->shift_y + 32 + 128 * tile_px) / tile_px * 7;
        for (int i = 0, x = 0; x < p->width; i++)
            for (int k = 0; k < g->step && x < p->width; k++, x++, at++) {
                int c = dwi_colour_at(st, x, y), cover = w->cover[at];
                float f = (float)k * inv, v = 0;
                if (cover) {
                    const float *q = row + (DWI_G_SKY + c) * g->w + i;
                    v = (q[0] + (q[1] - q[0]) * f) * (float)cover * (1.0f / 255);
                }
                if (cover < 255) {
                    const float *e = row + (DWI_G_EXTRA + c) * g->w + i;
                    const float *d = row + DWI_G_DIRECT * g->w + i;
                    v += (1 - (float)cover * (1.0f / 255)) *
                         ground_pixel(gl, w, at, c, d[0] + (d[1] - d[0]) * f,
                                      e[0] + (e[1] - e[0]) * f, tile_row + x / tile_px);
                }
                out[x] = v;
            }
    }
}

/* The light as a lens without any blur would give it, shifted by whole pixels. */
static int sharp_light(const struct dwi_stage *st, const struct dwi_shot *shot, float *light)
{
    struct dwi_sky sky;
    struct dwi_grid grid;
    struct ground_light gl;
    dwi_sky_at_time(&sky, st->p, &shot->sky, st->lens.axis_az);
    if (dwi_grid_make(&grid, st, shot, &sky))
        return -1;
    float *row = malloc((size_t)grid.w * DWI_G_PLANES * sizeof *row);
    if (!row) {
        dwi_grid_free(&grid);
        return -1;
    }
    ground_light(&gl, st, shot, &sky, &grid.weather);
    compose(st, shot, &grid, &gl, row, light);
    dwi_draw_stars(st, shot, &grid, light);
    dwi_draw_movers(st, shot, &sky, &grid, light);
    dwi_ghost_draw(st, shot, light);
    free(row);
    dwi_grid_free(&grid);
    return 0;
}

int dwi_frame_light(const struct dwi_stage *st, const struct dwi_shot *shot, float *light)
{
    const struct dwi_params *p = st->p;
    if (!(st->lens_blur > 0))
        return sharp_light(st, shot, light);
    /* a pixel's neighbours must be of its own colour: the whole picture in each of the three */
    float *one = malloc((size_t)p->width * (size_t)p->height * sizeof *one);
    int bad = !one;
    for (int c = 0; c < 3 && !bad; c++) {
        struct dwi_stage of_one = *st;
        memset(of_one.cfa, c, sizeof of_one.cfa);
        bad = sharp_light(&of_one, shot, one) ||
              dwi_lens_blur(one, p->width, p->height, st->lens_blur, shot->part_x, shot->part_y);
        for (int y = 0; y < p->height && !bad; y++)
            for (int x = 0; x < p->width; x++)
                if (dwi_colour_at(st, x, y) == c)
                    light[(size_t)y * (size_t)p->width + (size_t)x] =
                        one[(size_t)y * (size_t)p->width + (size_t)x];
    }
    free(one);
    return bad ? -1 : 0;
}
