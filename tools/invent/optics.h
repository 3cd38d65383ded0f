/*
 * optics.h - a lens covered with dew.
 */
#ifndef DWI_OPTICS_H
#define DWI_OPTICS_H

/**
 * Blurs the light on a mosaic by a Gaussian-like kernel (three running means) of the given
 * standard deviation in mosaic pixels, each colour of the 2 x 2 cell by itself, in place.
 * Status: 0; -1 out of memory.
 */
int dwi_blur(float *light, int width, int height, double sigma_px);

#endif
