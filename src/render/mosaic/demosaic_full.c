/* demosaic_full.c: a whole picture from a mosaic of floats. */
#include "render/mosaic/demosaic.h"

#include <string.h>

struct plane {
    const struct dw_demosaic_kernels *k;
    const float *px;
    int w;
};

static void row_of_plane(void *ctx, int y, float *even, float *odd)
{
    const struct plane *plane = ctx;
    int w = plane->w;
    const float *in = plane->px + (size_t)y * (size_t)w;
    plane->k->part(in, (size_t)w / 2, even, odd);
    if (w % 2)
        even[w / 2] = in[w - 1];
}

void dw_demosaic_full(const struct dw_demosaic_kernels *k, const float *mosaic, int w, int h,
                      const uint8_t pattern[4], float *space, float *const rgb[3])
{
    struct plane plane = {k, mosaic, w};
    struct dw_demosaic_source source = {
        .width = w, .height = h, .row = row_of_plane, .ctx = &plane};
    memcpy(source.pattern, pattern, sizeof source.pattern);
    struct dw_demosaic d;
    dw_demosaic_start(&d, k, &source, space);
    for (int y = 0; y < h; y++) {
        size_t at = (size_t)y * (size_t)w;
        dw_demosaic_next(&d, (float *const[3]){rgb[0] + at, rgb[1] + at, rgb[2] + at});
    }
}
