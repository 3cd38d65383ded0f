/* curves.c: see curves.h. */
#include "render/look/curves.h"

#include <math.h>

struct dw_tone dw_tone_make(double contrast, const struct dw_shadows *shadows, double key,
                            double hue_share)
{
    const double toe = shadows->toe, open = shadows->below, to = open * (1 + shadows->opened);
    double k = fmin(fmax(key, 1e-4), 0.98);
    double share = fmin(fmax(hue_share, 0.0), 1.0);
    return (struct dw_tone){(float)toe,
                            (float)(1.0 / (1.0 + toe)),
                            (float)(contrast - 1.0),
                            (float)open,
                            (float)to,
                            (float)((1.0 / k - 1.0) * (1.0 + to) / (1.0 + open)),
                            (float)share};
}

double dw_tone_value(const struct dw_tone *t, double x)
{
    double z = x * pow((x + (double)t->toe) * (double)t->toe_scale, (double)t->power);
    z *= (x + (double)t->open_to) / (x + (double)t->open);
    return z / (z + (double)t->pin);
}
