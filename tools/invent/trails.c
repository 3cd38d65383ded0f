/*
 * trails.c - see trails.h.
 */
#include "trails.h"

#include "light.h"

#include <math.h>
#include <stddef.h>

enum { REACH = 12 }; /* widest half window, pixels */

void dwi_draw_point(const struct dwi_stage *st, const struct dwi_shot *shot, float *light, double x,
                    double y, const double flux[3], double solid_angle)
{
    const struct dwi_params *p = st->p;
    double sigma = p->psf_px / 2.3548, root = sigma * M_SQRT2, wx[2 * REACH + 1], wy[2 * REACH + 1];
    int reach = (int)ceil(4 * sigma), x0 = (int)lround(x), y0 = (int)lround(y);
    reach = reach > REACH ? REACH : reach;
    if (x0 < -reach || y0 < -reach || x0 >= p->width + reach || y0 >= p->height + reach)
        return;
    for (int i = -reach; i <= reach; i++) { /* the Gaussian integrated over each pixel */
        wx[i + reach] = 0.5 * (erf((x0 + i + 0.5 - x) / root) - erf((x0 + i - 0.5 - x) / root));
        wy[i + reach] = 0.5 * (erf((y0 + i + 0.5 - y) / root) - erf((y0 + i - 0.5 - y) / root));
    }
    for (int j = -reach; j <= reach; j++) {
        int py = y0 + j;
        if (py < 0 || py >= p->height)
            continue;
        for (int i = -reach; i <= reach; i++) {
            int px = x0 + i;
            if (px < 0 || px >= p->width)
                continue;
            size_t world = (size_t)(py - shot->shift_y + DWI_MARGIN) * (size_t)st->world.w +
                           (size_t)(px - shot->shift_x + DWI_MARGIN);
            double seen = st->world.cover[world] / 255.0;
            light[(size_t)py * (size_t)p->width + (size_t)px] +=
                (float)(seen * wx[i + reach] * wy[j + reach] * flux[dwi_colour_at(st, px, py)] /
                        solid_angle);
        }
    }
}

void dwi_draw_stars(const struct dwi_stage *st, const struct dwi_shot *shot,
                    const struct dwi_grid *g, float *light)
{
    const struct dwi_params *p = st->p;
    struct dwi_astro end[2];
    if (shot->sky.sun_alt > -2 * M_PI / 180)
        return; /* fainter than a thousandth of the sky's noise */
    for (int i = 0; i < 2; i++)
        if (dwi_astro(shot->start_utc + i * shot->time_s, p->lat_deg * M_PI / 180,
                      p->lon_deg * M_PI / 180, p->height_m, &end[i]))
            return;
    for (int i = 0; i < st->stars.n; i++) {
        const struct dwi_star *s = &st->stars.star[i];
        double x[3], y[3], alt, alt_mid;
        if (dwi_star_place(p, &st->lens, &shot->sky, s->dir, &x[1], &y[1], &alt_mid) ||
            x[1] < -60 || y[1] < -60 || x[1] > p->width + 60 || y[1] > p->height + 60 ||
            dwi_star_place(p, &st->lens, &end[0], s->dir, &x[0], &y[0], &alt) ||
            dwi_star_place(p, &st->lens, &end[1], s->dir, &x[2], &y[2], &alt))
            continue;
        double length = hypot(x[1] - x[0], y[1] - y[0]) + hypot(x[2] - x[1], y[2] - y[1]);
        int n = 1 + (int)(length / 0.35);
        double air = dwi_air_mass(alt_mid * 180 / M_PI), flux[3];
        static const double extinction[3] = {0.11, 0.17, 0.28}; /* magnitudes per air mass */
        double through =
            (double)dwi_grid_value(g, DWI_G_STARS, x[1] + shot->shift_x, y[1] + shot->shift_y);
        for (int c = 0; c < 3; c++)
            flux[c] = (double)s->flux[c] * pow(10, -0.4 * extinction[c] * air) * through / n;
        double omega = dwi_lens_solid_angle(&st->lens, x[1], y[1]);
        for (int k = 0; k < n; k++) { /* the parabola through beginning, middle and end */
            double t = (k + 0.5) / n * 2 - 1;
            double a = t * (t - 1) / 2, b = 1 - t * t, c = t * (t + 1) / 2;
            dwi_draw_point(st, shot, light, a * x[0] + b * x[1] + c * x[2] + shot->shift_x,
                           a * y[0] + b * y[1] + c * y[2] + shot->shift_y, flux, omega);
        }
    }
}
