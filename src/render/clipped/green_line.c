/* green_line.c: see green_line.h. */
#include "render/clipped/green_line.h"

#include "render/kernels/fastmath.h"

#define LINE_PRIOR 20.0   /* pixels, and pixels squared stops of colour */
#define KNOWN_PRIOR 300.0 /* pixels that what is known from the shoot counts for */
#define LINE_STEEPEST 0.5
#define LINE_FARTHEST 0.5 /* stops */
#define KNOWN_REACH 1.0   /* stops of red over blue: the sky's own colours; beyond them are lamps */
#define LAMP_STOPS 0.5    /* by so much beyond, and light tells nothing of a known sky's */

static double known_at(const struct dw_green_line *f, double x)
{
    x = x < -KNOWN_REACH ? -KNOWN_REACH : x > KNOWN_REACH ? KNOWN_REACH : x;
    return f->known[0] * (f->known[1] + x * (f->known[2] + x * f->known[3]));
}

void dw_green_line_add(struct dw_green_line *f, float w, const float v[3])
{
    if (!(v[0] > 0 && v[1] > 0 && v[2] > 0))
        return;
    double r = (double)dwk_log2(v[0]), g = (double)dwk_log2(v[1]), b = (double)dwk_log2(v[2]);
    double lamp = (r - b - KNOWN_REACH) / LAMP_STOPS;
    lamp = lamp < 0 ? 0 : lamp > 1 ? 1 : lamp;
    double x = r - b, y = g - (r + b) / 2 - known_at(f, x),
           weight = (double)w * (1 - lamp * f->known[0]);
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
    double n = f->n + LINE_PRIOR + KNOWN_PRIOR * f->known[0];
    double det = n * (f->xx + LINE_PRIOR) - f->x * f->x;
    double slope = (n * f->xy - f->x * f->y) / det;
    slope = slope < -LINE_STEEPEST ? -LINE_STEEPEST : slope > LINE_STEEPEST ? LINE_STEEPEST : slope;
    slope *= 1 - f->known[0];
    double at = (f->y - slope * f->x) / n;
    double r = (double)dwk_log2(red), b = (double)dwk_log2(blue), x = r - b;
    double y = at + slope * x + known_at(f, x);
    y = y < -LINE_FARTHEST ? -LINE_FARTHEST : y > LINE_FARTHEST ? LINE_FARTHEST : y;
    return dwk_exp2((float)((r + b) / 2 + y));
}
