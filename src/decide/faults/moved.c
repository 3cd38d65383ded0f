/* moved.c: says which shots are displaced, by how much, and what is done. */
#include "decide/faults/judges.h"

#include <math.h>
#include <stdio.h>

#define ROUGH 0.3 /* mosaic pixels: known no better, tenths are not said */
#define FINE 2    /* mosaic pixels: of less, hundredths are said */
#define MUCH 0.02 /* of the width: the gravest displacement */

/* A person's words for a displacement in mosaic pixels: what is less than half a tenth is not said.
 */
static void in_words(double x, double y, double turn_deg, int digits, char *out, size_t size)
{
    char across[40] = "", down[40] = "", turn[60] = "";
    bool two = fabs(x) >= 0.05 && fabs(y) >= 0.05;
    if (fabs(x) >= 0.05 || fabs(y) < 0.05)
        snprintf(across, sizeof across, "%.*f px %s", digits, fabs(x), x < 0 ? "left" : "right");
    if (fabs(y) >= 0.05)
        snprintf(down, sizeof down, "%s%.*f px %s", two ? " and " : "", digits, fabs(y),
                 y < 0 ? "up" : "down");
    if (turn_deg != 0)
        snprintf(turn, sizeof turn, ", turned by %.2f degrees", turn_deg);
    snprintf(out, size, "%s%s%s", across, down, turn);
}

/* As the person sees the picture: upright. */
static void upright(int turn_deg, double *x, double *y)
{
    double u = *x, v = *y;
    *x = turn_deg == 90 ? -v : turn_deg == 180 ? -u : turn_deg == 270 ? v : u;
    *y = turn_deg == 90 ? u : turn_deg == 180 ? -v : turn_deg == 270 ? -u : v;
}

enum dw_status dw_judge_moved(struct dw_work *w, struct dw_ledger_row *ledger, struct dw_error *err)
{
    (void)err;
    for (size_t i = 0; i < w->n; i++) {
        const struct dw_bump *b = &w->bump[i];
        if (b->kind == DW_STILL)
            continue;
        double x = 2 * b->by.x, y = 2 * b->by.y;
        double share = hypot(x, y) / w->survey->measure[i].width;
        char by[150];
        upright(w->shots->shot[i].turn_deg, &x, &y);
        bool rough = 2 * b->by.sigma > ROUGH;
        in_words(x, y, b->by.turn * 180 / M_PI,
                 rough                ? 0
                 : hypot(x, y) < FINE ? 2
                                      : 1,
                 by, sizeof by);
        bool left = w->back[i].too_far || w->back[b->since].too_far;
        dw_blame(&ledger[i], DW_MOVED, 0.1 + 0.9 * share / MUCH, "displaced by %s%s %s; %s",
                 rough ? "about " : "", by,
                 b->kind == DW_SHAKEN ? "in this shot" : "from this shot on",
                 left ? "too far to be put right" : "put right");
        ledger[i].put_right = !left;
    }
    return DW_OK;
}
