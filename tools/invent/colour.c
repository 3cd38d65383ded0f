/*
 * colour.c - see colour.h.
 */
#include "colour.h"

#include <math.h>

/* Invented, in the range of real bodies: broad overlapping channels, green the most sensitive. */
const double dwi_color_matrix[3][3] = {
    {0.7410, -0.2020, -0.0610},
    {-0.4340, 1.1730, 0.2394},
    {-0.0710, 0.1730, 0.5460},
};

static const double rgb_to_xyz[3][3] = {
    /* IEC 61966-2-1, from the primaries and white .3127 .3290 */
    {0.41239080, 0.35758434, 0.18048079},
    {0.21263901, 0.71516868, 0.07219232},
    {0.01933082, 0.11919478, 0.95053215},
};
static const double xyz_to_rgb[3][3] = {
    {3.24096994, -1.53738318, -0.49861076},
    {-0.96924364, 1.87596750, 0.04155506},
    {0.05563008, -0.20397696, 1.05697151},
};

static void apply(const double m[3][3], const double v[3], double out[3])
{
    double t[3];
    for (int i = 0; i < 3; i++)
        t[i] = m[i][0] * v[0] + m[i][1] * v[1] + m[i][2] * v[2];
    for (int i = 0; i < 3; i++)
        out[i] = t[i];
}

void dwi_camera_neutral(double out[3])
{
    apply(dwi_color_matrix, (const double[3]){0.95045593, 1, 1.08905775}, out);
}

void dwi_camera_of_xyz(const double xyz[3], double out[3])
{
    apply(dwi_color_matrix, xyz, out);
    for (int i = 0; i < 3; i++)
        if (out[i] < 0)
            out[i] = 0; /* no sensor sees less than nothing */
}

void dwi_camera_rgb(const double rgb[3], double out[3])
{
    double xyz[3];
    apply(rgb_to_xyz, rgb, xyz);
    dwi_camera_of_xyz(xyz, out);
}

void dwi_rgb_of_xyz(const double xyz[3], double out[3])
{
    apply(xyz_to_rgb, xyz, out);
}

void dwi_rgb_of_xy(double x, double y, double out[3])
{
    apply(xyz_to_rgb, (const double[3]){x / y, 1, (1 - x - y) / y}, out);
}

void dwi_rgb_of_kelvin(double t, double out[3])
{
    double x, y, u = 1000 / t;
    if (t < 1667)
        u = 1000.0 / 1667;
    if (t > 25000)
        u = 1000.0 / 25000;
    if (u > 0.25)
        x = -0.2661239 * u * u * u - 0.2343589 * u * u + 0.8776956 * u + 0.179910;
    else
        x = -3.0258469 * u * u * u + 2.1070379 * u * u + 0.2226347 * u + 0.240390;
    if (u > 1 / 2.222)
        y = -1.1063814 * x * x * x - 1.34811020 * x * x + 2.18555832 * x - 0.20219683;
    else if (u > 0.25)
        y = -0.9549476 * x * x * x - 1.37418593 * x * x + 2.09137015 * x - 0.16748867;
    else
        y = 3.0817580 * x * x * x - 5.87338670 * x * x + 3.75112997 * x - 0.37001483;
    dwi_rgb_of_xy(x, y, out);
}

double dwi_kelvin_of_bv(double b)
{
    return 4600 * (1 / (0.92 * b + 1.7) + 1 / (0.92 * b + 0.62));
}

void dwi_rgb_of_sun(double m, double out[3])
{
    /* Extinction per air mass in three bands, common values for clear air; slowed down for
     * thick air, where dust and water grey the reddening. */
    double e = m / (1 + 0.035 * m);
    double c[3] = {1.0 * exp(-0.020 * e), 0.93 * exp(-0.062 * e), 0.90 * exp(-0.155 * e)};
    double y = 0.21263901 * c[0] + 0.71516868 * c[1] + 0.07219232 * c[2];
    for (int i = 0; i < 3; i++)
        out[i] = c[i] / y;
}
