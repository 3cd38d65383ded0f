/*
 * movers.c - see movers.h.
 */
#include "movers.h"

#include "colour.h"
#include "light.h"
#include "rng.h"
#include "trails.h"

#include <math.h>
#include <stddef.h>

static int happens(const struct dwi_params *p, const struct dwi_shot *shot, double share, int what)
{
    return shot->sky.sun_alt < -5 * M_PI / 180 &&
           dwi_uniform(dwi_key(p->seed, DWI_S_MOVER, (uint64_t)(what * 100000 + shot->index))) <
               share;
}

int dwi_has_aircraft(const struct dwi_params *p, const struct dwi_shot *shot)
{
    return happens(p, shot, p->aircraft, 1);
}

int dwi_has_headlights(const struct dwi_params *p, const struct dwi_shot *shot)
{
    return happens(p, shot, p->headlights, 2);
}

/* An aircraft crosses the frame in a straight line with steady lights and a strobe each second. */
static void aircraft(const struct dwi_stage *st, const struct dwi_shot *shot,
                     const struct dwi_grid *g, float *light)
{
    const struct dwi_params *p = st->p;
    uint64_t k = dwi_key(p->seed, DWI_S_MOVER, 3000000 + (uint64_t)shot->index * 8);
    double x = p->width * dwi_uniform(k), y = p->height * 0.55 * dwi_uniform(k + 1);
    double speed = st->lens.focal_px * 0.012 * (0.6 + dwi_uniform(k + 2)); /* pixels a second */
    double turn = M_PI * (dwi_uniform(k + 3) - 0.5) * 0.5, vx = speed * cos(turn);
    double vy = speed * sin(turn), step = 0.4 / speed, lux = 1.2e-5;
    if (dwi_uniform(k + 4) < 0.5)
        vx = -vx;
    for (int i = 0; i * step < shot->time_s; i++) {
        double t = i * step;
        double px = x + vx * (t - shot->time_s / 2), py = y + vy * (t - shot->time_s / 2);
        if (px < 0 || py < 0 || px > p->width - 1 || py > p->height - 1)
            continue;
        double f = lux * step / shot->time_s * (fmod(t, 1.0) < step ? 40 : 1) *
                   (double)dwi_grid_value(g, DWI_G_STARS, px, py);
        double flux[3] = {0.7 * f, f, 0.6 * f};
        dwi_draw_point(st, shot, light, px, py, flux, dwi_lens_solid_angle(&st->lens, px, py));
    }
}

/* A disc of the given luminance, anti-aliased, its dark part after the moon's elongation. */
static void disc(const struct dwi_stage *st, const struct dwi_shot *shot, const struct dwi_grid *g,
                 float *light, const double dir[3], const double toward[3], double radius,
                 double elongation, const double cam[3])
{
    const struct dwi_params *p = st->p;
    double e[3] = {dir[0], dir[1], dir[2]}, x, y, sx, sy;
    if (p->refraction)
        dwi_refract(e);
    if (e[2] < -0.02 || dwi_lens_project(&st->lens, e, &x, &y))
        return;
    x += shot->shift_x;
    y += shot->shift_y;
    double r = radius * sqrt(1 / dwi_lens_solid_angle(&st->lens, x, y)), ux = 1, uy = 0;
    /* the lit side looks along the great circle to the sun */
    double near[3];
    for (int i = 0; i < 3; i++)
        near[i] = e[i] + 0.01 * toward[i];
    double l = sqrt(near[0] * near[0] + near[1] * near[1] + near[2] * near[2]);
    for (int i = 0; i < 3; i++)
        near[i] /= l;
    if (!dwi_lens_project(&st->lens, near, &sx, &sy)) {
        double d = hypot(sx + shot->shift_x - x, sy + shot->shift_y - y) + 1e-12;
        ux = (sx + shot->shift_x - x) / d;
        uy = (sy + shot->shift_y - y) / d;
    }
    for (int py = (int)(y - r - 2); py <= (int)(y + r + 2); py++)
        for (int px = (int)(x - r - 2); px <= (int)(x + r + 2); px++) {
            if (px < 0 || py < 0 || px >= p->width || py >= p->height)
                continue;
            int in = 0;
            for (int s = 0; s < 16; s++) {
                double dx = (px + (s % 4 - 1.5) / 4 - x) / r, dy = (py + (s / 4 - 1.5) / 4 - y) / r;
                double u = dx * ux + dy * uy, v = dx * uy - dy * ux;
                in += dx * dx + dy * dy < 1 && u > cos(elongation) * sqrt(fmax(0, 1 - v * v));
            }
            size_t w = (size_t)(py - shot->shift_y + DWI_MARGIN) * (size_t)st->world.w +
                       (size_t)(px - shot->shift_x + DWI_MARGIN);
            double seen = st->world.cover[w] / 255.0 * in / 16.0 *
                          (double)dwi_grid_value(g, DWI_G_STARS, px, py);
            light[(size_t)py * (size_t)p->width + (size_t)px] +=
                (float)(seen * cam[dwi_colour_at(st, px, py)]);
        }
}

