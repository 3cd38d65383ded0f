/*
 * ground.h - the landscape under the sky: skyline, near and far parts, texture, house, lamps.
 *
 * Built once per shoot for the frame and a margin about it, so that a camera that is bumped by
 * whole pixels sees the same land shifted.
 */
#ifndef DWI_GROUND_H
#define DWI_GROUND_H

#include "lens.h"
#include "params.h"

#include <stdint.h>

/* Mosaic pixels on every side of the picture that the world goes on for: a bump's largest shift. */
enum { DWI_MARGIN = 128 };

enum dwi_material {
    DWI_GRASS,
    DWI_MEADOW, /* tall grass, which flutters as leaves do */
    DWI_ROCK,
    DWI_PATH,
    DWI_FOREST,
    DWI_TREE,
    DWI_FAR,
    DWI_WALL,
    DWI_ROOF,
    DWI_PANE,
    DWI_ROOM,
    DWI_PATCH0,
    DWI_MATERIALS = DWI_PATCH0 + 25 /* colour target: 24 patches, its card */
};

struct dwi_world {
    int w, h;          /* with the margin on both sides */
    float *albedo;     /* brightness of the surface about its material's colour */
    uint8_t *material; /* enum dwi_material */
    uint8_t *cover;    /* 255 sky .. 0 ground */
    uint8_t *far;      /* distance, 0 near .. 255 at the skyline */
    uint8_t *shadow;   /* sun altitude that lights it, steps of 0.1 degree; ridge option */
    int8_t *normal[3]; /* east, north, up; 127 = 1 */
    int lamps;         /* panes in all; pane n has albedo n + 1 */
};

/** Linear sRGB reflectance of a material (about which albedo varies). */
void dwi_material_rgb(int material, double rgb[3]);

/** Builds the land with `jobs` threads; the result does not depend on their number.
 *  Status: 0; -1 out of memory. */
int dwi_world_make(struct dwi_world *w, const struct dwi_params *p, const struct dwi_lens_map *m,
                   int jobs);
void dwi_world_free(struct dwi_world *w);

/** Azimuth of the house from the optical axis, degrees. */
double dwi_house_az(const struct dwi_params *p);

/** Height of the skyline at an azimuth (radians from the optical axis), degrees. */
double dwi_skyline_deg(const struct dwi_params *p, double azimuth);

#endif
