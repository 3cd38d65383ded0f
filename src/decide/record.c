/* record.c: the exposure that the camera recorded, and what stands in where it did not. */
#include "decide/steps.h"

#include <math.h>

/* EV100 of the nearest shot that has one. */
static double borrowed(const struct dw_work *w, size_t i)
{
    for (size_t d = 1; d < w->n; d++) {
        if (i >= d && w->recorded[i - d])
            return w->ev[i - d];
        if (i + d < w->n && w->recorded[i + d])
            return w->ev[i + d];
    }
    return 0;
}

enum dw_status dw_record(struct dw_work *w, struct dw_error *err)
{
    w->recorded = DW_TAKE(&w->arena, w->n, bool);
    w->ev = DW_TAKE(&w->arena, w->n, double);
    if (!w->recorded || !w->ev)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for %zu shots", w->n);
    size_t known = 0;
    for (size_t i = 0; i < w->n; i++) {
        const struct dw_shot *s = &w->shots->shot[i];
        w->recorded[i] = s->has_shutter && s->has_iso && isfinite(s->ev100);
        w->ev[i] = w->recorded[i] ? s->ev100 : 0;
        known += w->recorded[i];
    }
    w->no_records = known == 0;
    if (w->no_records)
        dw_say(w->run, DW_WARNING,
               "no frame holds its shutter time and ISO: brightness is judged from the pictures "
               "alone and the light of a clear sky is assumed; luminance is relative");
    for (size_t i = 0; i < w->n; i++) {
        if (w->recorded[i])
            continue;
        /* Level ground, incident-light meter with C = 250 (ISO 2720); 0.0005 lx is the moonless
         * sky of USNO Circular 171. A camera that exposes for a steady level then has light equal
         * to this, and what it deviates is an exposure error of free size. */
        w->ev[i] = w->no_records ? log2((dw_sun_illuminance_lx(w->alt[i]) + 0.0005) / 2.5)
                                 : borrowed(w, i);
    }
    return DW_OK;
}
