/*
 * weather.h - clouds, fog, and lights on the ground beside sun, moon and sky.
 */
#ifndef DWI_WEATHER_H
#define DWI_WEATHER_H

#include "frame.h"
#include "sky.h"

struct dwi_weather {
    const struct dwi_params *p;
    double cover;     /* of broken cloud, 0..1 */
    double threshold; /* of the cloud field, from cover */
    double bank;      /* opacity of a passing bank */
    double drift[2];  /* of the cloud field, kilometres east and north */
    uint32_t key;
    double cloud_rgb[3];    /* light of an opaque cloud, linear sRGB cd/m2 */
    double fog, fog_rgb[3]; /* optical thickness over the far ground; its light */
    double air, air_rgb[3]; /* the same of clear air: what is far looks blue */
    double lamp_lux;        /* in the middle of the pool of light about the house */
    double flash_lux;
    double beam_lux, beam_az; /* headlights over the near ground, degrees from the axis */
    double veil_rgb[3];       /* stray light over the whole frame, cd/m2 */
    double body[3];           /* direction of the sun, or of the moon when the sun is down */
};

void dwi_weather_at(struct dwi_weather *w, const struct dwi_stage *st, const struct dwi_shot *shot,
                    const struct dwi_sky *sky);

/** Puts clouds and fog before a sky direction, in place. Returns the share that comes through. */
double dwi_weather_sky(const struct dwi_weather *w, const double d[3], double rgb[3]);

/** Light beside sun and sky on the ground at a direction (linear sRGB lux); returns the share of
 *  direct light that clouds let through there. */
double dwi_weather_ground(const struct dwi_weather *w, const struct dwi_stage *st,
                          const double d[3], double extra[3]);

/** Light that one lit pane throws on the ground in the middle of its pool, lux. */
#define DWI_LAMP_LUX 0.006

/** Share of that light at a direction. */
double dwi_lamp_pool(const struct dwi_stage *st, const double d[3]);

/** Share of light that fog leaves of ground at `far` (struct dwi_world). */
double dwi_fog_through(const struct dwi_weather *w, double far);

/** Light that fog and air put before the far ground in place of what they take, cd/m2. */
void dwi_fog_light(const struct dwi_weather *w, double rgb[3]);

/** Is pane n (0..) of the house, or the lamp of the room, lit in this shot? */
int dwi_lamp_on(const struct dwi_params *p, const struct dwi_shot *shot, int pane);

#endif
