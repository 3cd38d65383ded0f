/*
 * sky.c - see sky.h.
 *
 * Five patterns are added, each scaled so that it gives its own illuminance on level ground:
 * day (CIE standard clear sky), dusk (broad blue with a glow over the sun), moonlight (the clear
 * sky about the moon), night (airglow and unresolved stars, the Milky Way) and a town's light.
 */
#include "sky.h"

#include "colour.h"
#include "light.h"

#include <math.h>
#include <string.h>

static double dot3(const double a[3], const double b[3])
{
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
}

static double clamp(double x, double lo, double hi)
{
    return x < lo ? lo : x > hi ? hi : x;
}

/* cos of the azimuth between a direction and a body, 1 towards it; smooth at the zenith. */
static double toward(const double d[3], const double body[3])
{
    double h = hypot(body[0], body[1]) + 1e-9;
    return (d[0] * body[0] + d[1] * body[1]) / (h * (hypot(d[0], d[1]) + 0.05));
}

/*
 * Relative luminance of a clear sky about a light source.
 * CIE S 011/ISO 15469 type 12: a -1, b -0.32, c 10, d -3, e 0.45 (from memory).
 */
static double clear_sky(const double d[3], const double source[3])
{
    double z = clamp(d[2], 0.02, 1), chi = acos(clamp(dot3(d, source), -1, 1));
    double c = cos(chi);
    return (1 - exp(-0.32 / z)) * (1 + 10 * (exp(-3 * chi) - exp(-3 * M_PI / 2)) + 0.45 * c * c);
}

/* Colour of the clear day sky, unit luminance: bluer high up and away from the sun. */
static void day_colour(const struct dwi_sky *s, const double d[3], double rgb[3])
{
    double alt = asin(clamp(d[2], 0, 1)) * 180 / M_PI;
    double chi = acos(clamp(dot3(d, s->day_light), -1, 1)) * 180 / M_PI;
    double pale = exp(-alt / 14), near = exp(-chi / 22);
    double low = 1 - dwi_step(s->sun_alt_deg, -4, 14);
    double blue = (1 - 0.75 * pale) * (1 - 0.6 * near);
    double warm = low * (0.75 * pale * (0.35 + 0.65 * exp(-chi / 45)) + 0.35 * near);
    double x = 0.316 - 0.074 * blue + 0.115 * warm, y = 0.331 - 0.077 * blue + 0.055 * warm;
    dwi_rgb_of_xy(x, y, rgb);
}

/* Dusk: luminance and colour together; broad blue light and the glow over the sun. */
static void dusk(const struct dwi_sky *s, const double d[3], double rgb[3])
{
    double up = clamp(d[2], 0, 1), alt = asin(up) * 180 / M_PI, t = toward(d, s->a.sun);
    double side = pow(clamp(0.5 + 0.5 * t, 0, 1), s->glow_power);
    double broad = (0.55 + 0.45 * exp(-alt / 25)) * (1 + 0.35 * t * exp(-alt / 45));
    double glow = s->glow_amount * side * exp(-alt / s->glow_height);
    double deep = 1 - dwi_step(s->sun_alt_deg, -14, -3);
    /* the belt over the shadow of the earth, opposite the sun, shortly after sunset */
    double belt = 0.25 * dwi_step(s->sun_alt_deg, -7, -3) * clamp(-t, 0, 1) *
                  exp(-(alt - 11) * (alt - 11) / 40);
    double b[3], g[3], r[3];
    dwi_rgb_of_xy(0.252 - 0.006 * deep, 0.257 - 0.008 * deep, b);
    double red = exp(-alt / (2.2 + 0.35 * s->glow_height));
    dwi_rgb_of_xy(0.345 + 0.155 * red, 0.385 + 0.025 * red, g);
    dwi_rgb_of_xy(0.39, 0.33, r);
    for (int i = 0; i < 3; i++)
        rgb[i] = broad * b[i] + glow * g[i] + belt * r[i];
}

