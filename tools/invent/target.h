/*
 * target.h - the colour target that can stand in the picture: 24 patches, 6 by 4.
 */
#ifndef DWI_TARGET_H
#define DWI_TARGET_H

#include "params.h"

/** Tristimulus values under D65, Y of a perfect white = 1. Patch 0..23; 24 is the dark card. */
void dwi_target_xyz(int patch, double xyz[3]);

/** Linear sRGB of the same. */
void dwi_target_rgb(int patch, double rgb[3]);

/** Place of a patch in the mosaic: left, top, width, height in pixels. */
void dwi_target_place(const struct dwi_params *p, int patch, int rect[4]);

/** Paints target pixels over the land. Returned: new number of ground samples (0..4). */
int dwi_target_paint(const struct dwi_params *p, int x, int y, int *material, float *albedo,
                     int ground);

#endif
