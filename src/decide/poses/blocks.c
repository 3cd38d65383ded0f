/* blocks.c: see blocks.h. */
#include "decide/poses/blocks.h"
#include "base/lagrange.h"

#include <math.h>
#include <string.h>

#define SIDE DW_PATCH_SIDE
#define B DW_BLOCK_SIDE
#define BORDER 3 /* cells at a patch's border that smoothing spoilt */
#define LEAST_CELLS 128

#define TAPS DW_LAGRANGE_TAPS /* no leaning towards whole cells, as a cubic does */

/* The part of a block, in its own cells, that is seen whole in both views. */
struct window {
    int x0, x1, y0, y1; /* of the patch in a; x1, y1 behind the last */
};

static struct window seen_in_both(int block, int dx, int dy, bool between)
{
    int x = block % DW_BLOCKS_ACROSS * B, y = block / DW_BLOCKS_ACROSS * B;
    int low = BORDER + 1, high = SIDE - BORDER - 1, more = between ? 3 : 0, less = between ? 2 : 0;
    struct window w = {x, x + B, y, y + B};
    int from_x = low > BORDER + less - dx ? low : BORDER + less - dx;
    int from_y = low > BORDER + less - dy ? low : BORDER + less - dy;
    int to_x = high < SIDE - BORDER - more - dx ? high : SIDE - BORDER - more - dx;
    int to_y = high < SIDE - BORDER - more - dy ? high : SIDE - BORDER - more - dy;
    w.x0 = w.x0 > from_x ? w.x0 : from_x;
    w.y0 = w.y0 > from_y ? w.y0 : from_y;
    w.x1 = w.x1 < to_x ? w.x1 : to_x;
    w.y1 = w.y1 < to_y ? w.y1 : to_y;
    return w;
}

/* b at whole offset (dx, dy) plus the weights' part of a cell, row y of the window. */
static void fetch_row(const float *b, int x0, int n, int y, int dx, int dy, const float *wx,
                      const float *wy, float *out)
{
    const float *row = b + (y + dy) * SIDE + x0 + dx;
    if (!wx) {
        memcpy(out, row, (size_t)n * sizeof *out);
        return;
    }
    float down[B + TAPS - 1];
    for (int i = 0; i < n + TAPS - 1; i++) {
        const float *c = row + i - 2;
        down[i] = (wy[0] * c[-2 * SIDE] + wy[1] * c[-SIDE]) + (wy[2] * c[0] + wy[3] * c[SIDE]) +
                  (wy[4] * c[2 * SIDE] + wy[5] * c[3 * SIDE]);
    }
    for (int i = 0; i < n; i++)
        out[i] = (wx[0] * down[i] + wx[1] * down[i + 1]) +
                 (wx[2] * down[i + 2] + wx[3] * down[i + 3]) +
                 (wx[4] * down[i + 4] + wx[5] * down[i + 5]);
}

enum { AA, AX, AY, XX, XY, YY, BA, BX, BY, BB, SUMS };

static void add_row(const float *a, const float *bw, int n, float sum[SUMS][B])
{
    for (int i = 0; i < n; i++) {
        float v = a[i], gx = 0.5f * (a[i + 1] - a[i - 1]), gy = 0.5f * (a[i + SIDE] - a[i - SIDE]);
        float w = bw[i];
        sum[AA][i] += v * v;
        sum[AX][i] += v * gx;
        sum[AY][i] += v * gy;
        sum[XX][i] += gx * gx;
        sum[XY][i] += gx * gy;
        sum[YY][i] += gy * gy;
        sum[BA][i] += w * v;
        sum[BX][i] += w * gx;
        sum[BY][i] += w * gy;
        sum[BB][i] += w * w;
    }
}

/* b = g a - g (x gx + y gy): three unknowns, the gradient's pair solved after the brightness. */
static void solve(const double s[SUMS], int n, double x, double y, struct dw_block *out)
{
    if (!(s[AA] > 0 && s[BB] > 0))
        return;
    out->alike = s[BA] / sqrt(s[AA] * s[BB]);
    double xx = s[XX] - s[AX] * s[AX] / s[AA], yy = s[YY] - s[AY] * s[AY] / s[AA];
    double xy = s[XY] - s[AX] * s[AY] / s[AA];
    double rx = s[BX] - s[AX] * s[BA] / s[AA], ry = s[BY] - s[AY] * s[BA] / s[AA];
    double ridge = 1e-3 * (xx + yy); /* an edge tells nothing along itself */
    double det = (xx + ridge) * (yy + ridge) - xy * xy;
    if (!(det > 0))
        return;
    double px = ((yy + ridge) * rx - xy * ry) / det, py = ((xx + ridge) * ry - xy * rx) / det;
    double g = (s[BA] - px * s[AX] - py * s[AY]) / s[AA];
    double rest = s[BB] - (g * s[BA] + px * s[BX] + py * s[BY]);
    out->left = fmax(rest, 0) / s[BB];
    if (!(g > 0.1 * sqrt(s[BB] / s[AA])))
        return; /* it is not the same thing */
    double var = fmax(rest / (n - 3), 1e-4 * s[BB] / n);
    /* smoothing has spread the noise: about a dozen cells say one thing (by trial) */
    double unit = g * g / (12 * var);
    out->x = x - fmax(-1.5, fmin(1.5, px / g));
    out->y = y - fmax(-1.5, fmin(1.5, py / g));
    out->ixx = unit * xx;
    out->ixy = unit * xy;
    out->iyy = unit * yy;
}

void dw_block_step(const float *a, const float *b, int block, double x, double y,
                   struct dw_block *out)
{
    *out = (struct dw_block){.x = x, .y = y, .left = 1};
    if (!(fabs(x) < SIDE && fabs(y) < SIDE))
        return;
    int dx = (int)floor(x), dy = (int)floor(y);
    bool between = x != dx || y != dy;
    struct window w = seen_in_both(block, dx, dy, between);
    int n = w.x1 - w.x0, rows = w.y1 - w.y0;
    if (n <= 0 || rows <= 0 || n * rows < LEAST_CELLS)
        return;
    float wx[TAPS], wy[TAPS], bw[B], sum[SUMS][B];
    if (between) {
        dw_lagrange((float)(x - dx), wx);
        dw_lagrange((float)(y - dy), wy);
    }
    memset(sum, 0, sizeof sum);
    for (int v = w.y0; v < w.y1; v++) {
        fetch_row(b, w.x0, n, v, dx, dy, between ? wx : NULL, wy, bw);
        add_row(a + v * SIDE + w.x0, bw, n, sum);
    }
    double s[SUMS] = {0};
    for (int k = 0; k < SUMS; k++)
        for (int i = 0; i < n; i++)
            s[k] += (double)sum[k][i];
    solve(s, n * rows, x, y, out);
}
