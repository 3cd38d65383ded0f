/* spots.h: small bright spots: stars, hot pixels, particles; and small dark ones: dead pixels. They
 * are listed (decide tells what stands still from what moves) and, where bright and strong, kept
 * out of the tiles' means. */
#ifndef DW_SURVEY_SPOTS_H
#define DW_SURVEY_SPOTS_H

#include "survey/layout.h"
#include "survey/noise.h"

#include <stddef.h>

/* What makes a spot, in terms of the frame's noise and the light around it. */
struct dw_spot_rule {
    struct dw_noise noise;
    double black[3];
    double list_sigma, list_share; /* listed when it stands both above its surroundings: so many
                                      sigma, and this share of the light there */
    double dark_share;             /* a dark one stands as many sigma below, and has less than this
                                      share of the light around it */
    double core_sigma, core_share; /* begins to be kept out of the mean there, and is wholly at
                                      twice that */
    double smooth_sigma, wing_share; /* where the surroundings are no rougher than so many sigma
                                        and this share of the spot's own height */
    double rival_share;              /* and where no neighbour reaches this share of it */
};

/* How far a sample must stand above its neighbours to be looked at closely, per colour, DN. */
struct dw_spot_limits {
    uint16_t dn[3];
};

struct dw_spot {
    uint16_t x, y, value;
    uint32_t median2; /* twice the median of the eight neighbours: whole for any of them */
    int32_t light[3]; /* see struct dw_spike */
};

/* A place to keep out of the mean, with all within two pixels. */
struct dw_core {
    uint16_t x, y;
    uint16_t weight; /* of 256: how far it is kept out */
};

/* A heap, weakest first. */
struct dw_spot_heap {
    struct dw_spot *v;
    size_t n, most;
};

struct dw_spots {
    struct dw_spot_heap bright, dark;
    struct dw_spot *list; /* both, once sorted; owns the heaps' memory */
    size_t n, room;
    struct dw_core *core;
    size_t cores, core_room, core_most;
};

/* Empties the lists for a frame; at most `most` spots are kept, those farthest from the median of
 * their surroundings, a quarter as many dark ones, and core_most cores. Errors: DW_ERR_MEMORY. */
enum dw_status dw_spots_start(struct dw_spots *s, size_t most, size_t core_most,
                              struct dw_error *err);
void dw_spots_free(struct dw_spots *s);

/* Where the neighbours of equal colour lie, in samples from the middle one. */
struct dw_spot_sides {
    ptrdiff_t up, down, left, right;
};

/* At the rim, where one is missing, the one opposite stands for it. The picture must be two steps
 * wide and high. */
static inline struct dw_spot_sides dw_spot_sides(const struct dw_layout *l, int sample, int y)
{
    const ptrdiff_t dx = l->step_x, dy = (ptrdiff_t)l->step_y * l->stride;
    return (struct dw_spot_sides){y < l->step_y ? dy : -dy, y + l->step_y < l->height ? dy : -dy,
                                  sample < l->step_x ? dx : -dx,
                                  sample + l->step_x < l->samples ? dx : -dx};
}

/* Looks closely at one sample of row y and takes it in if it is a spot. Errors: DW_ERR_MEMORY. */
enum dw_status dw_spots_look(struct dw_spots *s, const struct dw_layout *l,
                             const struct dw_mosaic *m, const struct dw_spot_rule *rule, int sample,
                             int y, struct dw_error *err);

/* Measures the light of each bright spot in the three colours; before dw_spots_sort. */
void dw_spots_colour(struct dw_spots *s, const struct dw_layout *l, const struct dw_mosaic *m);

/* Joins both kinds in one list by y, then x; sorts the cores by falling weight, then so. */
void dw_spots_sort(struct dw_spots *s);

#endif
