/*
 * rng.c - see rng.h.
 */
#include "rng.h"

#include <math.h>

float dwi_normal_table[65536];

/*
 * Inverse of the normal distribution function.
 * Reference: Wichura 1988, Algorithm AS 241 (PPND16), Appl. Stat. 37(3) 477; coefficients from
 * memory, checked by round trip through erfc in the tests.
 */
static double inverse_normal(double p)
{
    double q = p - 0.5, r, v;
    if (fabs(q) <= 0.425) {
        r = 0.180625 - q * q;
        return q *
               (((((((2509.0809287301226727 * r + 33430.575583588128105) * r +
                     67265.770927008700853) *
                        r +
                    45921.953931549871457) *
                       r +
                   13731.693765509461125) *
                      r +
                  1971.5909503065514427) *
                     r +
                 133.14166789178437745) *
                    r +
                3.387132872796366608) /
               (((((((5226.495278852545925 * r + 28729.085735721942674) * r +
                     39307.89580009271061) *
                        r +
                    21213.794301586595867) *
                       r +
                   5394.1960214247511077) *
                      r +
                  687.1870074920579083) *
                     r +
                 42.313330701600911252) *
                    r +
                1.0);
    }
    r = sqrt(-log(q < 0 ? p : 1 - p));
    if (r <= 5) {
        r -= 1.6;
        v = (((((((7.7454501427834140764e-4 * r + 0.0227238449892691845833) * r +
                  0.24178072517745061177) *
                     r +
                 1.27045825245236838258) *
                    r +
                3.64784832476320460504) *
                   r +
               5.7694972214606914055) *
                  r +
              4.6303378461565452959) *
                 r +
             1.42343711074968357734) /
            (((((((1.05075007164441684324e-9 * r + 5.475938084995344946e-4) * r +
                  0.0151986665636164571966) *
                     r +
                 0.14810397642748007459) *
                    r +
                0.68976733498510000455) *
                   r +
               1.6763848301838038494) *
                  r +
              2.05319162663775882187) *
                 r +
             1.0);
    } else {
        r -= 5;
        v = (((((((2.01033439929228813265e-7 * r + 2.71155556874348757815e-5) * r +
                  0.0012426609473880784386) *
                     r +
                 0.026532189526576123093) *
                    r +
                0.29656057182850489123) *
                   r +
               1.7848265399172913358) *
                  r +
              5.4637849111641143699) *
                 r +
             6.6579046435011037772) /
            (((((((2.04426310338993978564e-15 * r + 1.4215117583164458887e-7) * r +
                  1.8463183175100546818e-5) *
                     r +
                 7.868691311456132591e-4) *
                    r +
                0.0148753612908506148525) *
                   r +
               0.13692988092273580531) *
                  r +
              0.59983220655588793769) *
                 r +
             1.0);
    }
    return q < 0 ? -v : v;
}

double dwi_normal(uint64_t key)
{
    return inverse_normal(dwi_uniform(key));
}

void dwi_rng_init(void)
{
    double sum = 0;
    for (int i = 0; i < 65536; i++) {
        double v = inverse_normal((i + 0.5) / 65536);
        sum += v * v;
        dwi_normal_table[i] = (float)v;
    }
    float scale = (float)(1 / sqrt(sum / 65536));
    for (int i = 0; i < 65536; i++)
        dwi_normal_table[i] *= scale;
}

int dwi_poisson(double lambda, double u)
{
    double term = exp(-lambda), sum = term;
    int k = 0;
    while (u > sum && k < 400) {
        k++;
        term *= lambda / k;
        sum += term;
    }
    return k;
}

static float lattice(int x, int y, uint32_t key)
{
    uint32_t h = (uint32_t)x * 0x8da6b343u ^ (uint32_t)y * 0xd8163841u ^ key * 0xcb1ab31fu;
    h = (h ^ (h >> 16)) * 0x7feb352du;
    h = (h ^ (h >> 15)) * 0x846ca68bu;
    h ^= h >> 16;
    return (float)(h >> 8) * 0x1p-24f;
}

float dwi_noise2(float x, float y, uint32_t key)
{
    float fx = floorf(x), fy = floorf(y);
    int ix = (int)fx, iy = (int)fy;
    x -= fx;
    y -= fy;
    float u = x * x * x * (x * (x * 6 - 15) + 10), v = y * y * y * (y * (y * 6 - 15) + 10);
    float a = lattice(ix, iy, key), b = lattice(ix + 1, iy, key);
    float c = lattice(ix, iy + 1, key), d = lattice(ix + 1, iy + 1, key);
    return (a + (b - a) * u) + ((c + (d - c) * u) - (a + (b - a) * u)) * v;
}

float dwi_fbm2(float x, float y, int octaves, uint32_t key)
{
    float sum = 0, amplitude = 1, whole = 0;
    for (int i = 0; i < octaves; i++) {
        sum += amplitude * dwi_noise2(x, y, key + (uint32_t)i * 101u);
        whole += amplitude;
        amplitude *= 0.5f;
        x = x * 2 + 17.3f;
        y = y * 2 + 5.9f;
    }
    return sum / whole;
}
