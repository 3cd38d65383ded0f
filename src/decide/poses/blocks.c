/* blocks.c: see blocks.h. */
#include "decide/poses/blocks.h"
#include "base/limit.h"
#include "base/lagrange.h"
#include "decide/poses/kernels.h"

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

/* b = g a - g (x gx + y gy): three unknowns, the gradient's pair solved after the brightness. */
static void solve(const double s[DW_BLOCK_SUMS], int n, double x, double y, struct dw_block *out)
{
    if (!(s[DW_SUM_AA] > 0 && s[DW_SUM_BB] > 0))
        return;
    out->alike = s[DW_SUM_BA] / sqrt(s[DW_SUM_AA] * s[DW_SUM_BB]);
    double per = 1 / s[DW_SUM_AA], ax = s[DW_SUM_AX] * per, ay = s[DW_SUM_AY] * per;
    double xx = s[DW_SUM_XX] - s[DW_SUM_AX] * ax, yy = s[DW_SUM_YY] - s[DW_SUM_AY] * ay;
    double xy = s[DW_SUM_XY] - s[DW_SUM_AX] * ay;
    double rx = s[DW_SUM_BX] - ax * s[DW_SUM_BA], ry = s[DW_SUM_BY] - ay * s[DW_SUM_BA];
    double ridge = 1e-3 * (xx + yy); /* an edge tells nothing along itself */
    double det = (xx + ridge) * (yy + ridge) - xy * xy;
    if (!(det > 0))
        return;
    double px = ((yy + ridge) * rx - xy * ry) / det, py = ((xx + ridge) * ry - xy * rx) / det;
    double g = (s[DW_SUM_BA] - px * s[DW_SUM_AX] - py * s[DW_SUM_AY]) / s[DW_SUM_AA];
    double rest = s[DW_SUM_BB] - (g * s[DW_SUM_BA] + px * s[DW_SUM_BX] + py * s[DW_SUM_BY]);
    out->left = dw_at_least(rest, 0) / s[DW_SUM_BB];
    if (!(g > 0.1 * sqrt(s[DW_SUM_BB] / s[DW_SUM_AA])))
        return; /* it is not the same thing */
    double var = dw_at_least(rest / (n - 3), 1e-4 * s[DW_SUM_BB] / n);
    /* smoothing has spread the noise: about a dozen cells say one thing (by trial) */
    double unit = g * g / (12 * var);
    out->x = x - dw_at_least(dw_at_most(px / g, 1.5), -1.5);
    out->y = y - dw_at_least(dw_at_most(py / g, 1.5), -1.5);
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
    float wx[TAPS], wy[TAPS], between_cells[B * B];
    const float *moved = b + (w.y0 + dy) * SIDE + w.x0 + dx;
    size_t stride = SIDE;
    if (between) {
        dw_lagrange((float)(x - dx), wx);
        dw_lagrange((float)(y - dy), wy);
        for (int v = 0; v < rows; v++)
            fetch_row(b, w.x0, n, w.y0 + v, dx, dy, wx, wy, between_cells + v * B);
        moved = between_cells;
        stride = B;
    }
    double s[DW_BLOCK_SUMS];
    dw_pose_kernels_best()->sums(a + w.y0 * SIDE + w.x0, moved, stride, n, rows, s);
    solve(s, n * rows, x, y, out);
}
