/* noise.c: smoothing within the noise; see ../noise.h. */
#include "render/kernels/kernel.h"

#include "render/kernels/fastmath.h"

static void split(const float luma[3], size_t n, float *restrict r, float *restrict g,
                  float *restrict b)
{
    float lr = luma[0], lg = luma[1], lb = luma[2];
    for (size_t i = 0; i < n; i++) {
        float y = lr * r[i] + lg * g[i] + lb * b[i];
        r[i] -= y;
        b[i] -= y;
        g[i] = y;
    }
}

static void join(const float luma[3], const float *restrict y, const float *restrict u,
                 const float *restrict v, size_t n, float *restrict r, float *restrict g,
                 float *restrict b)
{
    float kr = luma[0] / luma[1], kb = luma[2] / luma[1];
    for (size_t i = 0; i < n; i++) {
        r[i] = y[i] + u[i];
        g[i] = y[i] - (kr * u[i] + kb * v[i]);
        b[i] = y[i] + v[i];
    }
}

struct trade {
    float y, u, v;
};

/* What a pixel gets from one neighbour. Equal but for its sign when seen from the other side. */
static inline struct trade trade(const struct dw_settle *p, float y, float u, float v, float ny,
                                 float nu, float nv)
{
    float dy = ny - y, du = nu - u, dv = nv - v;
    float inverse = 1.0f / (p->floor + p->slope * dwk_max(y + ny, 0.0f));
    float a = dy * dy * inverse;
    float c = a + (du * du * p->of_u + dv * dv * p->of_v) * inverse;
    float wy = dwk_max(1.0f - p->luma_limit * a, 0.0f);
    float wc = dwk_max(1.0f - p->chroma_limit * c, 0.0f);
    wy = p->luma_trade * (wy * wy);
    wc = p->chroma_trade * (wc * wc);
    return (struct trade){wy * dy, wc * du, wc * dv};
}

#define PIECE 256 /* pixels, whose trades stay in the first cache */

/* Along the row a trade is reckoned once for both: what the left one gets the right one gives. */
static void settle(const struct dw_settle *p, const struct dw_settle_rows *rows, size_t n,
                   float *restrict out_y, float *restrict out_u, float *restrict out_v)
{
    const struct dw_settle s = *p;
    const ptrdiff_t d = s.step;
    float ty[PIECE + DW_SETTLE_FARTHEST], tu[PIECE + DW_SETTLE_FARTHEST];
    float tv[PIECE + DW_SETTLE_FARTHEST];
    for (size_t from = 0; from < n; from += PIECE) {
        const ptrdiff_t m = n - from < PIECE ? (ptrdiff_t)(n - from) : PIECE;
        const float *ay = rows->up[0] + from, *au = rows->up[1] + from, *av = rows->up[2] + from;
        const float *my = rows->mid[0] + from, *mu = rows->mid[1] + from, *mv = rows->mid[2] + from;
        const float *by = rows->down[0] + from, *bu = rows->down[1] + from;
        const float *bv = rows->down[2] + from;
        float *restrict oy = out_y + from, *restrict ou = out_u + from, *restrict ov = out_v + from;
        for (ptrdiff_t i = 0; i < m + d; i++) {
            struct trade t = trade(&s, my[i - d], mu[i - d], mv[i - d], my[i], mu[i], mv[i]);
            ty[i] = t.y;
            tu[i] = t.u;
            tv[i] = t.v;
        }
        for (ptrdiff_t i = 0; i < m; i++) {
            float y = my[i], u = mu[i], v = mv[i];
            struct trade a = trade(&s, y, u, v, ay[i], au[i], av[i]);
            struct trade b = trade(&s, y, u, v, by[i], bu[i], bv[i]);
            oy[i] = y + ((a.y + b.y) + (ty[i + d] - ty[i]));
            ou[i] = u + ((a.u + b.u) + (tu[i + d] - tu[i]));
            ov[i] = v + ((a.v + b.v) + (tv[i + d] - tv[i]));
        }
    }
}

const struct dw_noise_kernels DW_KERNEL(noise) = {split, join, settle};
