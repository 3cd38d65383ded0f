/* same_light.h: which shots are alike enough in light to be each other's measure. The nearest
 * shots will not do: a fog of hours fills them. So a shot is compared with all shots of the same
 * place and the same sun altitude, of any day, and with the clear side of those (a quantile). */
#ifndef DW_DECIDE_FAULTS_SAME_LIGHT_H
#define DW_DECIDE_FAULTS_SAME_LIGHT_H

#include "decide/steps.h"

struct dw_same_light_params {
    double step_deg;                 /* classes are this far apart in sun altitude */
    double reach_deg;                /* shots up to this far from the class's altitude are alike */
    double deep_deg, deep_reach_deg; /* below deep all is one class; it takes shots up to here */
    /* With the sun up shadows point the other way in the afternoon: sides are apart, and each is
     * wider instead. */
    double sides_deg, side_reach_deg;
    double place; /* tiles: displaced by less, two shots still see the same in a tile */
};
/* clang-format off */
#define DW_SAME_LIGHT_DEFAULTS {0.75, 1.5, -18, -16.5, 3, 4, 0.4}
/* clang-format on */

/* One class: `mine` are its own shots, `like` those that they may be compared with (mine among
 * them). Both sorted. */
struct dw_light_class {
    const size_t *mine, *like;
    size_t n_mine, n_like;
};

/* work: the worker's own room. Classes are judged concurrently: a judge writes what belongs to its
 * class's own shots alone. */
typedef void dw_light_judge(void *ctx, const struct dw_light_class *c, void *work);

/* Calls judge once a class. Only usable shots without a fault of `without` take part. sides: keep
 * morning and afternoon apart while the sun is up. work: bytes of a worker's room. */
enum dw_status dw_same_light(struct dw_work *w, const struct dw_ledger_row *ledger,
                             uint32_t without, bool sides, dw_light_judge *judge, void *ctx,
                             size_t work, struct dw_error *err);

/* The same by place alone, whatever the light: a class is all shots of one pose, `like` all that
 * see the same in a tile. One class after the other. */
enum dw_status dw_same_place(struct dw_work *w, const struct dw_ledger_row *ledger,
                             uint32_t without, dw_light_judge *judge, void *ctx, size_t work,
                             struct dw_error *err);

/* For each tile the q-quantile over the class's alike shots of value[shot*tiles + tile], NAN where
 * fewer than 3 or than `share` of them have a value. work: DW_LIGHT_COLUMNS * n_like doubles. */
void dw_same_light_quantile(const struct dw_light_class *c, const float *value, int tiles, double q,
                            double share, double *out, double *work);
enum { DW_LIGHT_COLUMNS = 16 }; /* tiles that share a cache line, gathered together */

#endif