/* Airglow thickens towards the horizon (van Rhijn), then the air swallows it. */
static double airglow(double up)
{
    double z = clamp(up, 0.03, 1);
    return 1 / sqrt(1 - 0.965 * (1 - z * z)) * exp(-0.16 / (z + 0.05));
}

static double town(const struct dwi_sky *s, const double d[3])
{
    double az = s->axis_az + s->p->town_az_deg * M_PI / 180;
    double t = toward(d, (const double[3]){sin(az), cos(az), 0});
    double side = clamp(0.5 + 0.5 * t, 0, 1);
    return exp(-asin(clamp(d[2], 0, 1)) / 0.21) * (0.15 + 0.85 * pow(side, 5));
}

static void milky_way(const struct dwi_sky *s, const double d[3], double rgb[3])
{
    /* north galactic pole and centre, J2000 */
    static const double pole[3] = {-0.867666, -0.198076, 0.455984};
    static const double centre[3] = {-0.054876, -0.873437, -0.483835};
    double g[3], sum = 0;
    for (int i = 0; i < 3; i++)
        g[i] = dot3(s->to_gcrs[i], d);
    double b = asin(clamp(dot3(g, pole), -1, 1)) * 180 / M_PI;
    double toward_centre = 0.5 + 0.5 * dot3(g, centre);
    sum = s->p->milky_way * (0.45 + 0.85 * toward_centre) *
          (exp(-b * b / 70) * (1 - 0.45 * exp(-(b - 1.5) * (b - 1.5) / 5)) +
           0.25 * exp(-b * b / 500));
    sum *= exp(-0.2 / clamp(d[2] + 0.03, 0.03, 1));
    dwi_rgb_of_xy(0.337, 0.345, rgb);
    for (int i = 0; i < 3; i++)
        rgb[i] *= sum;
}

void dwi_sky_radiance(const struct dwi_sky *s, const double dir[3], double rgb[3])
{
    double c[3], l;
    rgb[0] = rgb[1] = rgb[2] = 0;
    if (s->day > 0) {
        day_colour(s, dir, c);
        l = s->scale_day * clear_sky(dir, s->day_light);
        for (int i = 0; i < 3; i++)
            rgb[i] += l * c[i];
    }
    if (s->day < 1) {
        dusk(s, dir, c);
        for (int i = 0; i < 3; i++)
            rgb[i] += s->scale_dusk * c[i];
    }
    if (s->moon_lux > 0) {
        l = s->scale_moon * clear_sky(dir, s->a.moon);
        dwi_rgb_of_xy(0.285, 0.298, c);
        for (int i = 0; i < 3; i++)
            rgb[i] += l * c[i];
    }
    l = s->scale_night * airglow(dir[2]);
    dwi_rgb_of_xy(0.334, 0.362, c);
    for (int i = 0; i < 3; i++)
        rgb[i] += l * c[i];
    if (s->p->town_lx > 0) {
        l = s->scale_town * town(s, dir);
        dwi_rgb_of_xy(0.455, 0.412, c);
        for (int i = 0; i < 3; i++)
            rgb[i] += l * c[i];
    }
    if (s->p->milky_way > 0 && s->sun_alt_deg < 0) {
        milky_way(s, dir, c);
        for (int i = 0; i < 3; i++)
            rgb[i] += c[i];
    }
    for (int i = 0; i < 3; i++)
        if (!(rgb[i] > 0))
            rgb[i] = 0;
}

static double luminance(const double c[3])
{
    return 0.21263901 * c[0] + 0.71516868 * c[1] + 0.07219232 * c[2];
}

