/*
 * frame.h - the light that falls on the sensor during one exposure.
 */
#ifndef DWI_FRAME_H
#define DWI_FRAME_H

#include "ground.h"
#include "lens.h"
#include "params.h"
#include "shot.h"
#include "stars.h"

#include <stdint.h>

/** What does not change through a shoot. */
struct dwi_stage {
    const struct dwi_params *p;
    struct dwi_lens_map lens;
    struct dwi_world world;
    struct dwi_star_list stars;
    double lens_blur; /* mosaic pixels rms; 0: none. Set before the first frame */
    uint8_t cfa[4];   /* colour (0 red, 1 green, 2 blue) at even/odd row, even/odd column */
};

/** Colour of mosaic pixel (x, y). */
static inline int dwi_colour_at(const struct dwi_stage *s, int x, int y)
{
    return s->cfa[(y & 1) * 2 + (x & 1)];
}

/** Status: 0; -1 with a message (bad Bayer name, no memory). */
int dwi_stage_make(struct dwi_stage *s, const struct dwi_params *p, char *err, int err_size);
void dwi_stage_free(struct dwi_stage *s);

/**
 * Light of one shot before lens shading: for every mosaic pixel the luminance, in cd/m2 of a D65
 * grey that would give the same signal in green, seen through the pixel's own colour.
 * Given: light[height * width].
 * Status: 0; -1 out of memory.
 */
int dwi_frame_light(const struct dwi_stage *s, const struct dwi_shot *shot, float *light);

#endif
