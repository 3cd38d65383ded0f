/*
 * stars.c - see stars.h.
 */
#include "stars.h"

#include "colour.h"
#include "rng.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Illuminance of a star of V = 0, lux (Allen). */
static const double LUX_OF_V0 = 2.54e-6;

static void finish(struct dwi_star *s)
{
    double rgb[3], cam[3], lux = LUX_OF_V0 * pow(10, -0.4 * s->mag);
    s->dir[0] = cos(s->dec) * cos(s->ra);
    s->dir[1] = cos(s->dec) * sin(s->ra);
    s->dir[2] = sin(s->dec);
    dwi_rgb_of_kelvin(dwi_kelvin_of_bv(s->b_v), rgb);
    dwi_camera_rgb(rgb, cam);
    for (int i = 0; i < 3; i++)
        s->flux[i] = (float)(lux * cam[i]);
}

/*
 * Faint stars are invented: as many as the real sky holds, log10 N(< m) = 0.5 m + 0.70 for the
 * whole sky (about 8,900 to 6.5; common values of star counts, from memory), half of them
 * gathered towards the galactic plane.
 */
static double count_to(double m)
{
    return pow(10, 0.5 * m + 0.70);
}

static void invent(struct dwi_star *s, int i, uint64_t seed, double n0)
{
    uint64_t k = dwi_key(seed, DWI_S_STAR, (uint64_t)i * 16);
    /* galactic axes in ICRS: towards the centre, 90 degrees on, the pole */
    static const double axis[3][3] = {{-0.054876, -0.873437, -0.483835},
                                      {0.494109, -0.444830, 0.746982},
                                      {-0.867666, -0.198076, 0.455984}};
    double z = 2 * dwi_uniform(k) - 1, l = 2 * M_PI * dwi_uniform(k + 1), d[3];
    if (dwi_uniform(k + 2) < 0.5)
        z = 0.22 * dwi_normal(k + 3), z = z > 0.99 ? 0.99 : z < -0.99 ? -0.99 : z;
    double r = sqrt(1 - z * z);
    for (int j = 0; j < 3; j++)
        d[j] = r * cos(l) * axis[0][j] + r * sin(l) * axis[1][j] + z * axis[2][j];
    s->id = 1001 + i;
    s->ra = atan2(d[1], d[0]);
    if (s->ra < 0)
        s->ra += 2 * M_PI;
    s->dec = asin(d[2]);
    s->mag = 2 * (log10(n0 + i + 0.5) - 0.70); /* the i-th brightest of the counts */
    double u = dwi_uniform(k + 4), g = 0.18 * dwi_normal(k + 5);
    s->b_v = (u < 0.4 ? 0.05 : u < 0.6 ? 0.5 : 1.1) + g;
    if (s->b_v < -0.3)
        s->b_v = -0.3;
    finish(s);
}

int dwi_stars_make(struct dwi_star_list *l, const struct dwi_params *p)
{
    double utc, years = 25;
    /* the catalogue is complete enough to magnitude 2.6; fainter ones are invented */
    double n0 = count_to(2.6);
    int fainter = (int)(count_to(p->star_limit) - n0);
    if (fainter < 0)
        fainter = 0;
    memset(l, 0, sizeof *l);
    if (!p->stars)
        return 0;
    l->star = calloc((size_t)(dwi_catalogue_count + fainter), sizeof *l->star);
    if (!l->star)
        return -1;
    if (!dwi_time_parse(p->start, &utc))
        years = (utc - 946728000) / (365.25 * 86400);
    for (int i = 0; i < dwi_catalogue_count; i++) {
        const struct dwi_catalogue_star *c = &dwi_catalogue[i];
        struct dwi_star *s = &l->star[l->n];
        if (c->mag > p->star_limit)
            continue;
        double mas = M_PI / 180 / 3.6e6;
        s->id = i + 1;
        s->dec = c->dec_deg * M_PI / 180 + c->pm_dec * mas * years;
        s->ra = c->ra_h * M_PI / 12 + c->pm_ra * mas * years / cos(s->dec);
        s->mag = c->mag;
        s->b_v = c->b_v;
        finish(s);
        l->n++;
    }
    for (int i = 0; i < fainter; i++)
        invent(&l->star[l->n++], i, p->seed, n0);
    return 0;
}

void dwi_stars_free(struct dwi_star_list *l)
{
    free(l->star);
    memset(l, 0, sizeof *l);
}

int dwi_star_place(const struct dwi_params *p, const struct dwi_lens_map *m,
                   const struct dwi_astro *a, const double dir[3], double *x, double *y,
                   double *alt)
{
    double e[3];
    dwi_astro_star(a, dir, e);
    if (e[2] < -0.01)
        return -1;
    if (p->refraction)
        dwi_refract(e);
    *alt = asin(e[2]);
    return dwi_lens_project(m, e, x, y);
}
