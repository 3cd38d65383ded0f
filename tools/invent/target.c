/*
 * target.c - see target.h.
 *
 * CIELAB (D50, 2 degrees) of the classic 24-patch target of McCamy, Marcus & Davidson 1976 as
 * published by its maker in 2005; values from memory. Brought to D65 by the Bradford transform.
 */
#include "target.h"

#include "colour.h"
#include "ground.h"

#include <math.h>

static const double lab[25][3] = {
    {37.986, 13.555, 14.059},  {65.711, 18.130, 17.810},  {49.927, -4.880, -21.925},
    {43.139, -13.095, 21.905}, {55.112, 8.844, -25.399},  {70.719, -33.397, -0.199},
    {62.661, 36.067, 57.096},  {40.020, 10.410, -45.964}, {51.124, 48.239, 16.248},
    {30.325, 22.976, -21.587}, {72.532, -23.709, 57.255}, {71.941, 19.363, 67.857},
    {28.778, 14.179, -50.297}, {55.261, -38.342, 31.370}, {42.101, 53.378, 28.190},
    {81.733, 4.039, 79.819},   {51.935, 49.986, -14.574}, {51.038, -28.631, -28.638},
    {96.539, -0.425, 1.186},   {81.257, -0.638, -0.335},  {66.766, -0.734, -0.504},
    {50.867, -0.153, -0.270},  {35.656, -0.421, -1.231},  {20.461, -0.079, -0.973},
    {16.0, 0.0, 0.0},
};

static double inverse_f(double t)
{
    return t > 6.0 / 29 ? t * t * t : (t - 16.0 / 116) * 3 * (6.0 / 29) * (6.0 / 29);
}

void dwi_target_xyz(int patch, double xyz[3])
{
    static const double d50[3] = {0.96422, 1, 0.82521}, d65[3] = {0.95045593, 1, 1.08905775};
    static const double cone[3][3] = {/* Bradford */
                                      {0.8951, 0.2664, -0.1614},
                                      {-0.7502, 1.7135, 0.0367},
                                      {0.0389, -0.0685, 1.0296}};
    static const double back[3][3] = {{0.9869929, -0.1470543, 0.1599627},
                                      {0.4323053, 0.5183603, 0.0492912},
                                      {-0.0085287, 0.0400428, 0.9684867}};
    const double *v = lab[patch];
    double fy = (v[0] + 16) / 116, in[3], c[3];
    in[0] = d50[0] * inverse_f(fy + v[1] / 500);
    in[1] = d50[1] * inverse_f(fy);
    in[2] = d50[2] * inverse_f(fy - v[2] / 200);
    for (int i = 0; i < 3; i++) {
        double from = 0, to = 0;
        c[i] = 0;
        for (int j = 0; j < 3; j++) {
            c[i] += cone[i][j] * in[j];
            from += cone[i][j] * d50[j];
            to += cone[i][j] * d65[j];
        }
        c[i] *= to / from;
    }
    for (int i = 0; i < 3; i++)
        xyz[i] = back[i][0] * c[0] + back[i][1] * c[1] + back[i][2] * c[2];
}

void dwi_target_rgb(int patch, double rgb[3])
{
    double xyz[3];
    dwi_target_xyz(patch, xyz);
    dwi_rgb_of_xyz(xyz, rgb);
}

/* The card: 62 % of the width in the lower middle, patches in a 6 by 4 lattice. */
static double pitch(const struct dwi_params *p)
{
    return fmin(p->width * 0.62 / 6.25, p->height * 0.60 / 4.25);
}

void dwi_target_place(const struct dwi_params *p, int patch, int rect[4])
{
    double s = pitch(p), left = p->width / 2.0 - 3 * s, top = p->height * 0.96 - 4.125 * s;
    double x = left + (patch % 6) * s, y = top + (patch / 6) * s;
    rect[0] = (int)lround(x + 0.12 * s) & ~1;
    rect[1] = (int)lround(y + 0.12 * s) & ~1;
    rect[2] = rect[3] = (int)(0.76 * s) & ~1;
}

int dwi_target_paint(const struct dwi_params *p, int x, int y, int *material, float *albedo,
                     int ground)
{
    double s = pitch(p), left = p->width / 2.0 - 3.125 * s, top = p->height * 0.96 - 4.25 * s;
    if (x < left || x > left + 6.25 * s || y < top || y > top + 4.25 * s)
        return ground;
    *material = DWI_PATCH0 + 24;
    *albedo = 1;
    for (int i = 0; i < 24; i++) {
        int r[4];
        dwi_target_place(p, i, r);
        if (x >= r[0] && x < r[0] + r[2] && y >= r[1] && y < r[1] + r[3])
            *material = DWI_PATCH0 + i;
    }
    return 4;
}
