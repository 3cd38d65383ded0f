/*
 * rng.h - random numbers that depend only on a key, never on the order of asking.
 */
#ifndef DWI_RNG_H
#define DWI_RNG_H

#include <stdint.h>

/** Mixes a 64-bit counter into 64 even bits (the finaliser of splitmix64, Steele et al. 2014). */
static inline uint64_t dwi_mix(uint64_t x)
{
    x += 0x9e3779b97f4a7c15u;
    x = (x ^ (x >> 30)) * 0xbf58476d1ce4e5b9u;
    x = (x ^ (x >> 27)) * 0x94d049bb133111ebu;
    return x ^ (x >> 31);
}

/** Key of stream a, member b under a seed. */
static inline uint64_t dwi_key(uint64_t seed, uint64_t a, uint64_t b)
{
    return dwi_mix(dwi_mix(dwi_mix(seed) ^ a) + b);
}

/** Uniform in (0, 1). */
static inline double dwi_uniform(uint64_t key)
{
    return ((double)(dwi_mix(key) >> 11) + 0.5) * 0x1p-53;
}

/** Standard normal, exact inverse of the distribution function (double precision). */
double dwi_normal(uint64_t key);

/** 65536 standard normal values, one for each 16-bit number (mid-points of equal probability,
 *  scaled to unit variance). Built once; call dwi_rng_init before any thread starts. */
extern float dwi_normal_table[65536];
void dwi_rng_init(void);

/** Poisson number of mean lambda < 60 from a uniform in (0, 1), by inversion. */
int dwi_poisson(double lambda, double u);

/** Value noise with quintic interpolation in [0, 1], lattice spacing 1. */
float dwi_noise2(float x, float y, uint32_t key);

/** Sum of n octaves, halving amplitude and spacing, normalised to [0, 1]. */
float dwi_fbm2(float x, float y, int octaves, uint32_t key);

/** Stream names, so that no two uses share numbers. */
enum dwi_stream {
    DWI_S_SHUTTER = 1,
    DWI_S_ISO,
    DWI_S_APERTURE,
    DWI_S_JITTER,
    DWI_S_METER,
    DWI_S_BLACK,
    DWI_S_PIXEL,
    DWI_S_POISSON,
    DWI_S_HOT,
    DWI_S_FLAT,
    DWI_S_COLUMN,
    DWI_S_STAR,
    DWI_S_GROUND,
    DWI_S_FOLIAGE,
    DWI_S_CLOUD,
    DWI_S_MOVER,
    DWI_S_FAULT,
    DWI_S_LAMP,
    DWI_S_CLOCK,
    DWI_S_APJIT,
    DWI_S_DEAD,
    DWI_S_COLOUR,
    DWI_S_COLJIT,
    DWI_S_GHOST,
    DWI_S_DROPS
};

#endif
