/* curves.c: see curves.h. */
#include "render/curves.h"

#include <math.h>

struct dw_tone dw_tone_make(double contrast, double key, double hue_share)
{
    double k = fmin(fmax(key, 1e-4), 0.98);
    double share = fmin(fmax(hue_share, 0.0), 1.0);
    return (struct dw_tone){DW_CURVE_TOE, (float)(1.0 / (1.0 + (double)DW_CURVE_TOE)),
                            (float)(contrast - 1.0), (float)(1.0 / k - 1.0), (float)share};
}

double dw_tone_value(const struct dw_tone *t, double x)
{
    double z = x * pow((x + (double)t->toe) * (double)t->toe_scale, (double)t->power);
    return z / (z + (double)t->pin);
}
