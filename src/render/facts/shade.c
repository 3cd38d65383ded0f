/* shade.c: see shade.h. */
#include "render/facts/shade.h"

#include "render/kernels/fastmath.h"

void dw_shade_row(const struct dw_source *source, int y, int width, int height, float *const rgb[3])
{
    float w = (float)width, h = (float)height, corner = w * w + h * h;
    float two = (float)source->shade[0], four = (float)source->shade[1];
    float down = (float)(2 * y + 1) - h;
    for (int x = 0; x < width; x++) {
        float across = (float)(2 * x + 1) - w;
        float r2 = (across * across + down * down) / corner;
        float lift = dwk_exp2(r2 * (two + r2 * four));
        for (int c = 0; c < 3; c++)
            rgb[c][x] *= lift;
    }
}
