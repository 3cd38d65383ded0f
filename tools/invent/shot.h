/*
 * shot.h - what happens at each exposure: time, light, settings, errors, disturbances.
 *
 * All shots are planned one after the other before any frame is drawn, since a camera's program
 * remembers its last setting; drawing then needs the plan only, in any order.
 */
#ifndef DWI_SHOT_H
#define DWI_SHOT_H

#include "astro.h"
#include "fault.h"
#include "lens.h"
#include "params.h"

#include <stdint.h>

struct dwi_shot {
    int index;                 /* 0-based */
    char file[64];             /* path below the output folder */
    double start_utc, mid_utc; /* Unix seconds, true */
    struct dwi_astro sky;
    int shutter_k, iso_k;
    int closed_k;       /* thirds of a stop that the lens is closed by */
    double time_s;      /* nominal running time: true power of two (or the mark) */
    double n_true;      /* true f-number of the setting */
    double light_stops; /* log2 of the metered scene luminance, cd/m2 */
    /* errors in stops, positive = brighter than the setting says */
    double shutter_error, iso_error, aperture_error, jitter;
    double red_error, blue_error; /* beside green, stops */
    double black_shift;           /* DN above the black level that the file states */
    struct dwi_faults fault;
    int shift_x, shift_y;  /* of the picture against the first pose, whole mosaic pixels, */
    double part_x, part_y; /* and parts of one */
};

/** Total exposure error of a shot, stops: what steadying ought to find. */
double dwi_shot_error(const struct dwi_shot *s);

/** Stops that the lens loses in the corner at this shot's aperture: two fifths of what it loses
 * wide open stay, the rest is halved by every stop. */
double dwi_shot_vignetting(const struct dwi_params *p, const struct dwi_shot *s);

/**
 * Signal per luminance: share of the range between black and white that light of 1 cd/m2 in the
 * middle of the frame gives. Saturation-based speed (ISO 12232, from memory): share of saturation
 * = L t S / (120 N^2), so a metered K = 12.5 grey comes to 10.4 %.
 */
double dwi_shot_share(const struct dwi_shot *s);

/** Plans all shots of a shoot. `shots` holds p->frames of them. Status: 0; -1 message in err. */
int dwi_plan(const struct dwi_params *p, const struct dwi_lens_map *m, struct dwi_shot *shots,
             char *err, int err_size);

#endif
