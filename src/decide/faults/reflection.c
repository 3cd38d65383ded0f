/* reflection.c: a light inside, mirrored in the pane that the camera looks through. */
#include "decide/faults/ghosts.h"
#include "decide/faults/judges.h"

#include <math.h>
#include <stdio.h>

static const struct dw_reflection_params {
    double share; /* of what lies behind it, from here on it is said */
    size_t lost;  /* so many shots in a row without it end it */
} params = {0.5, 3};

/* Where a tile lies in the upright picture. */
static const char *place_of(const struct dw_work *w, int tile, int turn_deg)
{
    static const char *const names[9] = {"upper left", "top",    "upper right",
                                         "left",       "middle", "right",
                                         "lower left", "bottom", "lower right"};
    double x = (tile % w->survey->cols + 0.5) / w->survey->cols - 0.5,
           y = (tile / w->survey->cols + 0.5) / w->survey->rows - 0.5;
    double u = turn_deg == 90 ? -y : turn_deg == 180 ? -x : turn_deg == 270 ? y : x;
    double v = turn_deg == 90 ? x : turn_deg == 180 ? -y : turn_deg == 270 ? -x : y;
    return names[(v < -1.0 / 6  ? 0
                  : v > 1.0 / 6 ? 6
                                : 3) +
                 (u < -1.0 / 6  ? 0
                  : u > 1.0 / 6 ? 2
                                : 1)];
}

static void blame(struct dw_work *w, struct dw_ledger_row *row, size_t i, const struct dw_ghost *g)
{
    const struct dw_measure *m = &w->survey->measure[i];
    double share = (double)g->share[i];
    bool burnt = m->tile[g->tile].clipped > 0.02f;
    char by[40];
    if (share < 1)
        snprintf(by, sizeof by, "%.0f %% of", 100 * share);
    else
        snprintf(by, sizeof by, "%.*f times", share < 10 ? 1 : 0, share);
    dw_blame(
        row, DW_REFLECTION, 0.2 + 0.1 * log2(1 + share),
        "a blurred light stands over %.1f %% of the picture (%s) and adds %s%s the light behind "
        "it: a lamp mirrored in the pane",
        100 * g->tiles / w->tiles, place_of(w, g->tile, w->shots->shot[i].turn_deg),
        burnt ? "at least " : "", by);
}

/* A ghost begins and ends where it no longer stands out: it creeps out of the dusk, or a lamp is
 * switched. */
static void judge(struct dw_work *w, struct dw_ledger_row *ledger, const struct dw_ghost *g)
{
    for (size_t i = g->first; i <= g->last; i++)
        if ((double)g->share[i] > params.share)
            blame(w, &ledger[i], i, g);
    for (int side = 0; side < 2; side++) {
        size_t lost = 0;
        for (size_t i = side ? g->last + 1 : g->first;
             lost < params.lost && (side ? i < w->n : i-- > 0); i += (size_t)side) {
            if ((double)g->share[i] > params.share) {
                blame(w, &ledger[i], i, g);
                lost = 0;
            } else if (isfinite(g->share[i]))
                lost++;
            else if (!(w->alt[i] < 0))
                break;
        }
    }
}

enum dw_status dw_judge_reflection(struct dw_work *w, struct dw_ledger_row *ledger,
                                   struct dw_error *err)
{
    struct dw_ghost *ghost;
    size_t n;
    if (w->params->few)
        return DW_OK;
    enum dw_status status = dw_find_ghosts(w, ledger, &ghost, &n, err);
    for (size_t k = 0; k < n && status >= 0; k++)
        judge(w, ledger, &ghost[k]);
    return status;
}
