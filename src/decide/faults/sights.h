/* sights.h: what looks like a lamp mirrored in the pane, in one shot. Whether it is one, several
 * shots tell (ghosts.h). */
#ifndef DW_DECIDE_FAULTS_SIGHTS_H
#define DW_DECIDE_FAULTS_SIGHTS_H

#include "decide/steps.h"

/* What is known of the tiles of a shoot, and room for one shot's; entries are tiles. */
struct dw_finder {
    struct dw_work *w;
    const bool *in; /* n: shots that see the same in every tile, and no others count */
    float *beside;  /* room for some shots' tiles */
    int cols, rows;
    bool *ground;
    float *detail;    /* of ground: log2 of detail over light that even flat light shows */
    double *expected; /* what ground gives back of daylight, stops beside the others; 0 for sky */
    double *by_day;   /* how far a tile of sky stands out by day: a window in a dark wall does */
    bool has_day;
    bool *burnt;            /* of the shot looked at */
    double *level, *excess; /* the same */
    int *blob;
    uint8_t *mark;
    double *work; /* 2 * (n or tiles) */
};

/* One bright spot of one shot that looks like a ghost. */
struct dw_sight {
    size_t shot;
    int tile;
    double x, y, tiles; /* middle, and how many */
    double added;       /* light that it adds, DN */
    bool proven;        /* not burnt out over ground, whose detail is not seen then */
};

#define DW_GHOST_BURNT                                                                             \
    0.02 /* share of a tile's samples at saturation: its light is a lower bound */

/* finder.c. Makes room for all of it, from the arena. Errors: DW_ERR_MEMORY, DW_ERR_INTERRUPTED. */
enum dw_status dw_finder_make(struct dw_work *w, struct dw_finder *out, struct dw_error *err);

/* Learns from the shots of `in` what sky and ground are like. False where too few are lit to tell
 * the one from the other. */
bool dw_finder_learn(struct dw_finder *f, const bool *in);

/* What looks like ghosts in shot i; returns how many, at most `most`. */
size_t dw_look_for_ghosts(struct dw_finder *f, size_t i, struct dw_sight *out, size_t most);

/* Light of a tile, log2 DN, not below its noise; NAN without samples. */
double dw_tile_level(const struct dw_measure *m, int tile);

/* How far, stops, a tile of sky stands above what lies on both sides of it, in levels of all tiles;
 * NAN where no way tells. */
double dw_above_both_sides(const struct dw_finder *f, const double *level, int tile);

/* By how many stops a tile of shot i stands out from what is of its kind about it, more than by
 * day; NAN where nothing tells. */
double dw_stands_out(struct dw_finder *f, size_t i, int tile);

/* The tiles that belong to what stands out at `tile` of shot i, in f->blob; returns how many. */
int dw_ghost_tiles(struct dw_finder *f, size_t i, int tile);

/* By how many stops the detail of ground under the n tiles is fainter in its light than flat light
 * shows it: light that falls on the ground shows it as any other does, light from the pane does
 * not. NAN where it cannot be told. */
double dw_fading(const struct dw_finder *f, size_t i, const int *tile, int n);

#endif
