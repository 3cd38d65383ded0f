/* fourier.c: see fourier.h. Cooley & Tukey 1965, radix two, in place. */
#include "base/fourier.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* So many lines are transformed side by side: each step is then a loop over them, which a processor
 * takes several at a time, and they stay in the first cache throughout. */
enum { LINES = 8 };

bool dw_fourier_make(struct dw_fourier *f, size_t n)
{
    *f = (struct dw_fourier){0};
    if (n < 2 || (n & (n - 1)) != 0)
        return false;
    f->turn = malloc((1 + 2 * LINES) * n * sizeof *f->turn);
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

static void swap_lines(double *a, double *b)
{
    for (int i = 0; i < LINES; i++) {
        double t = a[i];
        a[i] = b[i];
        b[i] = t;
    }
}

/* z: real parts of the first samples of all lines, their imaginary parts, the second samples ... */
static void reverse_bits(double *z, size_t n)
{
    for (size_t i = 0, j = 0; i < n; i++) {
        if (i < j)
            for (size_t k = 0; k < 2 * LINES; k += LINES)
                swap_lines(z + 2 * LINES * i + k, z + 2 * LINES * j + k);
        size_t bit = n >> 1;
        for (; j & bit; bit >>= 1)
            j ^= bit;
        j ^= bit;
    }
}

static void butterfly(double *restrict a, double *restrict b, double c, double s)
{
    for (int i = 0; i < LINES; i++) {
        double br = b[i], bi = b[LINES + i];
        double re = br * c - bi * s, im = br * s + bi * c;
        b[i] = a[i] - re;
        b[LINES + i] = a[LINES + i] - im;
        a[i] += re;
        a[LINES + i] += im;
    }
}

static void lines(const struct dw_fourier *f, double *z, bool back)
{
    size_t n = f->n;
    double sign = back ? -1 : 1;
    reverse_bits(z, n);
    for (size_t half = 1; half < n; half *= 2)
        for (size_t first = 0; first < n; first += 2 * half)
            for (size_t k = 0; k < half; k++) {
                double *a = z + 2 * LINES * (first + k);
                butterfly(a, a + 2 * LINES * half, f->turn[2 * k * (n / 2 / half)],
                          sign * f->turn[2 * k * (n / 2 / half) + 1]);
            }
}

/* Pictures padded with nothing have many lines of it. */
static bool all_zero(const double *v, size_t n)
{
    for (size_t i = 0; i < n; i++)
        if (v[i] != 0)
            return false;
    return true;
}

/* Lines whose samples lie `step` numbers apart; the first ones lie `line` apart. */
static void along(struct dw_fourier *f, double *z, size_t step, size_t line, bool back)
{
    double *work = f->turn + f->n;
    for (size_t first = 0; first < f->n; first += LINES, z += LINES * line) {
        size_t many = f->n - first < LINES ? f->n - first : LINES;
        memset(work, 0, 2 * LINES * f->n * sizeof *work);
        for (size_t k = 0; k < f->n; k++)
            for (size_t i = 0; i < many; i++)
                for (size_t part = 0; part < 2; part++)
                    work[(2 * k + part) * LINES + i] = z[k * step + i * line + part];
        if (all_zero(work, 2 * LINES * f->n))
            continue;
        lines(f, work, back);
        for (size_t k = 0; k < f->n; k++)
            for (size_t i = 0; i < many; i++)
                for (size_t part = 0; part < 2; part++)
                    z[k * step + i * line + part] = work[(2 * k + part) * LINES + i];
    }
}

void dw_fourier_picture(struct dw_fourier *f, double *z, bool back)
{
    along(f, z, 2, 2 * f->n, back);
    along(f, z, 2 * f->n, 2, back);
}
