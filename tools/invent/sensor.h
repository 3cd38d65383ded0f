/*
 * sensor.h - from light to numbers: photon and read noise, gain, black, clipping, defects.
 *
 * EMVA 1288 linear model: mean K N, variance K^2 (N + s^2) + d^2 + 1/12 DN^2, with N electrons,
 * K DN per electron, s read noise before the amplifier and d behind it.
 */
#ifndef DWI_SENSOR_H
#define DWI_SENSOR_H

#include "frame.h"

struct dwi_hot {
    int x, y;
    float rate; /* electrons per second above the others */
};

struct dwi_sensor {
    const struct dwi_params *p;
    float *flat;   /* lens shading times pixel response, per pixel; about 1 in the middle */
    float *column; /* fixed column offset, DN */
    struct dwi_hot *hot;
    int n_hot;
    int (*dead)[2]; /* x, y; their flat is 0 */
    int n_dead;
};

int dwi_sensor_make(struct dwi_sensor *s, const struct dwi_params *p);
void dwi_sensor_free(struct dwi_sensor *s);

/** Gain of a shot, DN per electron, its ISO error included. */
double dwi_sensor_gain(const struct dwi_params *p, const struct dwi_shot *shot);

/** Electrons that light of 1 cd/m2 brings in the middle of the frame. */
double dwi_sensor_electrons(const struct dwi_params *p, const struct dwi_shot *shot);

/** Read noise of a shot, DN rms, all but photons and rounding. */
double dwi_sensor_read_dn(const struct dwi_params *p, const struct dwi_shot *shot);

/** Exposes: light[height * width] to raw[height * width]. */
void dwi_sensor_expose(const struct dwi_sensor *s, const struct dwi_shot *shot, const float *light,
                       uint16_t *raw);

#endif
