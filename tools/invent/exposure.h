/*
 * exposure.h - marked and true settings, and the program that chooses them.
 */
#ifndef DWI_EXPOSURE_H
#define DWI_EXPOSURE_H

/** True time of setting k, seconds: 2^(k/3). */
double dwi_shutter_true(int k);

/** Marked time of setting k (-39..15; beyond it the true one, rounded) as a fraction. */
void dwi_shutter_marked(int k, int *num, int *den);

/** True ISO of setting k: 100 2^(k/3); marked ISO as engraved. */
double dwi_iso_true(int k);
int dwi_iso_marked(int k);

/** True f-number of a marked one: the nearest 2^(i/6). */
double dwi_aperture_true(double marked);

/**
 * Setting of a camera that follows the light: total = shutter thirds + ISO thirds; ISO stays at
 * 100 until the slowest shutter is reached.
 */
void dwi_program_split(int total, int fastest_k, int slowest_k, int iso_max_k, int *shutter_k,
                       int *iso_k);

#endif
