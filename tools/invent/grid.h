/*
 * grid.h - what changes smoothly over the frame in one shot, on a coarse lattice.
 */
#ifndef DWI_GRID_H
#define DWI_GRID_H

#include "frame.h"
#include "sky.h"
#include "weather.h"

enum dwi_grid_plane {
    DWI_G_SKY = 0,    /* 3 planes: sky light, camera red green blue, cd/m2 */
    DWI_G_EXTRA = 3,  /* 3 planes: light on the ground beside sun, moon and sky, lux */
    DWI_G_DIRECT = 6, /* share of direct light that clouds let through */
    DWI_G_STARS = 7,  /* share of star light that clouds and fog let through */
    DWI_G_PLANES = 8
};

struct dwi_grid {
    int step, w, h; /* pixels between nodes; nodes */
    float *plane[DWI_G_PLANES];
    struct dwi_weather weather;
};

/** Status: 0; -1 out of memory. */
int dwi_grid_make(struct dwi_grid *g, const struct dwi_stage *st, const struct dwi_shot *shot,
                  const struct dwi_sky *sky);
void dwi_grid_free(struct dwi_grid *g);

/** One plane at a place in the mosaic, bilinear. */
float dwi_grid_value(const struct dwi_grid *g, int plane, double x, double y);

#endif
