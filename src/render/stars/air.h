/* air.h: what the air has done to the colour of stars, over the picture: it takes more of blue
 * light than of red, the lower they stand. The camera stands still, so it is the same in every
 * frame. */
#ifndef DW_RENDER_AIR_H
#define DW_RENDER_AIR_H

#include "render/stars/background.h"
#include "render/planes/geometry.h"

#include <daywheel/decide.h>

/* Zero it before the first use. */
struct dw_air {
    struct dw_space_kept room;
    int cols, rows; /* of the tiles that it was made for */
    struct dw_geometry of;
    float most;
    bool known;        /* else nothing is changed */
    float *red, *blue; /* a number for each tile, for dw_background_air */
};

struct dw_air_params {
    double least_deg, full_deg; /* altitudes from which on it is undone, and wholly: below is
                                 * ground, haze of which nothing is known, and lamps */
    double sharpness;           /* of the limit: the higher, the straighter is the way to it */
};
#define DW_AIR_DEFAULTS                                                                            \
    {                                                                                              \
        1.0, 4.0, 4.0                                                                              \
    }

/* For the tiles of b. Nothing is done again while those, the geometry and `most` stay the same; the
 * facts must. most: air masses beyond one that are undone at most. Errors: DW_ERR_MEMORY. */
enum dw_status dw_air_make(struct dw_air *a, const struct dw_facts *facts,
                           const struct dw_geometry *g, const struct dw_background *b, float most,
                           struct dw_error *err);
/* By what share red and blue light of a star so high above the horizon are to be changed, beside
 * green, that it looks as it does in the zenith. Shares are camera colours'. */
void dw_air_undo(double alt_deg, double height_m, double most, float *red, float *blue);
/* By what share more of its light a star so high above the horizon would give in the zenith, in
 * green. */
float dw_air_dimmed(double alt_deg, double height_m, double most);
void dw_air_free(struct dw_air *a);

#endif
