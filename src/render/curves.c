/* curves.c: see curves.h. */
#include "render/curves.h"

#include <math.h>

struct dw_tone dw_tone_make(double contrast, double toe, double key, double hue_share)
{
    double k = fmin(fmax(key, 1e-4), 0.98);
    double share = fmin(fmax(hue_share, 0.0), 1.0);
    return (struct dw_tone){(float)toe, (float)(1.0 / (1.0 + toe)), (float)(contrast - 1.0),
                            (float)(1.0 / k - 1.0), (float)share};
}

double dw_tone_value(const struct dw_tone *t, double x)
{
    double z = x * pow((x + (double)t->toe) * (double)t->toe_scale, (double)t->power);
    return z / (z + (double)t->pin);
}
