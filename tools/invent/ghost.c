/*
 * ghost.c - see ghost.h.
 */
#include "ghost.h"

#include "colour.h"
#include "ground.h"
#include "rng.h"

#include <math.h>
#include <stddef.h>

/* Shape of a ghost, mosaic pixels. */
struct ghost {
    double x, y, rx, ry; /* middle, half axes */
    double edge;         /* share of the half axes over which it fades, about their end */
    double second[2];    /* where the pane's other side puts it again, a little fainter */
    double rgb[3];       /* colour at a luminance of 1 */
};

static const double second_share = 0.7, glow_share = 0.02, glow_wide = 4;

static struct ghost shape(const struct dwi_params *p, int id)
{
    uint64_t k = dwi_key(p->seed, DWI_S_GHOST, (uint64_t)id * 16);
    struct ghost g;
    double side = dwi_uniform(k + 1) < 0.5 ? -1 : 1, angle = 2 * M_PI * dwi_uniform(k + 7);
    g.x = p->width * (0.5 + side * (0.10 + 0.18 * dwi_uniform(k)));
    g.y = p->height * (0.22 + 0.5 * dwi_uniform(k + 2));
    g.rx = p->width * (0.025 + 0.045 * dwi_uniform(k + 3));
    g.ry = g.rx * (0.6 + 0.8 * dwi_uniform(k + 4));
    g.edge = 0.25 + 0.45 * dwi_uniform(k + 5);
    g.second[0] = 0.5 * g.rx * cos(angle);
    g.second[1] = 0.5 * g.rx * sin(angle);
    dwi_rgb_of_kelvin(2600 + 1400 * dwi_uniform(k + 6), g.rgb);
    return g;
}

static double fade(double r, double edge)
{
    double t = (r - (1 - edge)) / (2 * edge);
    return t <= 0 ? 1 : t >= 1 ? 0 : 1 - t * t * t * (t * (6 * t - 15) + 10);
}

static double height(const struct ghost *g, double x, double y)
{
    double u = (x - g->x) / g->rx, v = (y - g->y) / g->ry;
    double a = (x - g->x - g->second[0]) / g->rx, b = (y - g->y - g->second[1]) / g->ry;
    double far = (u * u + v * v) / (glow_wide * glow_wide);
    return (fade(hypot(u, v), g->edge) + second_share * fade(hypot(a, b), g->edge)) /
               (1 + second_share) +
           glow_share * exp(-far / 2);
}

void dwi_ghost_light(const struct dwi_params *p, int id, double peak, double x, double y,
                     double rgb[3])
{
    struct ghost g = shape(p, id);
    double h = peak * height(&g, x, y);
    for (int c = 0; c < 3; c++)
        rgb[c] = h * g.rgb[c];
}

double dwi_ghost_share(const struct dwi_params *p, const struct dwi_lens_map *m,
                       const struct dwi_sky *sky, int id, double peak)
{
    struct ghost g = shape(p, id);
    double behind = 0, ghost = 0;
    for (int j = -2; j <= 2; j++)
        for (int i = -2; i <= 2; i++) {
            double x = g.x + 0.25 * i * g.rx, y = g.y + 0.25 * j * g.ry, d[3], rgb[3];
            dwi_lens_direction(m, x, y, d);
            double az = atan2(d[0], d[1]) - m->axis_az;
            az -= 2 * M_PI * floor(az / (2 * M_PI) + 0.5);
            if (asin(d[2]) * 180 / M_PI < dwi_skyline_deg(p, az))
                for (int c = 0; c < 3; c++)
                    rgb[c] = 0.12 / M_PI *
                             (sky->sky_rgb[c] + 0.5 * sky->sun_rgb[c] * fmax(sky->a.sun[2], 0.05));
            else
                dwi_sky_radiance(sky, d, rgb);
            behind += 0.21263901 * rgb[0] + 0.71516868 * rgb[1] + 0.07219232 * rgb[2];
            ghost += peak * height(&g, x, y);
        }
    return behind > 0 ? ghost / behind : 0;
}

void dwi_ghost_draw(const struct dwi_stage *st, const struct dwi_shot *shot, float *light)
{
    const struct dwi_params *p = st->p;
    if (!(shot->fault.ghost > 0))
        return;
    struct ghost g = shape(p, shot->fault.ghost_id);
    double cam[3];
    dwi_camera_rgb(g.rgb, cam);
    for (int y = 0; y < p->height; y++)
        for (int x = 0; x < p->width; x++) {
            int wx = x - shot->shift_x, wy = y - shot->shift_y;
            size_t at = (size_t)(wy + DWI_MARGIN) * (size_t)st->world.w + (size_t)(wx + DWI_MARGIN);
            if (st->world.material[at] == DWI_ROOM)
                continue;
            light[(size_t)y * (size_t)p->width + (size_t)x] +=
                (float)(shot->fault.ghost * height(&g, wx, wy) * cam[dwi_colour_at(st, x, y)]);
        }
}
