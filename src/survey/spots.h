/* spots.h: small bright spots: stars, hot pixels, particles. They are listed (decide tells what
 * stands still from what moves) and, where strong, kept out of the tiles' means. */
#ifndef DW_SURVEY_SPOTS_H
#define DW_SURVEY_SPOTS_H

#include "survey/layout.h"

/* How far a sample must stand above its neighbours of equal colour, per tile and colour, DN. */
struct dw_spot_limits {
    uint16_t list[3]; /* to be listed */
    uint16_t core[3]; /* to be kept out of the mean, with its surroundings; >= list */
};

struct dw_spot {
    uint16_t x, y, value;
    uint32_t median2; /* twice the median of the eight neighbours: whole for any of them */
};

struct dw_spots {
    struct dw_spot *list; /* a heap, weakest first, until dw_spots_sort */
    size_t n, most;
    struct {
        uint16_t x, y;
    } *core;
    size_t cores, core_room, core_most;
};

/* Empties the lists for a frame; at most `most` spots are kept, the brightest by their excess
 * over the median, and core_most cores. Errors: DW_ERR_MEMORY. */
enum dw_status dw_spots_start(struct dw_spots *s, size_t most, size_t core_most,
                              struct dw_error *err);
void dw_spots_free(struct dw_spots *s);

/* Looks closely at sample x of row y (two steps from the edge at least are needed: one step of
 * equal colour on every side) and takes it in if it is a spot. Errors: DW_ERR_MEMORY. */
enum dw_status dw_spots_look(struct dw_spots *s, const struct dw_layout *l,
                             const struct dw_mosaic *m, int sample, int y,
                             const struct dw_spot_limits *limits, struct dw_error *err);

/* Sorts the list by y, then x. */
void dw_spots_sort(struct dw_spots *s);

#endif
