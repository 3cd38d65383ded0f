/* green_line.c: see green_line.h. */
#include "render/green_line.h"

#include "render/kernels/fastmath.h"

#define LINE_PRIOR 20.0 /* pixels, and pixels squared stops of colour */
#define LINE_STEEPEST 0.5
#define LINE_FARTHEST 0.5 /* stops */

void dw_green_line_add(struct dw_green_line *f, float w, const float v[3])
{
    if (!(v[0] > 0 && v[1] > 0 && v[2] > 0))
        return;
    double r = (double)dwk_log2(v[0]), g = (double)dwk_log2(v[1]), b = (double)dwk_log2(v[2]);
    double x = r - b, y = g - (r + b) / 2, weight = (double)w;
    f->n += weight;
    f->x += weight * x;
    f->y += weight * y;
    f->xx += weight * x * x;
    f->xy += weight * x * y;
}

float dw_green_line_tell(const struct dw_green_line *f, float red, float blue)
{
    if (!(red > 0 && blue > 0))
        return 0.5f * (red + blue);
    double n = f->n + LINE_PRIOR, det = n * (f->xx + LINE_PRIOR) - f->x * f->x;
    double slope = (n * f->xy - f->x * f->y) / det, at = (f->y - slope * f->x) / n;
    slope = slope < -LINE_STEEPEST ? -LINE_STEEPEST : slope > LINE_STEEPEST ? LINE_STEEPEST : slope;
    double r = (double)dwk_log2(red), b = (double)dwk_log2(blue), y = at + slope * (r - b);
    y = y < -LINE_FARTHEST ? -LINE_FARTHEST : y > LINE_FARTHEST ? LINE_FARTHEST : y;
    return dwk_exp2((float)((r + b) / 2 + y));
}
