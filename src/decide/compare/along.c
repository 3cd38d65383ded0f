/* along.c: bends of light that no region of the picture shows by itself. By night the edge of a
 * bank of cloud bends the light of each region of the sky by no more than that region's noise, and
 * the ground, which stands still, is too dark to say what the exposure did: region by region
 * (unrest.c) nothing is found. But the regions bend together. What they did over the two hours
 * about comes down to two directions (principal components; Hotelling 1933), and along these they
 * have the noise of all regions at once. */
#include "decide/compare/compare.h"
#include "decide/solve/course.h"
#include "decide/solve/third.h"

#include <lapacke.h>
#include <math.h>
#include <string.h>

#define BLOCK 32 /* bends that share their directions, */
#define WING 16  /* which are learnt from them and from so many steps on either side */
#define LONGEST (BLOCK + 2 + 2 * WING + 1) /* shots of a window */
#define PARTS 2
#define LEAST_REGIONS 6
#define MOST 3.0   /* times its noise that a region counts for: one that a lamp lights alone */
#define CHANCE 3.0 /* the same for a bend along the directions: less is chance */
#define LEAST_NOISE 3e-4 /* stops rms, of a direction's change: with less, regions tell */

/* A window of steps. */
struct along {
    size_t first, end;
    size_t known;   /* regions known all through it, */
    double *raw;    /* level of one region as it is */
    double *level;  /* their levels, shot after shot, stops, */
    double *sd;     /* and how well each is known */
    double *square; /* known*known: directions in units of sd, the last being the strongest, */
    double *value;  /* and how strong each is */
    double *own;    /* of each region, in units of sd: what it does at the moment */
};

/* Regions known all through the window, and their levels. Of five in a row the middle one counts:
 * passing cars come and go within a shot or two, and are no weather. */
static void take_levels(const struct dw_compare *c, struct along *a, const double *change,
                        const double *var)
{
    size_t regions = (size_t)c->regions, shots = a->end - a->first + 1;
    a->known = 0;
    for (size_t r = 0; r < regions; r++) {
        double *level = a->level + a->known * shots, *raw = a->raw, sum = 0;
        raw[0] = 0;
        for (size_t j = a->first; j < a->end; j++) {
            raw[j - a->first + 1] = raw[j - a->first] + change[j * regions + r];
            sum += var[j * regions + r];
        }
        if (!isfinite(raw[shots - 1]) || !(sum > 0))
            continue;
        for (size_t i = 0; i < shots; i++)
            level[i] = i >= 2 && i + 2 < shots ? dw_middle_of_five(raw + i) : raw[i];
        a->sd[a->known++] = sqrt(sum / (double)(shots - 1));
    }
}

static double limit(double x, double most)
{
    return fmax(-most, fmin(x, most));
}

/* Directions of what the regions' changes are beside what is even in time. */
static bool find_directions(const struct dw_compare *c, struct along *a)
{
    size_t n = a->known, steps = a->end - a->first;
    const double *time = c->g->time + a->first;
    memset(a->square, 0, n * n * sizeof *a->square);
    for (size_t j = 0; j < steps; j++) {
        double even = (time[j + 1] - time[j]) / fmax(time[steps] - time[0], 1e-3);
        for (size_t r = 0; r < n; r++) {
            const double *level = a->level + r * (steps + 1);
            double beside = level[j + 1] - level[j] - even * (level[steps] - level[0]);
            a->own[r] = limit(beside / a->sd[r], MOST * sqrt(2)); /* noise of two levels */
        }
        for (size_t p = 0; p < n; p++)
            for (size_t q = 0; q <= p; q++)
                a->square[q * n + p] += a->own[p] * a->own[q]; /* lower triangle, by columns */
    }
    return LAPACKE_dsyev(LAPACK_COL_MAJOR, 'V', 'L', (int)n, a->square, (int)n, a->value) == 0;
}

/* Noise of what a direction does in a step, stops: rms over the regions. */
static double direction_noise(const struct along *a)
{
    double sum = 0;
    for (size_t r = 0; r < a->known; r++)
        sum += a->sd[r] * a->sd[r];
    return sqrt(2 * sum) / (double)a->known;
}

/* How far the regions bent along the directions over shots i .. i+3, beyond chance: stops rms, each
 * region by how well it is known. */
static double bend_along(const struct dw_compare *c, const struct along *a, size_t i, double unit_s)
{
    size_t shots = a->end - a->first + 1;
    double w[4], chance = 0, all = 0, voices = 0;
    dw_third_difference(c->g->time + i, unit_s, w);
    for (int p = 0; p < 4; p++)
        chance += w[p] * w[p];
    for (size_t r = 0; r < a->known; r++) {
        const double *at = a->level + r * shots + (i - a->first);
        double bend = w[0] * at[0] + w[1] * at[1] + w[2] * at[2] + w[3] * at[3];
        a->own[r] = limit(bend / a->sd[r], MOST * sqrt(chance));
        voices += 1 / (a->sd[r] * a->sd[r]);
    }
    for (size_t p = 0; p < PARTS; p++) {
        const double *direction = a->square + (a->known - 1 - p) * a->known;
        double bend = 0;
        for (size_t r = 0; r < a->known; r++)
            bend += direction[r] * a->own[r];
        all += bend * bend;
    }
    return sqrt(fmax(0, all - CHANCE * CHANCE * chance) / voices);
}

bool dw_own_along(const struct dw_compare *c, struct dw_arena *arena, double unit_s,
                  const double *change, const double *var, double *along)
{
    size_t mark = arena->n, regions = (size_t)c->regions, bends = c->steps > 2 ? c->steps - 2 : 0;
    struct along a = {.raw = DW_TAKE(arena, LONGEST, double),
                      .level = DW_TAKE(arena, regions * LONGEST, double),
                      .sd = DW_TAKE(arena, regions, double),
                      .square = DW_TAKE(arena, regions * regions, double),
                      .value = DW_TAKE(arena, regions, double),
                      .own = DW_TAKE(arena, regions, double)};
    if (!a.raw || !a.level || !a.sd || !a.square || !a.value || !a.own)
        return false;
    for (size_t start = 0; start < bends; start += BLOCK) {
        size_t end = start + BLOCK < bends ? start + BLOCK : bends;
        a.first = start > WING ? start - WING : 0;
        a.end = end + 2 + WING < c->steps ? end + 2 + WING : c->steps;
        take_levels(c, &a, change, var);
        bool tells =
            a.known >= LEAST_REGIONS && direction_noise(&a) > LEAST_NOISE && find_directions(c, &a);
        for (size_t i = start; i < end; i++)
            along[i] = tells ? bend_along(c, &a, i, unit_s) : 0;
    }
    dw_arena_free_to(arena, mark);
    return true;
}
