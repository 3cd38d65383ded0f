/*
 * movers.h - weather and everything that moves.
 */
#ifndef DWI_MOVERS_H
#define DWI_MOVERS_H

#include "frame.h"
#include "sky.h"

/** Weather and lamps of one shot. */
struct dwi_weather {
    double cover;        /* of broken cloud, 0..1 */
    double bank;         /* opacity of a passing bank */
    double drift[2];     /* of the cloud field, kilometres east and north */
    uint32_t key;
    double cloud_rgb[3]; /* light of an opaque cloud, linear sRGB cd/m2 */
    double fog, fog_rgb[3]; /* optical thickness over the far ground; its light */
    double lamp_lux, lamp_dir[3]; /* pool of light about the house */
    double flash_lux;
    double beam_lux;     /* headlights over the near ground, 0 = none */
    double beam_az;      /* degrees from the axis */
};

void dwi_weather_at(struct dwi_weather *w, const struct dwi_stage *st, const struct dwi_shot *shot,
                    const struct dwi_sky *sky);

/** Puts clouds and fog before a sky direction, in place. Returns the share that comes through. */
double dwi_weather_sky(const struct dwi_weather *w, const struct dwi_sky *sky, const double d[3],
                       double rgb[3]);

/** Light beside sun and sky on the ground at a direction (linear sRGB lux); returns the share of
 *  direct sun that clouds let through there. */
double dwi_weather_ground(const struct dwi_weather *w, const struct dwi_stage *st,
                          const struct dwi_shot *shot, const struct dwi_sky *sky,
                          const double d[3], double x, double y, double extra[3]);

/** Is pane n (0..) of the house lit in this shot? */
int dwi_lamp_on(const struct dwi_stage *st, const struct dwi_shot *shot, int pane);

/** Draws people, aircraft, the disc of sun and moon into the light of a shot. */
struct dwi_grid;
void dwi_draw_movers(const struct dwi_stage *st, const struct dwi_shot *shot,
                     const struct dwi_sky *sky, const struct dwi_grid *g, float *light);

#endif
