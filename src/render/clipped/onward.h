/* onward.h: colours of a map's tiles carried on to where nothing was measured. A glow goes redder
 * towards the horizon, and its heart, which is lost, is redder still: taken for as red as what was
 * measured last, it is too pale, and turns at once as the exposure lets it be measured. */
#ifndef DW_RENDER_ONWARD_H
#define DW_RENDER_ONWARD_H

#include "render/clipped/wider.h"

struct dw_onward_params {
    int reach;        /* tiles: so far off others are asked */
    float near;       /* tiles: at that distance one says a quarter of what the next one says */
    float ridge;      /* tiles squared: slopes over less than that are not believed */
    float least;      /* tiles next to it that must tell for half of the say */
    float farthest;   /* in spreads of the tiles that tell: a slope is carried on so far */
    float most_stops; /* and to so much of colour */
};
#define DW_ONWARD_DEFAULTS                                                                         \
    {                                                                                              \
        8, 2, 0.05f, 0.02f, 2, 0.5f                                                                \
    }

/* In place, after dw_wider_colours with the same map and lean: tiles with little light of their own
 * take their colour from a plane through the logarithms of those of tiles nearby, weighted by
 * distance (moving least squares; Lancaster & Salkauskas 1981, Math. Comp. 37, 141). work: rows *
 * cols sums. */
void dw_onward_colours(struct dw_sums *map, int cols, int rows, float lean, struct dw_sums *work,
                       const struct dw_onward_params *p);

#endif
