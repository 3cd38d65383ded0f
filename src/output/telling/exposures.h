/* exposures.h: how the camera's own range of settings met the light. */
#ifndef DW_OUTPUT_EXPOSURES_H
#define DW_OUTPUT_EXPOSURES_H

#include <daywheel/output.h>

struct dw_exposure_ends {
    size_t at_dark_end; /* shots at the longest shutter time and the highest ISO at once */
    double fell_stops;  /* how far the faintest of them (its 5th percentile) lies below the usual */
    double lifted_stops; /* how much more rendering lifts them than the others (95th percentile) */
    size_t clipped;      /* shots with more than 2 % of the picture clipped, bright ones left out */
};

/* The ends are those of what was used: which further ones the camera has is not recorded. Nothing
 * stands at an end where a setting never changed. */
struct dw_exposure_ends dw_exposure_ends(const struct dw_shots *shots,
                                         const struct dw_survey *survey,
                                         const struct dw_decision *d);

#endif
