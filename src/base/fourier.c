/* fourier.c: see fourier.h. Cooley & Tukey 1965, radix two, in place. */
#include "base/fourier.h"

#include <math.h>
#include <stdlib.h>

bool dw_fourier_make(struct dw_fourier *f, size_t n)
{
    *f = (struct dw_fourier){0};
    if (n < 2 || (n & (n - 1)) != 0)
        return false;
    f->turn = malloc(3 * n * sizeof *f->turn);
    if (!f->turn)
        return false;
    f->n = n;
    for (size_t k = 0; k < n / 2; k++) {
        double angle = -2 * M_PI * (double)k / (double)n;
        f->turn[2 * k] = cos(angle);
        f->turn[2 * k + 1] = sin(angle);
    }
    return true;
}

void dw_fourier_free(struct dw_fourier *f)
{
    free(f->turn);
    *f = (struct dw_fourier){0};
}

static void reverse_bits(double *z, size_t n)
{
    for (size_t i = 0, j = 0; i < n; i++) {
        if (i < j)
            for (int k = 0; k < 2; k++) {
                double t = z[2 * i + (size_t)k];
                z[2 * i + (size_t)k] = z[2 * j + (size_t)k];
                z[2 * j + (size_t)k] = t;
            }
        size_t bit = n >> 1;
        for (; j & bit; bit >>= 1)
            j ^= bit;
        j ^= bit;
    }
}

static void line(const struct dw_fourier *f, double *z, bool back)
{
    size_t n = f->n;
    double sign = back ? -1 : 1;
    reverse_bits(z, n);
    for (size_t half = 1; half < n; half *= 2)
        for (size_t first = 0; first < n; first += 2 * half)
            for (size_t k = 0; k < half; k++) {
                double *a = z + 2 * (first + k), *b = a + 2 * half;
                double c = f->turn[2 * k * (n / 2 / half)];
                double s = sign * f->turn[2 * k * (n / 2 / half) + 1];
                double re = b[0] * c - b[1] * s, im = b[0] * s + b[1] * c;
                b[0] = a[0] - re;
                b[1] = a[1] - im;
                a[0] += re;
                a[1] += im;
            }
}

void dw_fourier_picture(struct dw_fourier *f, double *z, bool back)
{
    size_t n = f->n;
    double *column = f->turn + n;
    for (size_t y = 0; y < n; y++)
        line(f, z + 2 * y * n, back);
    for (size_t x = 0; x < n; x++) {
        for (size_t y = 0; y < n; y++) {
            column[2 * y] = z[2 * (y * n + x)];
            column[2 * y + 1] = z[2 * (y * n + x) + 1];
        }
        line(f, column, back);
        for (size_t y = 0; y < n; y++) {
            z[2 * (y * n + x)] = column[2 * y];
            z[2 * (y * n + x) + 1] = column[2 * y + 1];
        }
    }
}
