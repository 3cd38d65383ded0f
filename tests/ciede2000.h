/* ciede2000.h: the colour difference CIEDE2000 after Sharma, Wu & Dalal 2005, Color Research &
 * Application 30, 21-30 (kL = kC = kH = 1). For tests; held against the paper's own pairs. */
#ifndef DW_TESTS_CIEDE2000_H
#define DW_TESTS_CIEDE2000_H

#include <math.h>

#define CIEDE_RAD 0.017453292519943295

/* Hue angle of (a, b), degrees 0..360; 0 for grey. */
static inline double ciede_hue(double a, double b)
{
    if (a == 0 && b == 0)
        return 0;
    double h = atan2(b, a) / CIEDE_RAD;
    return h < 0 ? h + 360 : h;
}

static inline double ciede2000(const double p[3], const double q[3])
{
    double c1 = hypot(p[1], p[2]), c2 = hypot(q[1], q[2]);
    double c7 = pow((c1 + c2) / 2, 7), g = 0.5 * (1 - sqrt(c7 / (c7 + 6103515625.0)));
    double a1 = (1 + g) * p[1], a2 = (1 + g) * q[1];
    c1 = hypot(a1, p[2]);
    c2 = hypot(a2, q[2]);
    double h1 = ciede_hue(a1, p[2]), h2 = ciede_hue(a2, q[2]);
    double dh = h2 - h1, h = h1 + h2;
    if (c1 * c2 == 0) {
        dh = 0;
    } else if (fabs(h1 - h2) > 180) {
        dh += dh > 0 ? -360 : 360;
        h += h < 360 ? 360 : -360;
        h /= 2;
    } else {
        h /= 2;
    }
    double dl = q[0] - p[0], dc = c2 - c1, l = (p[0] + q[0]) / 2, c = (c1 + c2) / 2;
    double big_h = 2 * sqrt(c1 * c2) * sin(dh / 2 * CIEDE_RAD);
    double t = 1 - 0.17 * cos((h - 30) * CIEDE_RAD) + 0.24 * cos(2 * h * CIEDE_RAD) +
               0.32 * cos((3 * h + 6) * CIEDE_RAD) - 0.20 * cos((4 * h - 63) * CIEDE_RAD);
    double l50 = (l - 50) * (l - 50), turn = (h - 275) / 25;
    double sl = 1 + 0.015 * l50 / sqrt(20 + l50), sc = 1 + 0.045 * c, sh = 1 + 0.015 * c * t;
    c7 = pow(c, 7);
    double rt = -2 * sqrt(c7 / (c7 + 6103515625.0)) * sin(60 * exp(-turn * turn) * CIEDE_RAD);
    dl /= sl;
    dc /= sc;
    big_h /= sh;
    return sqrt(dl * dl + dc * dc + big_h * big_h + rt * dc * big_h);
}

#endif
