/* known.h: where the stars of the shoot's map stand in one frame, row by row. Light there is a
 * star's; how much of it there is the frame alone says. */
#ifndef DW_RENDER_KNOWN_H
#define DW_RENDER_KNOWN_H

#include "render/planes/geometry.h"
#include "render/planes/grow.h"

#include <daywheel/decide.h>

/* A star in the picture, sensor orientation: its place in pixels, and how well it is known, 0..1.
 */
struct dw_known_star {
    float x, y, sure;
    bool tinted;    /* its colour is known */
    float brighter; /* by what share it is to be raised more, for what the air took of it, and less
                     * the fainter it is */
    float tint[3];  /* light of its colour, of luminance 1, in the picture's primaries; the
                     * fainter it is the paler */
};

/* Zero it before the first use; work space is kept. */
struct dw_known {
    struct dw_space_kept stars, first, row;
    int width, height;
    int marked;      /* the row that the rows of numbers tell of; -1: they tell of none */
    float near, far; /* pixels about a star that are wholly its own, and from which on none are */
    size_t n;
};

struct dw_known_params {
    float least_share,
        full_share;        /* of shots in which a star must be told: known a little, wholly */
    float near_px, far_px; /* mosaic pixels: see above; at least so many of the picture's: */
    float near_out, far_out;
};
#define DW_KNOWN_DEFAULTS                                                                          \
    {                                                                                              \
        0.08f, 0.3f, 2.0f, 5.0f, 1.0f, 2.2f                                                        \
    }

/* Places all stars as they stand at the site's sidereal time sky_deg, degrees; none where that is
 * NAN or the facts know of none. look: what is made of the map's stars.
 * Errors: DW_ERR_MEMORY. */
enum dw_status dw_known_place(struct dw_known *k, const struct dw_facts *facts,
                              const struct dw_geometry *g, double sky_deg,
                              const struct dw_look_params *look, struct dw_error *err);
#define DW_KNOWN_ROWS 6
/* How far each pixel of row y of the output belongs to a known star, 0..1; the same where its
 * colour is known; by what share it is to be raised more; and the star's tint, 1 where there is
 * none. Valid until the next row is asked for. */
void dw_known_row(struct dw_known *k, int y, const float *out[DW_KNOWN_ROWS]);
void dw_known_free(struct dw_known *k);

#endif
