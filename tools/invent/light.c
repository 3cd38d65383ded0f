/*
 * light.c - see light.h.
 */
#include "light.h"

#include <math.h>

struct branch {
    double from, c[4];
};

static const struct branch sun[] = {
    {20, {3.74, 3.97, -4.07, 1.47}},         {5, {3.05, 13.28, -45.98, 64.33}},
    {-0.8, {2.88, 22.26, -207.64, 1034.30}}, {-5, {2.88, 21.81, -258.11, -858.36}},
    {-12, {2.70, 12.17, -431.69, -1899.83}}, {-1e9, {13.84, 262.72, 1447.42, 2797.93}},
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

/*
 * Knots lie closer where the curve bends more. At a joint of two branches the value is the mean of
 * both, which differ by 0.005 in log10 at most.
 */
static const double sun_knot[] = {-90, -60,  -40, -30, -25, -21,  -18, -16, -14, -12,
                                  -10, -8.5, -7,  -5,  -3,  -1.5, 0,   1.5, 3,   5,
                                  7.5, 10,   15,  20,  30,  45,   60,  75,  90};
static const double moon_knot[] = {-0.8, 1, 3, 5, 7.5, 10, 15, 20, 30, 45, 60, 75, 90};

enum {
    KNOTS = sizeof sun_knot / sizeof sun_knot[0],
    MOON_KNOTS = sizeof moon_knot / sizeof moon_knot[0]
};

struct curve {
    const double *knot;
    int n;
    double value[KNOTS], second[KNOTS];
};
static struct curve sun_curve = {.knot = sun_knot, .n = KNOTS};
static struct curve moon_curve = {.knot = moon_knot, .n = MOON_KNOTS};

/* Natural cubic spline: tridiagonal system for the second derivatives. */
static void bend(struct curve *c)
{
    const double *x = c->knot, *y = c->value;
    double u[KNOTS] = {0}, *d = c->second;
    d[0] = d[c->n - 1] = 0;
    for (int i = 1; i < c->n - 1; i++) {
        double s = (x[i] - x[i - 1]) / (x[i + 1] - x[i - 1]), p = s * d[i - 1] + 2;
        d[i] = (s - 1) / p;
        u[i] = (y[i + 1] - y[i]) / (x[i + 1] - x[i]) - (y[i] - y[i - 1]) / (x[i] - x[i - 1]);
        u[i] = (6 * u[i] / (x[i + 1] - x[i - 1]) - s * u[i - 1]) / p;
    }
    for (int i = c->n - 2; i > 0; i--)
        d[i] = d[i] * d[i + 1] + u[i];
}

/* Straight on beyond the ends. */
static double on_curve(const struct curve *c, double h)
{
    const double *x = c->knot;
    int i = 0, last = c->n - 1;
    while (i < last - 1 && h > x[i + 1])
        i++;
    double w = x[i + 1] - x[i], at = h < x[0] ? x[0] : h > x[last] ? x[last] : h;
    double a = (x[i + 1] - at) / w, b = 1 - a, d0 = c->second[i], d1 = c->second[i + 1];
    double slope =
        (c->value[i + 1] - c->value[i]) / w + ((1 - 3 * a * a) * d0 + (3 * b * b - 1) * d1) * w / 6;
    return a * c->value[i] + b * c->value[i + 1] +
           ((a * a * a - a) * d0 + (b * b * b - b) * d1) * w * w / 6 + slope * (h - at);
}

static double mean_of_branches(const struct branch *b, double h)
{
    return 0.5 * (log_lux(b, h - 1e-9) + log_lux(b, h + 1e-9));
}

void dwi_light_init(void)
{
    double slope = (log_lux(sun, -17.9) - log_lux(sun, -18)) / 0.1;
    for (int i = 0; i < KNOTS; i++)
        sun_curve.value[i] = sun_knot[i] >= -18 ? mean_of_branches(sun, sun_knot[i])
                                                : log_lux(sun, -18) + slope * (sun_knot[i] + 18);
    for (int i = 0; i < MOON_KNOTS; i++)
        moon_curve.value[i] = mean_of_branches(moon, moon_knot[i]);
    bend(&sun_curve);
    bend(&moon_curve);
}

double dwi_sun_lux(double h)
{
    return pow(10, on_curve(&sun_curve, h));
}

/* What phase and distance take from the full moon at mean distance, log10. */
static double phase(double elongation, double parallax)
{
    double f = 180 - elongation * 180 / M_PI;
    return -8.68e-3 * f - 2.2e-9 * f * f * f * f + 2 * log10(parallax * 180 / M_PI / 0.951);
}

double dwi_moon_polynomial(double h, double elongation, double parallax)
{
    return pow(10, log_lux(moon, h) + phase(elongation, parallax));
}

double dwi_moon_lux(double h, double elongation, double parallax)
{
    double up = dwi_step(h, -3, 0.5);
    return up > 0 ? up * pow(10, on_curve(&moon_curve, h) + phase(elongation, parallax)) : 0;
}

double dwi_moon_direct_normal(double h, double elongation, double parallax)
{
    double full = dwi_moon_lux(90, elongation, parallax) / dwi_sun_lux(90);
    return full * dwi_sun_direct_normal(h);
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
    return disc > 0 ? disc * 122000 * exp(-0.26 * dwi_air_mass(h)) : 0;
}
