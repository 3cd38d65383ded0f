/*
 * sensor.h - from light to numbers: photon and read noise, gain, black, clipping, defects.
 *
 * EMVA 1288 linear model: mean K N, variance K^2 (N + s^2) + d^2 + 1/12 DN^2, with N electrons,
 * K DN per electron, s read noise before the amplifier and d behind it.
 */
#ifndef DWI_SENSOR_H
#define DWI_SENSOR_H

#include "frame.h"

#include <math.h>
#include <stddef.h>

struct dwi_hot {
    int x, y;
    float rate; /* electrons per second above the others */
};

struct dwi_sensor {
    const struct dwi_params *p;
    float *flat;    /* lens shading times pixel response, per pixel; about 1 in the middle */
    float *radius2; /* per pixel: squared distance from the middle, 1 in the corner; NULL while
                     * the lens' shading never changes */
    float *column;  /* fixed column offset, DN */
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

/** What a shot makes of a pixel's light beside the middle's in green: its flat, the colour's own
 *  error, and what the lens' shading at this aperture is beside that wide open. */
struct dwi_answer {
    float colour[3]; /* factors on red, green, blue */
    double lifted;   /* stops, in the corner */
};
struct dwi_answer dwi_sensor_answer(const struct dwi_params *p, const struct dwi_shot *shot);

/** Loss at squared distance r2 from the middle, of that in the corner, where r2 is 1. */
static inline double dwi_shading(double r2)
{
    return 0.7 * r2 + 0.3 * r2 * r2;
}
static inline float dwi_sensor_flat(const struct dwi_sensor *s, const struct dwi_answer *a,
                                    size_t at, int colour)
{
    float flat = s->flat[at] * a->colour[colour];
    if (a->lifted != 0 && s->radius2)
        flat *= (float)exp2(a->lifted * dwi_shading((double)s->radius2[at]));
    return flat;
}

/** Read noise of a shot, DN rms, all but photons and rounding. */
double dwi_sensor_read_dn(const struct dwi_params *p, const struct dwi_shot *shot);

/** Exposes: light[height * width] to raw[height * width]. cfa: colours of the 2 x 2 cell. */
void dwi_sensor_expose(const struct dwi_sensor *s, const uint8_t cfa[4],
                       const struct dwi_shot *shot, const float *light, uint16_t *raw);

#endif
