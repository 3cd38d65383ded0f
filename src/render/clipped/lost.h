/* lost.h: how a picture shows light that the sensor could not hold and that ends at an edge, as a
 * lamp, a lit pane or a lit room by night does: how bright, and in what colour. */
#ifndef DW_RENDER_LOST_H
#define DW_RENDER_LOST_H

#include "render/kernels/kernels.h"

/* How the picture that is to be made shows what is lost. */
struct dw_shown {
    float keys;     /* light that ends at edges and is lost wholly is taken for that many at least,
                     * so that it stays as bright whatever the exposure */
    float white[3]; /* is shown as white, of luminance 1: wide gamut */
};
/* Where nothing is known of the picture: daylight's balance. */
#define DW_SHOWN_DEFAULTS                                                                          \
    {                                                                                              \
        9.5f,                                                                                      \
        {                                                                                          \
            1, 1, 1                                                                                \
        }                                                                                          \
    }

/* Fills white, pale and far, after mul and lamps. cam_to_wide: balanced camera to wide gamut; gain:
 * keys at saturation of balanced level 1. */
void dw_lost_show(struct dw_develop *d, const float cam_to_wide[9], float gain,
                  const struct dw_shown *shown);

#endif
