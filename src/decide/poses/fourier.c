/* fourier.c: see fourier.h. */
#include "decide/poses/fourier.h"

#include "decide/poses/kernels.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { LINES = DW_FOURIER_LINES };

bool dw_fourier_make(struct dw_fourier *f, size_t n)
{
    *f = (struct dw_fourier){0};
    if (n < LINES || (n & (n - 1)) != 0)
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

/* Pictures padded with nothing have many lines of it. */
static bool all_zero(const double *v, size_t n)
{
    for (size_t i = 0; i < n; i++)
        if (v[i] != 0)
            return false;
    return true;
}

/* Samples of LINES lines, from the picture side by side and back. step: numbers between the samples
 * of a line; line: between lines. */
static inline void take(const double *restrict z, size_t n, size_t step, size_t line,
                        double *restrict work)
{
    for (size_t k = 0; k < n; k++, z += step, work += 2 * LINES)
        for (size_t i = 0; i < LINES; i++) {
            work[i] = z[i * line];
            work[LINES + i] = z[i * line + 1];
        }
}

static inline void put(const double *restrict work, size_t n, size_t step, size_t line,
                       double *restrict z)
{
    for (size_t k = 0; k < n; k++, z += step, work += 2 * LINES)
        for (size_t i = 0; i < LINES; i++) {
            z[i * line] = work[i];
            z[i * line + 1] = work[LINES + i];
        }
}

/* All rows of a picture. */
static void rows(struct dw_fourier *f, double *z, bool back)
{
    double *work = f->turn + f->n;
    for (size_t first = 0; first < f->n; first += LINES, z += LINES * 2 * f->n) {
        if (all_zero(z, LINES * 2 * f->n))
            continue;
        take(z, f->n, 2, 2 * f->n, work);
        dw_pose_kernels_best()->lines(f->turn, f->n, work, back);
        put(work, f->n, 2, 2 * f->n, z);
    }
}

/* And all columns. */
static void columns(struct dw_fourier *f, double *z, bool back)
{
    double *work = f->turn + f->n;
    for (size_t first = 0; first < f->n; first += LINES, z += LINES * 2) {
        take(z, f->n, 2 * f->n, 2, work);
        if (all_zero(work, 2 * LINES * f->n))
            continue;
        dw_pose_kernels_best()->lines(f->turn, f->n, work, back);
        put(work, f->n, 2 * f->n, 2, z);
    }
}

void dw_fourier_picture(struct dw_fourier *f, double *z, bool back)
{
    rows(f, z, back);
    columns(f, z, back);
}
