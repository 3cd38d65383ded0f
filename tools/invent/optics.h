/*
 * optics.h - what a lens blurs, by itself or covered with dew.
 */
#ifndef DWI_OPTICS_H
#define DWI_OPTICS_H

/**
 * Blurs the light on a mosaic by a Gaussian-like kernel (three running means) of the given
 * standard deviation in mosaic pixels, each colour of the 2 x 2 cell by itself, in place.
 * Status: 0; -1 out of memory.
 */
int dwi_blur(float *light, int width, int height, double sigma_px);

/**
 * The lens's own blur of a picture of one colour, and a shift with it: every pixel becomes the mean
 * of those about (x - right, y - down) by a Gaussian of sigma pixels. From 0.7 pixels on, what the
 * sampling adds to a shift by parts of a pixel is below a hundredth of it.
 * Status: 0; -1 out of memory.
 */
int dwi_lens_blur(float *light, int width, int height, double sigma, double right, double down);

#endif
