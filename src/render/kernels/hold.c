/* hold.c: light that stays is held; see ../hold.h. */
#include "render/kernels/kernel.h"

static float lesser(float a, float b)
{
    return a < b ? a : b;
}

/* Light n is divided by 1 + depth t / (1 + t), t = s^2 / (1 + s), s = n times inverse, most at the
 * most: what is much darker stays, what is brighter is held wholly, and n rises with n. */
static void hold(const float luma[3], float most, const float *restrict inverse,
                 const float *restrict depth, size_t n, float *restrict r, float *restrict g,
                 float *restrict b)
{
    const float lr = luma[0], lg = luma[1], lb = luma[2];
    for (size_t i = 0; i < n; i++) {
        float light = lr * r[i] + lg * g[i] + lb * b[i];
        float s = lesser((light > 0.0f ? light : 0.0f) * inverse[i], most), t = s * s;
        float low = 1.0f + s + t;
        float f = low / (low + depth[i] * t);
        r[i] *= f;
        g[i] *= f;
        b[i] *= f;
    }
}

const struct dw_hold_kernels DW_KERNEL(hold) = {hold};
