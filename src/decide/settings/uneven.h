/* uneven.h: what one quantity of the picture (a colour beside green, the shading of the corners)
 * owes to the camera's settings. */
#ifndef DW_DECIDE_UNEVEN_H
#define DW_DECIDE_UNEVEN_H

#include "decide/settings/bends.h"
#include "decide/settings/setting.h"

/* The quantity of shot i is light, which is smooth in time, + the offsets of its settings + a small
 * error of its own. Known are third divided differences of it over shots i..i+3. */
struct dw_uneven {
    const struct dw_set_shots *shots;
    double unit_s;              /* differences are taken in this unit of time */
    const struct dw_bend *bend; /* shots->n - 3 */
    int term;                   /* of the bends */
};

struct dw_uneven_params {
    double light_stops;   /* rms bend of the light, per 120 s */
    double tail;          /* degrees of freedom of the bends (Student): a lamp, fog that clears */
    double own_tail;      /* and of shots' own errors: a passing car lights all tiles alike */
    double least_own;     /* stops, rms: no camera's are less */
    double offset_stops;  /* rms of offsets that is looked for, before it is learnt */
    double least_stops;   /* kinds of settings whose offsets are less than this are let be */
    double least_doubt;   /* nothing is corrected that chance explains: a score that chance gives a
                           * mean of 0 and a standard deviation of 1 must exceed this */
    double worth_looking; /* the same, below which settings are not looked at closely */
    int rounds;           /* of each of three stages */
    bool odd_shots; /* lone shots may be off by any amount: a car turns all tiles red. Not where
                     * steps follow each other and few shots share one, as apertures do */
};
#define DW_UNEVEN_DEFAULTS                                                                         \
    {                                                                                              \
        2e-4, 4, 3, 1e-4, 0.01, 5e-4, 10, 4, 5, true                                               \
    }

struct dw_offset {
    double stops, sigma; /* and its standard deviation */
};

/* offset: one for each known setting; all 0 where none are to be believed. Offsets of settings that
 * follow the light's own course are known beside each other, not in what they share: its doubt is
 * in sigma. Errors: DW_ERR_MEMORY, DW_ERR_NUMERIC. */
enum dw_status dw_uneven_fit(const struct dw_uneven *u, const struct dw_uneven_params *params,
                             struct dw_arena *arena, struct dw_offset *offset,
                             struct dw_error *err);

#endif
