/*
 * drops.h - drops of water that grow on the front of the lens, far out of focus: spots that blur
 * what they cover and make it brighter above or below, as a drop shows the view upside down.
 */
#ifndef DWI_DROPS_H
#define DWI_DROPS_H

#include "params.h"
#include "shot.h"

/** Share of the picture that they cover: between full effect and none counted by their mask.
 * growth 0..1, how far they have grown; amount: 1 makes the largest a sixteenth of the width in
 * radius. */
double dwi_drops_cover(const struct dwi_params *p, double growth, double amount);

/** Puts a shot's drops before its light. Status: 0; -1 out of memory. */
int dwi_drops_draw(const struct dwi_params *p, const struct dwi_shot *shot, float *light);

#endif
