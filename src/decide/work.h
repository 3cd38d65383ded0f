/* work.h: what the steps of one decision share. Each array has one entry a shot, in the shot
 * table's order, and is written by the one step that is named beside it. */
#ifndef DW_DECIDE_WORK_H
#define DW_DECIDE_WORK_H

#include "decide/arena.h"
#include "decide/poses/vote.h"
#include "decide/solve/bspline.h"

#include <daywheel/decide.h>

/* How a shot is displaced against the one before. */
enum dw_bump_kind { DW_STILL, DW_BUMPED /* and stays so */, DW_SHAKEN /* and comes back */ };
struct dw_bump {
    enum dw_bump_kind kind;
    struct dw_shift by; /* cells of 2x2 pixels */
    size_t since;       /* the last shot before it that shows what the camera saw */
};

/* How far a shot is moved back to where pose 0 has it, mosaic pixels. */
struct dw_back {
    double x, y, roll_deg;
    bool too_far; /* and therefore not at all */
};

/* Stars of each shot; NAN by day, and where nothing is known. */
struct dw_stars {
    double *count;    /* bright spots that move with the sky */
    double *depth;    /* the same, times the noise of the sky and the width of stars: what a
                       * clear sky would keep */
    double *variance; /* of the bright ones' shape, as of a Gaussian, mosaic px^2 */
    double usual_variance;
    bool *blurred; /* they are wider, or were before and after too few are left to tell */
};

struct dw_work {
    const struct dw_shots *shots;
    const struct dw_survey *survey;
    const struct dw_decide_params *params;
    const struct dw_run *run;
    struct dw_arena arena;
    size_t n;
    int tiles; /* rows*cols of the light grid */

    /* when/when.c */
    struct dw_site site;
    double *utc, *alt; /* mid-exposure, Unix seconds; sun altitude, degrees */
    double interval;   /* median time between neighbouring shots, s */

    /* record.c */
    bool *recorded;  /* shutter and ISO are known */
    double *ev;      /* EV100 by the record; borrowed or invented where there is none */
    bool no_records; /* of none of the shots: ev follows the sun by a standard law */

    /* poses/poses.c: where the camera stood. A pose is a stretch in which it stood still, or
     * several such stretches in the same place: shots of one pose see the same things in a tile;
     * pose 0 is where it stood for most of the shoot. */
    int *pose;
    struct dw_shift *shift; /* against pose 0; all zero while nothing moved */
    struct dw_bump *bump;   /* .kind is DW_STILL but for shots that are displaced */

    /* poses/margin.c */
    struct dw_back *back;

    /* faults/, and the person's word */
    bool *usable; /* may teach the others: decoded, not spoiled */

    float *contrast;       /* faults/ground.c: detail of each tile, n*tiles; NULL before it */
    struct dw_stars stars; /* faults/stars.c */
    bool *detail_seen;     /* faults/soft.c: the ground shows enough detail to tell sharpness by */

    /* tiles.c: light of each tile, log2(share of range) + ev, shot-major, n*tiles; NAN where the
     * tile does not count */
    float *light;
    float *noise; /* its variance from photon and read noise, stops^2 */
    float *lever; /* change of light per count of black level, stops/DN */

    /* brightness/lamps.c: a tile that lamps light, one entry a tile; NULL before it */
    bool *lamp;

    /* brightness/key.c: key light of the shot by its record; and that of all that it shows, by
     * which its exposure is judged */
    double *key, *whole;

    /* settings/tints.c: what the colours are changed by, stops on red, green, blue; all 0: nothing
     */
    double (*tint)[3];

    /* settings/shading.c: stops by which light is lifted: [0] r^2 + [1] r^4, r = 1 in the corner */
    double (*shade)[2];

    /* steady/steady.c */
    double *error,
        *error_var;        /* exposure error, stops; variance of what it is beside its neighbours */
    double *jump;          /* part of it by which the record is plainly wrong */
    double *black;         /* by which its black lies above its class's, DN */
    double *before, *left; /* second differences: of the light by the record; of what is left
                            * on still tiles; NAN where unknown */

    /* brightness/calm.c */
    double *calm; /* real fast light that is taken out, stops */

    /* colour/green.c: coefficients of at, slope and bend, one spline after the other */
    bool green_known;
    struct dw_spline green;
    double *green_coef;

    /* brightness/line.c */
    double *line; /* K~: smooth key light */
    struct dw_spline law, drift;
    double *law_coef, *drift_coef;
    double reference; /* light from which the line counts */

    /* brightness/give_way.c: by which the line gives way to light that stays away from that, stops
     */
    struct dw_spline way;
    double *way_coef;
};

#endif
