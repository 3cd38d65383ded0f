/*
 * scenes.c - the scenario presets, as data: each is a line of options (options.c).
 *
 * Dates are chosen near the new moon where the scene has none, so that sky and calendar agree.
 */
#include "params.h"

#include <stddef.h>

const struct dwi_scene dwi_scenes[] = {
    {"clear", "26 h, clear, no moon, electronic lens, north", "frames=781"},
    {"manual-lens", "the same with a lens without contacts",
     "contacts=off; aperture-jitter=0; f-number=2.8; start=2025-03-28T12:10:00Z"},
    {"south", "clear, southern site facing the southern pole",
     "site=-31.3,149.1; start=2025-05-26T04:00:00Z; utc-offset=10; lens=equidistant; k1=0.01; "
     "k2=0; focal=15"},
    {NULL, NULL, NULL},
};
