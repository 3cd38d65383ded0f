/* fourier.h: the discrete Fourier transform of small square pictures. Our own, because a library
 * that picks its code by the processor gives other last bits on other machines, and results here
 * must not depend on the machine. */
#ifndef DW_DECIDE_FOURIER_H
#define DW_DECIDE_FOURIER_H

#include <stdbool.h>
#include <stddef.h>

/* Twiddle factors of one size. */
struct dw_fourier {
    size_t n;     /* side of the picture, a power of two, 8 or more */
    double *turn; /* n/2 complex factors exp(-2 pi i k / n), then room for some lines */
};

/* False when memory ran out or n is no such number. Free with dw_fourier_free. */
bool dw_fourier_make(struct dw_fourier *f, size_t n);
void dw_fourier_free(struct dw_fourier *f);

/* Transforms an n x n picture of complex numbers (re, im, re, im, ...; row-major) in its place:
 * X[v][u] = sum x[j][i] exp(-2 pi i (ui + vj) / n). `back` has the other sign and is not divided
 * by n^2. Not thread-safe for one struct. */
void dw_fourier_picture(struct dw_fourier *f, double *z, bool back);

#endif
