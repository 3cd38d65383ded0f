/*
 * lens.c - see lens.h.
 */
#include "lens.h"

#include <math.h>

static double curve(const struct dwi_lens_map *m, double t)
{
    double g = 0;
    switch (m->kind) {
    case DWI_RECTILINEAR:
        g = tan(t);
        break;
    case DWI_EQUIDISTANT:
        g = t;
        break;
    case DWI_STEREOGRAPHIC:
        g = 2 * tan(t / 2);
        break;
    case DWI_EQUISOLID:
        g = 2 * sin(t / 2);
        break;
    }
    return m->focal_px * g * (1 + t * t * (m->k1 + t * t * m->k2));
}

static void cross(const double a[3], const double b[3], double c[3])
{
    c[0] = a[1] * b[2] - a[2] * b[1];
    c[1] = a[2] * b[0] - a[0] * b[2];
    c[2] = a[0] * b[1] - a[1] * b[0];
}

void dwi_lens_init(struct dwi_lens_map *m, const struct dwi_params *p)
{
    double deg = M_PI / 180, az = (p->lat_deg >= 0 ? 0 : 180) + p->aim_az_deg;
    double ca = cos(p->aim_alt_deg * deg), sa = sin(p->aim_alt_deg * deg);
    m->axis_az = az * deg;
    m->kind = p->lens;
    m->k1 = p->k1;
    m->k2 = p->k2;
    m->focal_px = p->focal_mm / 36 * p->width;
    m->cx = (p->width - 1) / 2.0;
    m->cy = (p->height - 1) / 2.0;
    m->axis[0] = sin(m->axis_az) * ca;
    m->axis[1] = cos(m->axis_az) * ca;
    m->axis[2] = sa;
    double right[3] = {cos(m->axis_az), -sin(m->axis_az), 0}, up[3];
    cross(right, m->axis, up);
    /* what the displayed picture shows upwards lies to the mosaic's left for orientation 6 (shown
     * turned clockwise), to its right for 8, and below for 3 */
    double turn = p->orientation == 6   ? 90
                  : p->orientation == 8 ? -90
                  : p->orientation == 3 ? 180
                                        : 0;
    double a = (turn + p->roll_deg) * deg;
    for (int i = 0; i < 3; i++) {
        m->right[i] = cos(a) * right[i] - sin(a) * up[i];
        m->down[i] = -(sin(a) * right[i] + cos(a) * up[i]);
    }
    static const double widest[] = {80, 100, 120, 100}; /* degrees, by projection */
    m->theta_max = widest[m->kind] * deg;
    /* a polynomial that turns back ends the image */
    for (int i = 2; i * 0.005 < m->theta_max; i++) {
        double u = i * 0.005;
        if (curve(m, u + 0.005) <= curve(m, u)) {
            m->theta_max = u;
            break;
        }
    }
    double r_max = curve(m, m->theta_max), t = 0;
    m->theta_step = r_max / 4095;
    for (int i = 0; i < 4096; i++) { /* Newton, from the neighbour */
        double r = i * m->theta_step;
        for (int n = 0; n < 8; n++) {
            double d = (curve(m, t + 1e-5) - curve(m, t - 1e-5)) / 2e-5;
            t -= (curve(m, t) - r) / d;
        }
        m->theta_of_r[i] = (float)t;
    }
}

int dwi_lens_project(const struct dwi_lens_map *m, const double d[3], double *x, double *y)
{
    double z = d[0] * m->axis[0] + d[1] * m->axis[1] + d[2] * m->axis[2];
    double u = d[0] * m->right[0] + d[1] * m->right[1] + d[2] * m->right[2];
    double v = d[0] * m->down[0] + d[1] * m->down[1] + d[2] * m->down[2];
    double s = hypot(u, v), t = atan2(s, z);
    if (t > m->theta_max)
        return -1;
    double r = s > 1e-12 ? curve(m, t) / s : 0;
    *x = m->cx + r * u;
    *y = m->cy + r * v;
    return 0;
}

static double theta(const struct dwi_lens_map *m, double r)
{
    double i = r / m->theta_step;
    int k = (int)i;
    if (k >= 4095)
        return m->theta_max;
    double f = i - k;
    return (double)m->theta_of_r[k] * (1 - f) + (double)m->theta_of_r[k + 1] * f;
}

void dwi_lens_direction(const struct dwi_lens_map *m, double x, double y, double dir[3])
{
    double u = x - m->cx, v = y - m->cy, r = hypot(u, v), t = theta(m, r);
    double s = r > 1e-9 ? sin(t) / r : 0, c = cos(t);
    for (int i = 0; i < 3; i++)
        dir[i] = c * m->axis[i] + s * (u * m->right[i] + v * m->down[i]);
}

double dwi_lens_solid_angle(const struct dwi_lens_map *m, double x, double y)
{
    double r = fmax(hypot(x - m->cx, y - m->cy), 1.0);
    double t0 = theta(m, r - 0.5), t1 = theta(m, r + 0.5);
    return (t1 - t0) * sin(0.5 * (t0 + t1)) / r;
}
