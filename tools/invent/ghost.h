/*
 * ghost.h - a lamp behind the camera, mirrored out of focus in the pane that it looks through.
 */
#ifndef DWI_GHOST_H
#define DWI_GHOST_H

#include "frame.h"
#include "sky.h"

/** Linear sRGB light (cd/m2) that ghost number `id` puts before mosaic place (x, y): a soft patch,
 * its second image by the pane's other side, and a faint wide glow about them. peak: cd/m2. The
 * place, size, edge and colour follow from seed and number; it stands still. */
void dwi_ghost_light(const struct dwi_params *p, int id, double peak, double x, double y,
                     double rgb[3]);

/** What a ghost adds, beside the light of the scene that it lies over (means over its inner part):
 * the sky, or below the skyline the mean ground that the camera's meter knows. */
double dwi_ghost_share(const struct dwi_params *p, const struct dwi_lens_map *m,
                       const struct dwi_sky *sky, int id, double peak);

/** Adds a shot's ghost to its light; a room about a window, which is no pane, shows none. */
void dwi_ghost_draw(const struct dwi_stage *st, const struct dwi_shot *shot, float *light);

#endif
