/*
 * lens.h - from a direction in the landscape to a place in the mosaic and back.
 *
 * Mosaic coordinates: x right, y down, the centre of the first pixel is (0, 0). The mosaic is
 * never turned; a camera held upright has a roll, and its file an orientation tag.
 */
#ifndef DWI_LENS_H
#define DWI_LENS_H

#include "params.h"

struct dwi_lens_map {
    double cx, cy, focal_px;           /* principal point, focal length in mosaic pixels */
    double axis[3], right[3], down[3]; /* unit vectors, east north up, of the mosaic's axes */
    double axis_az;                    /* radians */
    int kind;
    double k1, k2, theta_max; /* radians; beyond it nothing is imaged */
    double theta_step;        /* radius per entry of the table below, pixels */
    float theta_of_r[4096];
};

/** Sets up the lens and the pointing of a shoot. */
void dwi_lens_init(struct dwi_lens_map *m, const struct dwi_params *p);

/** Direction (unit, east north up) to mosaic pixels. Status: 0; -1 not imaged. */
int dwi_lens_project(const struct dwi_lens_map *m, const double dir[3], double *x, double *y);

/** Mosaic pixels to direction. */
void dwi_lens_direction(const struct dwi_lens_map *m, double x, double y, double dir[3]);

/** Solid angle of one pixel at radius r from the principal point, steradian. */
double dwi_lens_solid_angle(const struct dwi_lens_map *m, double x, double y);

#endif
