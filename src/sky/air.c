/* air.c: what the air does to starlight. */
#include <daywheel/sky.h>

#include <math.h>

#define DEG (3.14159265358979323846 / 180)

double dw_air_mass(double alt_deg)
{
    double h = fmax(alt_deg, 0);
    return 1 / (sin(h * DEG) + 0.50572 * pow(h + 6.07995, -1.6364));
}

double dw_extinction(double um, double height_m)
{
    double km = height_m / 1000, n = 1 / (um * um);
    double refraction = 0.23465 + 107.6 / (146 - n) + 0.93161 / (41 - n); /* of air, relative */
    double rayleigh = 0.0094977 * n * n * refraction * refraction * exp(-km / 7.996);
    return rayleigh + 0.05 * pow(um, -1.3) * exp(-km / 1.5);
}
