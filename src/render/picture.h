/* picture.h: from opened sources to finished pictures, both halves, row by row: the light of a row
 * is reckoned once and looked at in as many ways as are wanted. */
#ifndef DW_RENDER_PICTURE_H
#define DW_RENDER_PICTURE_H

#include "render/stars/air.h"
#include "render/facts/hold.h"
#include "render/stars/known.h"
#include "render/look/lift.h"
#include "render/sources.h"

/* One way of looking at a frame. */
struct dw_picture {
    struct dw_frame row; /* of the frame list, as this rendering sees it */
    struct dw_look_plan plan;
    struct dw_background background;
    struct dw_lift_memory memory;
    struct dw_space_kept block;      /* finished rows that wait to be turned */
    struct dw_image image;           /* .bits and .space say what is wanted */
    const struct dw_image *finished; /* the result: `image`, or that of a picture with equal row */
};

/* A worker's pictures. Zero it before the first use; work space is kept from frame to frame. */
struct dw_pictures {
    struct dw_picture picture[DW_RENDERINGS];
    struct dw_air air;
    struct dw_known known;
    struct dw_hold_map hold;
    struct dw_space_kept rows; /* floats: light, work, one source's light, levels */
};

/* Makes the first n pictures, whose rows and images' bits and space are set and differ in the rows'
 * weights at most: by full day and deep night the mix is one of the others and is not made twice.
 * Errors: DW_ERR_USAGE (a row or parameters outside their range), DW_ERR_MEMORY. */
enum dw_status dw_pictures_make(struct dw_pictures *p, int n, struct dw_sources *sources,
                                const struct dw_facts *facts, const struct dw_look_params *look,
                                struct dw_error *err);
void dw_pictures_free(struct dw_pictures *p);

#endif
