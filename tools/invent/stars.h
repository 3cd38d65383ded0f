/*
 * stars.h - the stars, and drawing them as trails of one exposure.
 */
#ifndef DWI_STARS_H
#define DWI_STARS_H

#include "lens.h"
#include "params.h"
#include "shot.h"

struct dwi_star {
    int id;          /* 1.. catalogue stars first, then invented ones from 1001 */
    double ra, dec;  /* radians, ICRS, epoch of the shoot */
    double dir[3];   /* the same as a unit vector */
    double mag, b_v; /* Johnson V, B-V */
    float flux[3]; /* illuminance, lux, in camera red green blue (D65 grey of 1 lx = 1 in green) */
};

struct dwi_star_list {
    struct dwi_star *star;
    int n;
};

/** Makes the list. Status: 0; -1 out of memory. */
int dwi_stars_make(struct dwi_star_list *l, const struct dwi_params *p);
void dwi_stars_free(struct dwi_star_list *l);

/**
 * Place of a star at an instant in the unshifted mosaic, with aberration and refraction.
 * Status: 0; -1 below the horizon or not imaged. *alt: altitude, radians.
 */
int dwi_star_place(const struct dwi_params *p, const struct dwi_lens_map *m,
                   const struct dwi_astro *a, const double dir[3], double *x, double *y,
                   double *alt);

/** Hipparcos stars as carried by an astronomy library; see stars_table.c. */
struct dwi_catalogue_star {
    const char *name;
    double ra_h, pm_ra, dec_deg, pm_dec, mag, b_v; /* hours, mas/yr, degrees, mas/yr */
};
extern const struct dwi_catalogue_star dwi_catalogue[];
extern const int dwi_catalogue_count;

#endif
