/* survey_mosaics.h: invented sensor data with known noise, for the tests of the survey. */
#ifndef DW_TESTS_SURVEY_MOSAICS_H
#define DW_TESTS_SURVEY_MOSAICS_H

#include "mosaics.h"

struct dice {
    uint64_t state;
};

/* xorshift64* (Vigna 2016, ACM TOMS 42, 30), upper 53 bits. */
static inline double uniform(struct dice *d)
{
    d->state ^= d->state >> 12;
    d->state ^= d->state << 25;
    d->state ^= d->state >> 27;
    return (double)((d->state * 0x2545f4914f6cdd1du) >> 11) / 9007199254740992.0;
}

/* Box & Muller 1958. */
static inline double normal(struct dice *d)
{
    return sqrt(-2 * log(1 - uniform(d))) * cos(6.283185307179586 * uniform(d));
}

/* Exact by multiplying uniforms (Knuth, TAOCP 2, 3.4.1) up to 60; beyond, a normal with the third
 * moment put right (Cornish & Fisher 1938). */
static inline double poisson(struct dice *d, double mean)
{
    if (mean > 60) {
        double z = normal(d);
        return fmax(floor(mean + sqrt(mean) * z + (z * z - 1) / 6 + 0.5), 0);
    }
    double limit = exp(-mean), p = uniform(d);
    int k = 0;
    for (; p > limit; k++)
        p *= uniform(d);
    return k;
}

/* One sample: electrons to DN, read noise, rounding, clipping. */
static inline uint16_t expose_sample(struct dice *d, double electrons, double dn_per_e,
                                     double read_dn)
{
    double v = (double)BLACK + dn_per_e * poisson(d, electrons) + read_dn * normal(d);
    return (uint16_t)fmin(fmax(floor(v + 0.5), 0), (double)WHITE);
}

#endif
