/* illuminance.c: how much light sun and moon give at an altitude. */
#include <daywheel/sky.h>

#include <math.h>
#include <stddef.h>

/* log10 of the horizontal illuminance in lux is a cubic in altitude/90 degrees, branch by branch.
 * Source: Explanatory Supplement to the Astronomical Almanac (Seidelmann 1992), ground
 * illumination. Neighbouring branches meet within 0.02 in log10. */
static const struct branch {
    double above_deg, c[4];
} branches[] = {
    {20, {3.74, 3.97, -4.07, 1.47}},         {5, {3.05, 13.28, -45.98, 64.33}},
    {-0.8, {2.88, 22.26, -207.64, 1034.30}}, {-5, {2.88, 21.81, -258.11, -858.36}},
    {-12, {2.70, 12.17, -431.69, -1899.83}}, {-18, {13.84, 262.72, 1447.42, 2797.93}},
};

double dw_sun_illuminance_lx(double alt_deg)
{
    if (isnan(alt_deg))
        return NAN;
    double alt = fmin(fmax(alt_deg, -18), 90);
    size_t i = 0, last = sizeof branches / sizeof *branches - 1;
    while (i < last && alt < branches[i].above_deg)
        i++;
    double x = alt / 90;
    const double *c = branches[i].c;
    return pow(10, c[0] + x * (c[1] + x * (c[2] + x * c[3])));
}

/* The book's polynomials for the moon lie so far below the sun's, within a tenth of it from the
 * horizon to the zenith. */
#define FULL_MOON 2.1e-6
#define RIGHT_ANGLE 90.0

double dw_moon_beside_sun(double lit)
{
    if (!(lit > 0))
        return 0;
    double phase = acos(fmin(2 * lit - 1, 1)) * RIGHT_ANGLE / asin(1.0); /* degrees from full */
    return FULL_MOON * pow(10, -8.68e-3 * phase - 2.2e-9 * phase * phase * phase * phase);
}
