/*
 * movers.c - see movers.h.
 */
#include "movers.h"

#include "colour.h"
#include "grid.h"
#include "light.h"
#include "rng.h"

#include <math.h>
#include <string.h>

void dwi_weather_at(struct dwi_weather *w, const struct dwi_stage *st, const struct dwi_shot *shot,
                    const struct dwi_sky *sky)
{
    (void)shot;
    memset(w, 0, sizeof *w);
    w->key = (uint32_t)dwi_key(st->p->seed, DWI_S_CLOUD, 0);
    (void)sky;
}

double dwi_weather_sky(const struct dwi_weather *w, const struct dwi_sky *sky, const double d[3],
                       double rgb[3])
{
    (void)w;
    (void)sky;
    (void)d;
    (void)rgb;
    return 1;
}

double dwi_weather_ground(const struct dwi_weather *w, const struct dwi_stage *st,
                          const struct dwi_shot *shot, const struct dwi_sky *sky,
                          const double d[3], double x, double y, double extra[3])
{
    (void)w, (void)st, (void)shot, (void)sky, (void)d, (void)x, (void)y, (void)extra;
    return 1;
}

int dwi_lamp_on(const struct dwi_stage *st, const struct dwi_shot *shot, int pane)
{
    double h = shot->sky.sun_alt * 180 / M_PI;
    if (!st->p->lamps)
        return 0;
    double hour = fmod(shot->mid_utc / 3600 + st->p->lon_deg / 15 + 24, 24);
    double late = 21.5 + 2 * dwi_uniform(dwi_key(st->p->seed, DWI_S_LAMP, (uint64_t)pane));
    if (pane == 1)
        late = 30; /* one burns all night */
    return h < -1.5 - pane && (hour > 12 ? hour : hour + 24) < (late < 24 ? late : 60);
}

void dwi_draw_movers(const struct dwi_stage *st, const struct dwi_shot *shot,
                     const struct dwi_sky *sky, const struct dwi_grid *g, float *light)
{
    (void)st, (void)shot, (void)sky, (void)g, (void)light;
}
