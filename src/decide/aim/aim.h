/* aim.h: where the camera looked. The bright spots of the night's shots turn about the celestial
 * pole by an angle that the clock tells; from how they move follow the pole's place and the lens,
 * and from the brightest stars' known places how far the sky has turned. The parts of that. */
#ifndef DW_DECIDE_AIM_AIM_H
#define DW_DECIDE_AIM_AIM_H

#include "decide/work.h"

/* Some of the night's shots, in groups: the first, two close behind it, in which a spot is found
 * again by going straight on, and one some degrees of turning later. */
enum { DW_AIM_GROUPS = 12, DW_AIM_GROUP = 4, DW_AIM_SHOTS = DW_AIM_GROUPS * DW_AIM_GROUP };
enum { DW_AIM_SPOTS = 160 }; /* of a shot, the strongest that do not stand still */

struct dw_aim_spot {
    double x, y, excess; /* mosaic pixels; DN */
    float light[3];      /* see struct dw_spike */
};

struct dw_aim_shot {
    double utc_s, turned; /* radians that the sky has turned since the first */
    double dn;            /* light of one DN beside that in other shots */
    size_t n;
    struct dw_aim_spot *spot; /* strongest first */
};

struct dw_aim_shots {
    int n_groups; /* 0: no night */
    int width, height;
    struct dw_aim_shot *shot; /* DW_AIM_GROUP for each group */
};

/* gather.c: the shots by night of the camera where it stood for most of the shoot; *n 0 if they are
 * too few. night: room for all. */
void dw_aim_night(const struct dw_work *w, size_t *night, size_t *n);
/* Reads the strongest spots of n shots, at most so many of each, that do not stand still among
 * these shots and are no hot pixels. Lives as long as the decision. Errors: DW_ERR_MEMORY, those of
 * dw_survey_spikes. */
enum dw_status dw_aim_read(struct dw_work *w, const struct dw_facts *facts, const size_t *shot,
                           size_t n, size_t most, struct dw_aim_shot *out, struct dw_error *err);
/* Picks the groups and reads them. */
enum dw_status dw_aim_gather(struct dw_work *w, const struct dw_facts *facts, const size_t *night,
                             size_t n, struct dw_aim_shots *out, struct dw_error *err);
/* flow.c: a first pole and lens (of whichever direction the sky may turn from) from how spots move
 * within groups; *agree: whether enough do. Fills focal_px, bend, cx, cy, pole. Errors:
 * DW_ERR_MEMORY, DW_ERR_INTERRUPTED. */
enum dw_status dw_aim_flow(const struct dw_aim_shots *shots, const struct dw_run *run,
                           struct dw_aim *v, bool *agree, struct dw_error *err);
/* fit.c: refines them over the whole night; false where the turned spots do not meet spots.
 * *sigma: what single spots are off by, pixels. */
bool dw_aim_fit(const struct dw_aim_shots *shots, struct dw_aim *v, double *sigma);
/* point.c: where the meridian is, by the brightest stars; false where they are not found. */
bool dw_aim_point(const struct dw_aim_shots *shots, const struct dw_site *site, struct dw_aim *v);

/* map.c: the stars of the shoot and where sky is, with the aim known: facts->star, facts->open.
 * Errors: DW_ERR_MEMORY, those of dw_survey_spikes. */
enum dw_status dw_aim_map(struct dw_work *w, struct dw_facts *facts, const size_t *night, size_t n,
                          struct dw_error *err);

/* The same from spots at hand; fills facts->star (malloc'd), n_stars, open. */
enum dw_status dw_aim_lay(const struct dw_aim_shot *shot, size_t n, struct dw_facts *facts,
                          struct dw_error *err);

/* out = ray turned about an axis by an angle, right-handed, radians. */
void dw_aim_turn(const double axis[3], double angle, const double ray[3], double out[3]);
/* The same by an angle whose cosine c and sine s are known. */
void dw_aim_turn_by(const double axis[3], double c, double s, const double ray[3], double out[3]);

#endif
