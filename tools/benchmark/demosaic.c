/* demosaic.c: processor time of one full-size demosaic, as a table on standard output.
 *   daywheel-demosaic [WIDTH HEIGHT]     default 6000 4000 */
#include "render/mosaic/demosaic.h"
#include "render/kernels/kernels.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>

#define RUNS 5

static double user_seconds(void)
{
    struct rusage r;
    getrusage(RUSAGE_SELF, &r);
    return (double)r.ru_utime.tv_sec + 1e-6 * (double)r.ru_utime.tv_usec;
}

/* Waves with noise in them, so that no sum is of nothing. */
static void fill(float *px, int w, int h)
{
    uint32_t noise = 1;
    for (int y = 0; y < h; y++) {
        float down = sinf(0.01f * (float)y);
        for (int x = 0; x < w; x++) {
            noise = noise * 1664525u + 1013904223u; /* Numerical Recipes' quick generator */
            px[(size_t)y * (size_t)w + (size_t)x] =
                0.3f + 0.1f * down + (float)(noise >> 8) * 0x1p-28f;
        }
    }
}

static double best_of_runs(const struct dw_kernels *k, const float *mosaic, int w, int h,
                           float *space, float *const rgb[3])
{
    static const uint8_t pattern[4] = {0, 1, 1, 2};
    double best = INFINITY;
    for (int i = 0; i < RUNS; i++) {
        double start = user_seconds();
        dw_demosaic_full(k->demosaic, mosaic, w, h, pattern, space, rgb);
        best = fmin(best, user_seconds() - start);
    }
    return best;
}

int main(int argc, char **argv)
{
    long w = argc == 3 ? strtol(argv[1], NULL, 10) : 6000;
    long h = argc == 3 ? strtol(argv[2], NULL, 10) : 4000;
    if ((argc != 1 && argc != 3) || w < 2 || h < 2 || w > 50000 || h > 50000) {
        fprintf(stderr, "usage: daywheel-demosaic [WIDTH HEIGHT], each 2 to 50000\n");
        return 2;
    }
    size_t n = (size_t)w * (size_t)h, space_floats = dw_demosaic_space((int)w);
    float *mosaic = malloc(n * sizeof(float)), *planes = malloc(3 * n * sizeof(float));
    float *space = malloc(space_floats * sizeof(float));
    if (!mosaic || !planes || !space) {
        fprintf(stderr, "no memory for %ldx%ld pixels\n", w, h);
        free(mosaic);
        free(planes);
        free(space);
        return 1;
    }
    fill(mosaic, (int)w, (int)h);
    memset(planes, 0, 3 * n * sizeof(float));
    float *const rgb[3] = {planes, planes + n, planes + 2 * n};
    printf("kernels\tuser_ms\tns_per_pixel\n");
    for (int i = 0; i < dw_kernels_count(); i++) {
        const struct dw_kernels *k = dw_kernels_number(i);
        double s = best_of_runs(k, mosaic, (int)w, (int)h, space, rgb);
        printf("%s\t%.1f\t%.2f\n", k->name, 1e3 * s, 1e9 * s / (double)n);
    }
    printf("work space: %.2f MB\n", (double)space_floats * sizeof(float) / 1e6);
    free(mosaic);
    free(planes);
    free(space);
    return 0;
}