static void shape(struct dwi_sky *s)
{
    double h = s->sun_alt_deg;
    s->day = dwi_step(h, -5, 5);
    /* the deeper the sun, the lower, the narrower and the stronger against the rest the glow */
    double d = clamp(-h, -40, 30), soft = 0.5 * (d + sqrt(d * d + 4)); /* max(d, 0), rounded */
    s->glow_amount = 2 + 1.1 * soft + 0.12 * soft * soft;
    s->glow_height = 5 + 9 * exp(-soft / 9);
    s->glow_power = 2 + 0.22 * soft;
    /* the day pattern's source does not sink below the horizon: 1 degree, smoothly */
    double alt = (1 + 0.5 * (h - 1 + sqrt((h - 1) * (h - 1) + 4))) * M_PI / 180;
    s->day_light[0] = sin(s->a.sun_az) * cos(alt);
    s->day_light[1] = cos(s->a.sun_az) * cos(alt);
    s->day_light[2] = sin(alt);
}

/* Horizontal illuminance of each pattern at scale 1, by a sum over the hemisphere. */
static void quadrature(struct dwi_sky *s, double unit[5], double *sum_rgb)
{
    enum { NA = 12, NZ = 24 };
    memset(unit, 0, 5 * sizeof *unit);
    for (int i = 0; i < NA; i++)
        for (int j = 0; j < NZ; j++) {
            double up = sqrt((i + 0.5) / NA), az = (j + 0.5) * 2 * M_PI / NZ;
            double c = sqrt(1 - up * up), d[3] = {c * sin(az), c * cos(az), up}, rgb[3];
            double w = M_PI / (NA * NZ); /* equal shares of the integral of sin(alt) */
            if (sum_rgb) {
                dwi_sky_radiance(s, d, rgb);
                for (int k = 0; k < 3; k++)
                    sum_rgb[k] += w * rgb[k];
                continue;
            }
            dusk(s, d, rgb);
            unit[0] += w * clear_sky(d, s->day_light);
            unit[1] += w * luminance(rgb);
            unit[2] += s->moon_lux > 0 ? w * clear_sky(d, s->a.moon) : 0;
            unit[3] += w * airglow(up);
            unit[4] += w * town(s, d);
        }
}

void dwi_sky_at_time(struct dwi_sky *s, const struct dwi_params *p, const struct dwi_astro *a,
                     double axis_az)
{
    memset(s, 0, sizeof *s);
    s->p = p;
    s->a = *a;
    s->axis_az = axis_az;
    for (int i = 0; i < 3; i++)
        for (int j = 0; j < 3; j++)
            s->to_gcrs[i][j] = a->gcrs_to_enu[j][i];
    double h = s->sun_alt_deg = a->sun_alt * 180 / M_PI;
    s->sun_lux = dwi_sun_lux(h);
    s->sun_normal_lux = dwi_sun_direct_normal(h);
    double direct = a->sun[2] > 0 ? s->sun_normal_lux * a->sun[2] : 0;
    double diffuse = s->sun_lux - direct;
    if (p->moon) {
        double mh = a->moon_alt * 180 / M_PI;
        s->moon_lux = dwi_moon_lux(mh, a->moon_elongation, a->moon_parallax);
        s->moon_normal_lux = dwi_moon_direct_normal(mh, a->moon_elongation, a->moon_parallax);
    }
    double moon_diffuse = s->moon_lux - s->moon_normal_lux * fmax(a->moon[2], 0);
    shape(s);
    double unit[5];
    quadrature(s, unit, NULL);
    s->scale_day = s->day * diffuse / unit[0];
    s->scale_dusk = (1 - s->day) * diffuse / unit[1];
    s->scale_moon = s->moon_lux > 0 ? moon_diffuse / unit[2] : 0;
    s->scale_night = p->night_lx / unit[3];
    s->scale_town = p->town_lx / unit[4];
    quadrature(s, unit, s->sky_rgb);
    dwi_rgb_of_sun(dwi_air_mass(h), s->sun_rgb);
    dwi_rgb_of_xy(0.335, 0.342, s->moon_rgb);
    for (int i = 0; i < 3; i++) {
        s->sun_rgb[i] *= s->sun_normal_lux;
        s->moon_rgb[i] *= s->moon_normal_lux;
    }
}
