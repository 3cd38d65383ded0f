/* white.c: see white.h. */
#include "base/white.h"

#include "base/matrix3.h"

#include <math.h>

#define GLOW_TO_K 3500.0       /* a glowing body alone up to here */
#define DAYLIGHT_FROM_K 4000.0 /* daylight alone from here on */

void dw_planck_uv(double t, double uv[2])
{
    uv[0] = (0.860117757 + 1.54118254e-4 * t + 1.28641212e-7 * t * t) /
            (1 + 8.42420235e-4 * t + 7.08145163e-7 * t * t);
    uv[1] = (0.317398726 + 4.22806245e-5 * t + 4.20481691e-8 * t * t) /
            (1 - 2.89741816e-5 * t + 1.61456053e-7 * t * t);
}

void dw_daylight_xy(double t, double xy[2])
{
    double x = t <= 7000 ? 0.244063 + (0.09911e3 + (2.9678e6 - 4.6070e9 / t) / t) / t
                         : 0.237040 + (0.24748e3 + (1.9018e6 - 2.0064e9 / t) / t) / t;
    xy[0] = x;
    xy[1] = -3.000 * x * x + 2.870 * x - 0.275;
}

static void daylight_uv(double t, double uv[2])
{
    double xy[2];
    dw_daylight_xy(t, xy);
    double d = -2 * xy[0] + 12 * xy[1] + 3; /* CIE 1960 UCS */
    uv[0] = 4 * xy[0] / d;
    uv[1] = 6 * xy[1] / d;
}

/* Where daylight begins, its distance from the glowing body of the same temperature. */
static void step_to_daylight(double step[2])
{
    double planck[2];
    dw_planck_uv(DAYLIGHT_FROM_K, planck);
    daylight_uv(DAYLIGHT_FROM_K, step);
    step[0] -= planck[0];
    step[1] -= planck[1];
}

static void white_uv(double t, double uv[2])
{
    if (t >= DAYLIGHT_FROM_K) {
        daylight_uv(t, uv);
        return;
    }
    double step[2], x = fmax((t - GLOW_TO_K) / (DAYLIGHT_FROM_K - GLOW_TO_K), 0);
    double share = x * x * (3 - 2 * x);
    step_to_daylight(step);
    dw_planck_uv(t, uv);
    uv[0] += share * step[0];
    uv[1] += share * step[1];
}

void dw_white_xyz(double kelvin, double tint, double xyz[3])
{
    double t = fmin(fmax(kelvin, DW_WHITE_LEAST_K), DW_WHITE_MOST_K);
    double duv = fmin(fmax(tint, -DW_WHITE_MOST_TINT), DW_WHITE_MOST_TINT) / 1000;
    double uv[2], a[2], b[2];
    white_uv(t, uv);
    /* Lines of equal temperature stand across the locus; up is greener. */
    dw_planck_uv(t * 0.999, a);
    dw_planck_uv(t * 1.001, b);
    double du = a[0] - b[0], dv = a[1] - b[1], length = hypot(du, dv);
    uv[0] -= duv * dv / length;
    uv[1] += duv * du / length;
    xyz[0] = 1.5 * uv[0] / uv[1];
    xyz[1] = 1;
    xyz[2] = (4 - uv[0] - 10 * uv[1]) / (2 * uv[1]);
}

void dw_bradford(const double from[3], const double to[3], double out[9])
{
    static const double cone[9] = {0.8951, 0.2664, -0.1614, -0.7502, 1.7135,
                                   0.0367, 0.0389, -0.0685, 1.0296};
    double a[3], b[3], back[9];
    dw_m3_apply(cone, from, a);
    dw_m3_apply(cone, to, b);
    dw_m3_invert(cone, back); /* never singular */
    for (int i = 0; i < 9; i++)
        out[i] = cone[i] * b[i / 3] / a[i / 3];
    dw_m3_multiply(back, out, out);
}
