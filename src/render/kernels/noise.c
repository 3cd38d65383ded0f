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

static void settle(const struct dw_settle *p, const struct dw_settle_rows *rows, size_t n,
                   float *restrict out_y, float *restrict out_u, float *restrict out_v)
{
    const struct dw_settle s = *p;
    const ptrdiff_t d = s.step;
    const float *ay = rows->up[0], *au = rows->up[1], *av = rows->up[2];
    const float *my = rows->mid[0], *mu = rows->mid[1], *mv = rows->mid[2];
    const float *by = rows->down[0], *bu = rows->down[1], *bv = rows->down[2];
    for (ptrdiff_t i = 0; i < (ptrdiff_t)n; i++) {
        float y = my[i], u = mu[i], v = mv[i];
        struct trade a = trade(&s, y, u, v, ay[i], au[i], av[i]);
        struct trade b = trade(&s, y, u, v, by[i], bu[i], bv[i]);
        struct trade l = trade(&s, y, u, v, my[i - d], mu[i - d], mv[i - d]);
        struct trade r = trade(&s, y, u, v, my[i + d], mu[i + d], mv[i + d]);
        out_y[i] = y + ((a.y + b.y) + (l.y + r.y));
        out_u[i] = u + ((a.u + b.u) + (l.u + r.u));
        out_v[i] = v + ((a.v + b.v) + (l.v + r.v));
    }
}

const struct dw_noise_kernels DW_KERNEL(noise) = {split, join, settle};
