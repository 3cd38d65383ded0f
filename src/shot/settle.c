/* settle.c: what one frame's record leaves open and the whole shoot's tells. */
#include "shot/scan.h"

#include <math.h>

#define FREE_RUNNING_SHARE 0.2 /* of frames off the series: the shutter runs freely */
#define FIX_TOLERANCE_S 90.0   /* camera clock and position fix, beside whole quarters of an hour */
#define AGREEING_SHARE 0.8

void dw_settle_timing(struct dw_find *find, size_t n, bool exact, const struct dw_run *run)
{
    size_t steps = 0, marks = 0, off = 0, timed = 0;
    for (size_t i = 0; i < n; i++) {
        if (find[i].state != DW_FIND_FRAME || !find[i].shot.has_shutter)
            continue;
        int hint = dw_exposure_hint(&find[i].exposure);
        steps += hint > 0;
        marks += hint < 0;
        timed++;
        /* bulb times of more than 30 s say nothing about the shutter's own series */
        off += find[i].shot.shutter_marked_s < 33 &&
               !dw_exposure_on_series(find[i].shot.shutter_marked_s);
    }
    bool freely = (double)off > FREE_RUNNING_SHARE * (double)timed;
    if (!exact && freely)
        dw_say(run, DW_INFO,
               "shutter times are taken as recorded: %zu of %zu lie off the third-stop series", off,
               timed);
    else if (!exact && marks > steps)
        dw_say(run, DW_INFO,
               "shutter times are taken as recorded: the camera's APEX values say that it times "
               "its marks exactly");
    exact = exact || freely || marks > steps;
    for (size_t i = 0; i < n; i++)
        dw_exposure_fill(&find[i].shot, &find[i].exposure,
                         exact ? DW_TIMING_EXACT : DW_TIMING_STEPS);
}

/* Local minus UTC in whole quarters of an hour, from the fix; false if the two do not fit. */
static bool offset_of_fix(const struct dw_find *f, int *offset_s)
{
    if (f->state != DW_FIND_FRAME || !f->shot.has_clock || !f->has_gps_clock)
        return false;
    double d = f->shot.clock_s - f->gps_clock_s, quarters = round(d / 900);
    *offset_s = (int)quarters * 900;
    return fabs(d - quarters * 900) <= FIX_TOLERANCE_S && quarters >= -48 && quarters <= 56;
}

void dw_settle_offset(struct dw_find *find, size_t n, const struct dw_run *run)
{
    enum { LEAST = -48, QUARTERS = 105 };
    size_t votes[QUARTERS] = {0}, fixes = 0, best = 0;
    for (size_t i = 0; i < n; i++) {
        int offset;
        if (find[i].state == DW_FIND_FRAME && find[i].shot.has_offset)
            return;
        fixes += find[i].state == DW_FIND_FRAME && find[i].has_gps_clock;
        if (offset_of_fix(&find[i], &offset))
            votes[offset / 900 - LEAST]++;
    }
    for (size_t q = 1; q < QUARTERS; q++)
        if (votes[q] > votes[best])
            best = q;
    if (votes[best] == 0 || (double)votes[best] < AGREEING_SHARE * (double)fixes)
        return;
    int offset = ((int)best + LEAST) * 900;
    for (size_t i = 0; i < n; i++)
        if (find[i].state == DW_FIND_FRAME && find[i].shot.has_clock) {
            find[i].shot.has_offset = true;
            find[i].shot.offset_s = offset;
        }
    dw_say(run, DW_INFO, "the camera's clock runs at UTC%+.2f h by %zu of %zu position fixes",
           offset / 3600.0, votes[best], fixes);
}
