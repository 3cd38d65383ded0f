/* visible.c: see visible.h. */
#include "decide/visible.h"

#include <math.h>

#define THRESHOLD_STOPS 0.002 /* at THRESHOLD_FPS; about a third of what Barten's formula gives */
#define THRESHOLD_FPS 30.0
#define FIELD_DEG 10.0  /* a large field ... */
#define LUMINANCE 100.0 /* ... as bright as a screen's white: the strict case */
#define BANDS 512       /* in which the power is summed */

/* Barten 1999. Retinal illuminance in trolands, his equations for the pupil and the Stiles-Crawford
 * effect; then photon noise, neural noise with its lateral inhibition, and two low-passes. */
double dw_flicker_sensitivity(double hz, double area_deg, double luminance)
{
    const double pi = 3.14159265358979323846;
    const double snr = 3, integration_s = 0.1, quantum_share = 0.03, photons = 1.2e6;
    const double neural_noise = 3e-8, widest_deg = 12;
    double pupil_mm = 5 - 3 * tanh(0.4 * log10(luminance * area_deg * area_deg / 1600));
    double trolands = pi / 4 * pupil_mm * pupil_mm * luminance *
                      (1 - pow(pupil_mm / 9.7, 2) + pow(pupil_mm / 12.4, 4));
    double tau_cone = 0.032 / (1 + 0.55 * log(1 + pow(1 + area_deg, 0.6) * trolands / 3.5));
    double tau_inhibit = 0.018 / (1 + 0.37 * log(1 + pow(1 + area_deg / 3.2, 5) * trolands / 120));
    double cone = pow(1 + pow(2 * pi * hz * tau_cone, 2), -3.5);     /* 7 stages */
    double inhibit = pow(1 + pow(2 * pi * hz * tau_inhibit, 2), -2); /* 4 stages */
    double pass = cone * (1 - inhibit);
    double size = 1 / (area_deg * area_deg) + 1 / (widest_deg * widest_deg);
    double noise = 1 / (quantum_share * photons * trolands) + neural_noise / (pass * pass);
    return 1 / (snr * sqrt(2 / integration_s * size * noise));
}

/* Mean square of the sensitivity over the frequencies that a sequence at this rate can hold. */
static double mean_square(double fps)
{
    double sum = 0;
    for (int i = 0; i < BANDS; i++) {
        double s = dw_flicker_sensitivity((i + 0.5) / BANDS * fps / 2, FIELD_DEG, LUMINANCE);
        sum += s * s;
    }
    return sum / BANDS;
}

double dw_flicker_threshold(double fps)
{
    return THRESHOLD_STOPS * sqrt(mean_square(THRESHOLD_FPS) / mean_square(fps));
}
