/*
 * weather.c - see weather.h.
 */
#include "weather.h"

#include "colour.h"
#include "light.h"
#include "movers.h"
#include "rng.h"

#include <math.h>
#include <string.h>

static const double CLOUD_KM = 1.5; /* height of the cloud layer above the site */

static double luminance(const double c[3])
{
    return 0.21263901 * c[0] + 0.71516868 * c[1] + 0.07219232 * c[2];
}

/* Opacity of the broken layer at a place in kilometres east and north of the site. */
static double cloud_at(const struct dwi_weather *w, double e, double n, double *thick)
{
    double v = (double)dwi_fbm2((float)((e - w->drift[0]) / 1.6), (float)((n - w->drift[1]) / 1.6),
                                5, w->key);
    *thick = dwi_step(v, w->threshold - 0.02, w->threshold + 0.28);
    return dwi_step(v, w->threshold - 0.05, w->threshold + 0.07);
}

void dwi_weather_at(struct dwi_weather *w, const struct dwi_stage *st, const struct dwi_shot *shot,
                    const struct dwi_sky *sky)
{
    const struct dwi_params *p = st->p;
    memset(w, 0, sizeof *w);
    w->p = p;
    w->key = (uint32_t)dwi_key(p->seed, DWI_S_CLOUD, 0);
    w->cover = p->cloud_cover;
    /* the field's values spread about 0.5 with a deviation of about 0.13 */
    w->threshold = 0.5 + 0.19 * (1 - 2 * w->cover);
    w->bank = shot->fault.cloud;
    double s = shot->mid_utc - fmod(shot->mid_utc, 86400 * 365.0);
    double km = p->wind * (shot->mid_utc - s) / 1000;
    w->drift[0] = fmod(km * 0.8, 4000);
    w->drift[1] = fmod(km * 0.6, 4000);
    w->fog = p->fog + shot->fault.haze;
    w->air = 0.22;
    double level[3], direct = fmax(sky->a.sun[2], 0), moon = fmax(sky->a.moon[2], 0);
    for (int c = 0; c < 3; c++)
        level[c] = sky->sky_rgb[c] + direct * sky->sun_rgb[c] + moon * sky->moon_rgb[c];
    double grey = luminance(level);
    for (int c = 0; c < 3; c++) {
        /* clouds and fog are lit from all sides: half of the way to grey; towns light their
         * undersides */
        w->air_rgb[c] = sky->sky_rgb[c] / M_PI;
        w->fog_rgb[c] = (0.5 * level[c] + 0.5 * grey) * 0.85 / M_PI;
        w->cloud_rgb[c] = (0.6 * level[c] + 0.4 * grey) * 0.95 / M_PI;
    }
    if (p->town_lx > 0) {
        double t[3];
        dwi_rgb_of_xy(0.455, 0.412, t);
        for (int c = 0; c < 3; c++) {
            w->cloud_rgb[c] += 1.2 * p->town_lx * t[c] / M_PI;
            w->fog_rgb[c] += 0.8 * p->town_lx * t[c] / M_PI;
        }
    }
    for (int i = 0; i < st->world.lamps; i++)
        w->lamp_lux += DWI_LAMP_LUX * dwi_lamp_on(p, shot, i);
    w->flash_lux = shot->fault.flash * (grey + 0.002);
    if (dwi_has_headlights(p, shot)) {
        uint64_t k = dwi_key(p->seed, DWI_S_MOVER, 5000000 + (uint64_t)shot->index * 4);
        double veil = 0.0006 * exp2(3 * dwi_uniform(k)), v[3];
        w->beam_lux = 0.02 * exp2(4 * dwi_uniform(k + 1));
        w->beam_az = -35 + 70 * dwi_uniform(k + 2);
        dwi_rgb_of_kelvin(4300, v);
        for (int c = 0; c < 3; c++)
            w->veil_rgb[c] = veil * v[c];
    }
    memcpy(w->body, sky->a.sun[2] > 0 ? sky->a.sun : sky->a.moon, sizeof w->body);
}

