/* aim.c: between pixels, rays and the sky, for a camera that stands still. */
#include <daywheel/sky.h>

#include <math.h>

#define DEG (180 / 3.14159265358979323846)
#define STEPS 12 /* of Newton's method at most; four do for a lens that bends little */

static double dot(const double a[3], const double b[3])
{
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
}

static void cross(const double a[3], const double b[3], double out[3])
{
    out[0] = a[1] * b[2] - a[2] * b[1];
    out[1] = a[2] * b[0] - a[0] * b[2];
    out[2] = a[0] * b[1] - a[1] * b[0];
}

static double radius(const struct dw_aim *v, double t)
{
    return v->focal_px * t * (1 + t * t * (v->bend[0] + t * t * v->bend[1]));
}

static double slope(const struct dw_aim *v, double t)
{
    return v->focal_px * (1 + t * t * (3 * v->bend[0] + t * t * 5 * v->bend[1]));
}

bool dw_aim_ray(const struct dw_aim *v, double x, double y, double ray[3])
{
    double u = x - v->cx, w = y - v->cy, r = hypot(u, w), t = atan(r / v->focal_px);
    for (int i = 0; i < STEPS; i++) {
        double d = slope(v, t);
        if (!(d > 0.05 * v->focal_px))
            return false;
        double step = (radius(v, t) - r) / d;
        t -= step;
        if (fabs(step) < 1e-9)
            break;
    }
    if (!(t >= -1e-9 && t < 3) || fabs(radius(v, t) - r) > 1e-3)
        return false;
    double side = r > 1e-9 ? sin(t) / r : 1 / v->focal_px;
    ray[0] = u * side;
    ray[1] = w * side;
    ray[2] = cos(t);
    return true;
}

bool dw_aim_pixel(const struct dw_aim *v, const double ray[3], double *x, double *y)
{
    double off = hypot(ray[0], ray[1]), t = atan2(off, ray[2]);
    /* r grows from the axis to here: it is a polynomial whose slope has one turn at most that
     * matters, so both ends and the middle tell */
    if (slope(v, t) <= 0.05 * v->focal_px || slope(v, 0.5 * t) <= 0.05 * v->focal_px ||
        slope(v, 0.75 * t) <= 0.05 * v->focal_px)
        return false;
    double r = radius(v, t), k = off > 1e-12 ? r / off : v->focal_px;
    *x = v->cx + k * ray[0];
    *y = v->cy + k * ray[1];
    return true;
}

void dw_aim_towards(const struct dw_aim *v, double hour_deg, double dec_deg, double ray[3])
{
    double west[3], h = hour_deg / DEG, d = dec_deg / DEG;
    cross(v->meridian, v->pole, west);
    for (int i = 0; i < 3; i++)
        ray[i] = sin(d) * v->pole[i] + cos(d) * (cos(h) * v->meridian[i] + sin(h) * west[i]);
}

double dw_aim_altitude(const struct dw_aim *v, const double ray[3])
{
    double up[3];
    dw_aim_towards(v, 0, v->lat_deg, up);
    return asin(fmax(-1, fmin(1, dot(up, ray)))) * DEG;
}
