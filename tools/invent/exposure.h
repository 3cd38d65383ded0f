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

/** Marked f-number k thirds of a stop beyond another marked one. */
double dwi_aperture_closed(double marked, int k);

/** Thirds of a stop by which a program closes the lens, at most `most`: in light that asks for less
 *  than 1/16 s at ISO 100, one for every two thirds more light. total: as below. */
int dwi_program_close(int total, int most);

/**
 * Setting of a camera that follows the light: total = shutter thirds + ISO thirds; ISO stays at
 * 100 until the slowest shutter is reached.
 */
void dwi_program_split(int total, int fastest_k, int slowest_k, int iso_max_k, int *shutter_k,
                       int *iso_k);

#endif
