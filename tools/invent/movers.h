/*
 * movers.h - people, aircraft, and the discs of sun and moon.
 */
#ifndef DWI_MOVERS_H
#define DWI_MOVERS_H

#include "grid.h"

/** Does a trail of an aircraft, or do headlights, disturb this shot? Night only. */
int dwi_has_aircraft(const struct dwi_params *p, const struct dwi_shot *shot);
int dwi_has_headlights(const struct dwi_params *p, const struct dwi_shot *shot);

/** Draws people, aircraft and the discs of sun and moon into the light of a shot. */
void dwi_draw_movers(const struct dwi_stage *st, const struct dwi_shot *shot,
                     const struct dwi_sky *sky, const struct dwi_grid *g, float *light);

#endif
