/*
 * light.c - see light.h.
 */
#include "light.h"

#include <math.h>

struct branch {
    double from, c[4];
};

static const struct branch sun[] = {
    {20, {3.74, 3.97, -4.07, 1.47}},
    {5, {3.05, 13.28, -45.98, 64.33}},
    {-0.8, {2.88, 22.26, -207.64, 1034.30}},
    {-5, {2.88, 21.81, -258.11, -858.36}},
    {-12, {2.70, 12.17, -431.69, -1899.83}},
    {-1e9, {13.84, 262.72, 1447.42, 2797.93}},
};
static const struct branch moon[] = {
    {20, {-1.95, 4.06, -4.24, 1.56}},
    {5, {-2.58, 12.58, -42.58, 59.06}},
    {-1e9, {-2.79, 24.27, -252.95, 1321.29}},
};

static double log_lux(const struct branch *b, double h)
{
    while (h < b->from)
        b++;
    double x = h / 90;
    return b->c[0] + x * (b->c[1] + x * (b->c[2] + x * b->c[3]));
}

double dwi_sun_polynomial(double altitude_deg)
{
    return pow(10, log_lux(sun, altitude_deg));
}

double dwi_moon_polynomial(double h, double elongation, double parallax)
{
    double f = 180 - elongation * 180 / M_PI;
    return pow(10, log_lux(moon, h) - 8.68e-3 * f - 2.2e-9 * f * f * f * f +
                       2 * log10(parallax * 180 / M_PI / 0.951));
}

/* Knots lie closer where the curve bends more; none lies on a joint of two branches but 20, 5
 * and -5, where these agree to 0.002. */
static const double knot[] = {-90, -60, -40, -30, -25, -21, -18, -16, -14, -11, -9, -7, -5, -3,
                              -1.5, 0, 1.5, 3, 5, 7.5, 10, 15, 20, 30, 45, 60, 75, 90};
enum { KNOTS = sizeof knot / sizeof knot[0] };
static double value[KNOTS], second[KNOTS];

void dwi_light_init(void)
{
    double slope = (log_lux(sun, -17.9) - log_lux(sun, -18)) / 0.1;
    for (int i = 0; i < KNOTS; i++)
        value[i] = knot[i] >= -18 ? log_lux(sun, knot[i])
                                  : log_lux(sun, -18) + slope * (knot[i] + 18);
    /* natural cubic spline: tridiagonal system for the second derivatives */
    double u[KNOTS] = {0};
    second[0] = second[KNOTS - 1] = 0;
    for (int i = 1; i < KNOTS - 1; i++) {
        double s = (knot[i] - knot[i - 1]) / (knot[i + 1] - knot[i - 1]);
        double p = s * second[i - 1] + 2;
        second[i] = (s - 1) / p;
        u[i] = (value[i + 1] - value[i]) / (knot[i + 1] - knot[i]) -
               (value[i] - value[i - 1]) / (knot[i] - knot[i - 1]);
        u[i] = (6 * u[i] / (knot[i + 1] - knot[i - 1]) - s * u[i - 1]) / p;
    }
    for (int i = KNOTS - 2; i > 0; i--)
        second[i] = second[i] * second[i + 1] + u[i];
}

double dwi_sun_lux(double h)
{
    int i = 0;
    while (i < KNOTS - 2 && h > knot[i + 1])
        i++;
    double w = knot[i + 1] - knot[i], a = (knot[i + 1] - h) / w, b = 1 - a;
    return pow(10, a * value[i] + b * value[i + 1] +
                       ((a * a * a - a) * second[i] + (b * b * b - b) * second[i + 1]) * w * w / 6);
}

double dwi_moon_lux(double h, double elongation, double parallax)
{
    double down = dwi_step(h, -3, 0);
    if (down <= 0)
        return 0;
    return down * dwi_moon_polynomial(h < -0.8 ? -0.8 : h, elongation, parallax);
}

double dwi_step(double x, double a, double b)
{
    double t = (x - a) / (b - a);
    if (t <= 0)
        return 0;
    if (t >= 1)
        return 1;
    return t * t * t * (t * (6 * t - 15) + 10);
}

double dwi_air_mass(double h)
{
    if (h < -1)
        h = -1;
    return 1 / (sin(h * M_PI / 180) + 0.50572 * pow(h + 6.07995, -1.6364));
}

double dwi_sun_direct_normal(double h)
{
    double disc = dwi_step(h, -0.85, 0.0); /* centre geometric; refraction lifts by half a degree */
    if (disc <= 0)
        return 0;
    double e = disc * 127500 * exp(-0.25 * dwi_air_mass(h));
    double sine = sin(h * M_PI / 180), whole = 0.85 * dwi_sun_lux(h);
    return sine > 0 && e * sine > whole ? whole / sine : e;
}