double dwi_weather_sky(const struct dwi_weather *w, const double d[3], double rgb[3])
{
    double through = 1, up = fmax(d[2], 0.0), far = up + 0.05;
    if (w->cover > 0 || w->bank > 0) {
        double e = CLOUD_KM * d[0] / far, n = CLOUD_KM * d[1] / far, thick = 0, a = 0;
        if (w->cover > 0)
            a = cloud_at(w, e, n, &thick);
        /* towards the horizon clouds run together into a band of their mean */
        double open = dwi_step(up, 0.05, 0.24);
        a = 0.96 * (open * a + (1 - open) * w->cover);
        thick = open * thick + (1 - open) * 0.4;
        double shade = 1.08 - 0.62 * thick; /* thin edges shine, thick undersides are grey */
        if (w->bank > a) {
            a = w->bank;
            shade = 0.7 + 0.35 * (double)dwi_fbm2((float)(e / 5), (float)(n / 5), 3, w->key + 7);
        }
        for (int c = 0; c < 3; c++)
            rgb[c] += a * (shade * w->cloud_rgb[c] - rgb[c]);
        through *= 1 - a;
    }
    if (w->fog > 0) {
        double t = exp(-w->fog * (0.15 + 0.85 * exp(-up / 0.3)));
        for (int c = 0; c < 3; c++)
            rgb[c] = rgb[c] * t + (1 - t) * w->fog_rgb[c];
        through *= t;
    }
    for (int c = 0; c < 3; c++)
        rgb[c] += w->veil_rgb[c];
    return through;
}

/* Degrees from the axis' azimuth and above the horizon. */
static void from_axis(const struct dwi_stage *st, const double d[3], double *az, double *alt)
{
    *az = (atan2(d[0], d[1]) - st->lens.axis_az) * 180 / M_PI;
    *az -= 360 * floor(*az / 360 + 0.5);
    *alt = asin(d[2]) * 180 / M_PI;
}

double dwi_lamp_pool(const struct dwi_stage *st, const double d[3])
{
    double az, alt;
    from_axis(st, d, &az, &alt);
    double u = az - dwi_house_az(st->p), v = alt + 10;
    return exp(-(u * u / 40 + v * v / 8));
}

double dwi_weather_ground(const struct dwi_weather *w, const struct dwi_stage *st,
                          const double d[3], double extra[3])
{
    double az, alt;
    from_axis(st, d, &az, &alt);
    /* metres to what is seen there: the near slope below, the far ridge above */
    double metres = alt < -2 ? 3 / tan(-alt * M_PI / 180) : 2000 + 400 * (alt + 2);
    double warm[3], white[3];
    dwi_rgb_of_kelvin(2900, warm);
    dwi_rgb_of_kelvin(4800, white);
    double b = (az - w->beam_az) / 12;
    double lamp = w->lamp_lux > 0 ? w->lamp_lux * dwi_lamp_pool(st, d) : 0;
    double beam = w->beam_lux * exp(-b * b - metres / 60) + w->flash_lux * exp(-metres / 25);
    for (int c = 0; c < 3; c++)
        extra[c] = lamp * warm[c] + beam * white[c];
    double direct = 1 - 0.9 * w->bank;
    if (w->cover > 0 && w->body[2] > 0.02) {
        double thick, km = metres / 1000, h = hypot(d[0], d[1]) + 1e-9;
        double a = cloud_at(w, km * d[0] / h + CLOUD_KM * w->body[0] / w->body[2],
                            km * d[1] / h + CLOUD_KM * w->body[1] / w->body[2], &thick);
        direct *= 1 - a * (0.6 + 0.35 * thick);
    }
    return direct * exp(-w->fog);
}

double dwi_fog_through(const struct dwi_weather *w, double far)
{
    double f2 = far * far / (255.0 * 255.0);
    return exp(-w->fog * (0.06 + 0.94 * f2) - w->air * f2 * f2);
}

void dwi_fog_light(const struct dwi_weather *w, double rgb[3])
{
    for (int c = 0; c < 3; c++)
        rgb[c] = (w->fog * w->fog_rgb[c] + w->air * w->air_rgb[c]) / (w->fog + w->air);
}

int dwi_lamp_on(const struct dwi_params *p, const struct dwi_shot *shot, int pane)
{
    double h = shot->sky.sun_alt * 180 / M_PI;
    if (!p->lamps)
        return 0;
    /* local solar hour from noon: lamps go on after sunset and, but for one, out at bedtime */
    double hour = fmod(shot->mid_utc / 3600 + p->lon_deg / 15 + 36, 24);
    double bed = 9.3 + 2 * dwi_uniform(dwi_key(p->seed, DWI_S_LAMP, (uint64_t)pane));
    return h < -1.5 - pane && (pane == 1 || hour < bed);
}
