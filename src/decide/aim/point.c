/* point.c: see aim.h. */
#include "decide/aim/aim.h"

#include <math.h>

static const struct point_params {
    size_t spots;       /* of a shot, the strongest, that a bright star may be */
    double lowest_deg;  /* stars below hide behind ground and haze */
    double step_deg;    /* between the angles tried */
    double coarse_px;   /* how far off a star may be: while they are tried, beside the step, */
    double fine_px;     /* and at the end; per 2000 pixels of width more */
    double least_share; /* of the stars that should be seen must be, */
    double over_chance; /* so many times what chance finds, */
    int least;          /* and so many in all shots together */
} params = {60, 8, 0.25, 3, 4, 0.35, 3, 12};

#define DEG (180 / 3.14159265358979323846)
enum { STARS = 128, COARSE_GROUPS = 4 /* three of twelve tell the angle roughly */ };

struct place {
    double hour, dec;                  /* degrees */
    double cos_h, sin_h, cos_d, sin_d; /* asked for at each angle that is tried */
};

/* As dw_aim_towards. west: across pole and meridian. */
static void towards(const struct dw_aim *v, const double west[3], const struct place *p,
                    double ray[3])
{
    for (int i = 0; i < 3; i++)
        ray[i] =
            p->sin_d * v->pole[i] + p->cos_d * (p->cos_h * v->meridian[i] + p->sin_h * west[i]);
}

static double dot(const double a[3], const double b[3])
{
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
}

/* The brightest stars at a shot's time. */
static int stars_at(const struct dw_site *site, double utc_s, struct place *out)
{
    double turned, ra[STARS], dec[STARS];
    int n = 0;
    if (dw_sidereal(site, utc_s, &turned) < 0 || dw_bright_stars_at(utc_s, STARS, ra, dec) < 0)
        return 0;
    for (; n < STARS && dw_bright_star(n); n++) {
        double hour = turned - ra[n], h = hour / DEG, d = dec[n] / DEG;
        out[n] = (struct place){hour, dec[n], cos(h), sin(h), cos(d), sin(d)};
    }
    return n;
}

struct sight {
    double matched, sought, chance, off_deg; /* off: mean turn by which the stars found are off */
};

/* In every so manieth group. */
static void look(const struct dw_aim_shots *shots, const struct dw_aim *v, const struct place *star,
                 const int *n, int every, double reach, struct sight *out)
{
    *out = (struct sight){0};
    double area = M_PI * reach * reach / ((double)shots->width * shots->height), off = 0;
    const double lowest = sin(params.lowest_deg / DEG);
    double up[3], west[3];
    dw_aim_towards(v, 0, v->lat_deg, up);
    for (int i = 0; i < 3; i++) {
        int j = (i + 1) % 3, k = (i + 2) % 3;
        west[i] = v->meridian[j] * v->pole[k] - v->meridian[k] * v->pole[j];
    }
    for (int g = 0; g < shots->n_groups; g += every) {
        const struct dw_aim_shot *s = &shots->shot[(size_t)g * DW_AIM_GROUP];
        size_t spots = s->n < params.spots ? s->n : params.spots;
        for (int i = 0; i < n[g]; i++) {
            const struct place *p = &star[g * STARS + i];
            double ray[3], x, y, least = reach * reach, dx = 0, dy = 0;
            towards(v, west, p, ray);
            if (dot(up, ray) < lowest || !dw_aim_pixel(v, ray, &x, &y) || x < 2 || y < 2 ||
                x >= shots->width - 2 || y >= shots->height - 2)
                continue;
            bool found = false;
            for (size_t k = 0; k < spots; k++) {
                double ex = s->spot[k].x - x, ey = s->spot[k].y - y, d = ex * ex + ey * ey;
                if (d < least) {
                    least = d;
                    dx = ex;
                    dy = ey;
                    found = true;
                }
            }
            out->sought += 1;
            out->chance += 1 - exp(-(double)spots * area);
            if (!found)
                continue;
            double on[3], u, w;
            dw_aim_towards(v, p->hour + 0.1, p->dec, on);
            if (!dw_aim_pixel(v, on, &u, &w))
                continue;
            double jx = (u - x) / 0.1, jy = (w - y) / 0.1;
            out->matched += 1;
            out->off_deg += jx * dx + jy * dy;
            off += jx * jx + jy * jy;
        }
    }
    out->off_deg = off > 0 ? out->off_deg / off : 0;
}

static void set_meridian(struct dw_aim *v, const double zero[3], double angle_deg)
{
    dw_aim_turn(v->pole, -angle_deg * M_PI / 180, zero, v->meridian);
}

bool dw_aim_point(const struct dw_aim_shots *shots, const struct dw_site *site, struct dw_aim *v)
{
    struct place star[DW_AIM_GROUPS * STARS];
    int n[DW_AIM_GROUPS];
    double zero[3], best = -1, at = 0, size = 0;
    double scale = fmax(1, fmax(shots->width, shots->height) / 2000.0);
    double coarse = params.coarse_px * scale + v->focal_px * params.step_deg / 2 * M_PI / 180;
    struct sight s;
    v->lat_deg = site->lat_deg;
    for (int g = 0; g < shots->n_groups; g++)
        n[g] = stars_at(site, shots->shot[(size_t)g * DW_AIM_GROUP].utc_s, star + g * STARS);
    int least = fabs(v->pole[0]) < fabs(v->pole[1]) ? 0 : 1;
    for (int i = 0; i < 3; i++) {
        zero[i] = (i == least ? 1 : 0) - v->pole[least] * v->pole[i];
        size += zero[i] * zero[i];
    }
    for (int i = 0; i < 3; i++)
        zero[i] /= sqrt(size);
    for (double angle = 0; angle < 360; angle += params.step_deg) {
        set_meridian(v, zero, angle);
        look(shots, v, star, n, COARSE_GROUPS, coarse, &s);
        double found = (s.matched - s.chance) / sqrt(s.sought + 10);
        if (found > best) {
            best = found;
            at = angle;
        }
    }
    for (int pass = 0; pass < 6; pass++) {
        set_meridian(v, zero, at);
        look(shots, v, star, n, 1, pass < 3 ? coarse : params.fine_px * scale, &s);
        at += s.off_deg;
    }
    set_meridian(v, zero, at);
    look(shots, v, star, n, 1, params.fine_px * scale, &s);
    return s.matched >= params.least && s.matched >= params.least_share * s.sought &&
           s.matched >= params.over_chance * s.chance;
}
