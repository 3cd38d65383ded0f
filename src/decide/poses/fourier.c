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
        dw_pose_kernels_best()->lines(f->turn, f->n, work, back);
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
