/*
 * drops.c - see drops.h.
 */
#include "drops.h"

#include "optics.h"
#include "rng.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { DROPS = 14 };

struct drop {
    double x, y, r; /* mosaic pixels; r 0: not yet there */
    double light;   /* stops that it changes the light behind it by */
    double tilt;    /* and as much more at its upper edge, less at its lower one */
};

static void make(const struct dwi_params *p, double growth, double amount, struct drop d[DROPS])
{
    for (int i = 0; i < DROPS; i++) {
        uint64_t k = dwi_key(p->seed, DWI_S_DROPS, (uint64_t)i * 8);
        double born = 0.5 * dwi_uniform(k + 3), t = (growth - born) / (1 - born);
        d[i].x = p->width * (0.03 + 0.94 * dwi_uniform(k));
        d[i].y = p->height * (0.03 + 0.94 * dwi_uniform(k + 1));
        d[i].r = t > 0 ? amount * p->width * (0.03 + 0.0325 * dwi_uniform(k + 2)) * sqrt(t) : 0;
        d[i].light = -0.6 + 0.9 * dwi_uniform(k + 4);
        d[i].tilt = -0.2 - 0.4 * dwi_uniform(k + 5);
    }
}

/* How much of what lies there a drop covers: far out of focus, it fades over its whole outer half.
 */
static double mask(const struct drop *d, double x, double y)
{
    double t = d->r > 0 ? (hypot(x - d->x, y - d->y) / d->r - 0.5) / 0.5 : 1;
    return t <= 0 ? 1 : t >= 1 ? 0 : 1 - t * t * (3 - 2 * t);
}

double dwi_drops_cover(const struct dwi_params *p, double growth, double amount)
{
    struct drop d[DROPS];
    double sum = 0;
    enum { STEP = 6 };
    if (!(growth > 0))
        return 0;
    make(p, growth, amount, d);
    for (int y = 0; y < p->height; y += STEP)
        for (int x = 0; x < p->width; x += STEP) {
            double most = 0;
            for (int i = 0; i < DROPS; i++)
                most = fmax(most, mask(&d[i], x, y));
            sum += most;
        }
    return sum * STEP * STEP / ((double)p->width * p->height);
}

int dwi_drops_draw(const struct dwi_params *p, const struct dwi_shot *shot, float *light)
{
    struct drop d[DROPS];
    if (!(shot->fault.drops > 0))
        return 0;
    size_t n = (size_t)p->width * (size_t)p->height;
    float *soft = malloc(n * sizeof *soft);
    if (!soft)
        return -1;
    memcpy(soft, light, n * sizeof *soft);
    int bad = dwi_blur(soft, p->width, p->height, p->width / 150.0);
    make(p, shot->fault.drops, shot->fault.drops_amount, d);
    for (int y = 0; y < p->height && !bad; y++)
        for (int x = 0; x < p->width; x++) {
            size_t at = (size_t)y * (size_t)p->width + (size_t)x;
            for (int i = 0; i < DROPS; i++) {
                double m = mask(&d[i], x, y);
                if (m > 0)
                    light[at] +=
                        (float)m *
                        (soft[at] * (float)exp2(d[i].light + d[i].tilt * (y - d[i].y) / d[i].r) -
                         light[at]);
            }
        }
    free(soft);
    return bad;
}