static void discs(const struct dwi_stage *st, const struct dwi_shot *shot,
                  const struct dwi_sky *sky, const struct dwi_grid *g, float *light)
{
    double rgb[3], cam[3];
    if (sky->a.sun[2] > -0.02) {
        double air = dwi_air_mass(sky->sun_alt_deg), level = 1.6e9 * exp(-0.25 * air);
        dwi_rgb_of_sun(air, rgb);
        for (int i = 0; i < 3; i++)
            rgb[i] *= level;
        dwi_camera_rgb(rgb, cam);
        disc(st, shot, g, light, sky->a.sun, sky->a.sun, 0.00465, M_PI, cam);
    }
    if (st->p->moon && sky->a.moon[2] > -0.02) {
        double air = dwi_air_mass(sky->a.moon_alt * 180 / M_PI), level = 4000 * exp(-0.22 * air);
        dwi_rgb_of_sun(air, rgb);
        for (int i = 0; i < 3; i++)
            rgb[i] *= level;
        dwi_camera_rgb(rgb, cam);
        disc(st, shot, g, light, sky->a.moon, sky->a.sun, 0.272481 * sky->a.moon_parallax,
             sky->a.moon_elongation, cam);
    }
}

/* A person: 1.7 m, at a distance and an azimuth of the moment; body and head as ellipses. */
static void person(const struct dwi_stage *st, const struct dwi_shot *shot,
                   const struct dwi_sky *sky, int n, float *light)
{
    const struct dwi_params *p = st->p;
    uint64_t who = dwi_key(p->seed, DWI_S_MOVER, 6000000 + (uint64_t)n * 8);
    uint64_t now =
        dwi_key(p->seed, DWI_S_MOVER, 7000000 + (uint64_t)shot->index * 512 + (uint64_t)n * 8);
    if (dwi_uniform(now) < 0.35)
        return; /* indoors or out of sight */
    double metres = 9 + 35 * dwi_uniform(who), az = st->lens.axis_az;
    az += (-45 + 90 * dwi_uniform(now + 1)) * M_PI / 180;
    double foot[3] = {metres * sin(az), metres * cos(az), -3}, x0, y0, x1, y1;
    double head[3] = {foot[0], foot[1], -3 + 1.7};
    for (int i = 0; i < 2; i++) {
        double *v = i ? head : foot, l = sqrt(v[0] * v[0] + v[1] * v[1] + v[2] * v[2]);
        v[0] /= l, v[1] /= l, v[2] /= l;
    }
    if (dwi_lens_project(&st->lens, foot, &x0, &y0) || dwi_lens_project(&st->lens, head, &x1, &y1))
        return;
    double rgb[3], cam[3], tall = hypot(x1 - x0, y1 - y0), tx = (x0 - x1) / tall;
    double ty = (y0 - y1) / tall; /* from the head down */
    for (int c = 0; c < 3; c++)
        rgb[c] = (sky->sky_rgb[c] + 0.5 * sky->sun_rgb[c]) / M_PI *
                 (0.04 + 0.4 * dwi_uniform(who + 1 + (uint64_t)c));
    dwi_camera_rgb(rgb, cam);
    int r = (int)tall + 1;
    for (int py = (int)y1 - r; py <= (int)y1 + r; py++)
        for (int px = (int)x1 - r; px <= (int)x1 + r; px++) {
            double v = ((px - x1) * tx + (py - y1) * ty) / tall; /* 0 head top .. 1 foot */
            double u = ((px - x1) * ty - (py - y1) * tx) / tall;
            int is_head = hypot(u / 0.065, (v - 0.08) / 0.08) < 1;
            int is_body = hypot(u / 0.15, (v - 0.57) / 0.43) < 1;
            int ix = px + shot->shift_x, iy = py + shot->shift_y;
            if ((is_head || is_body) && ix >= 0 && iy >= 0 && ix < p->width && iy < p->height)
                light[(size_t)iy * (size_t)p->width + (size_t)ix] =
                    (float)cam[dwi_colour_at(st, ix, iy)];
        }
}

void dwi_draw_movers(const struct dwi_stage *st, const struct dwi_shot *shot,
                     const struct dwi_sky *sky, const struct dwi_grid *g, float *light)
{
    discs(st, shot, sky, g, light);
    if (dwi_has_aircraft(st->p, shot))
        aircraft(st, shot, g, light);
    for (int i = 0; i < st->p->people && sky->sun_alt_deg > -4; i++)
        person(st, shot, sky, i, light);
}
