/* exposures.c: see exposures.h. */
#include "output/telling/exposures.h"

#include "base/robust.h"

#include <math.h>
#include <stdlib.h>

#define SAME 0.02     /* settings this close, as a share, are one */
#define CLIPPED 0.02f /* share of a picture */

struct ends {
    double shutter[2], iso[2]; /* least, most */
};

static bool settings_of(const struct dw_shot *s, double *shutter, double *iso)
{
    *shutter = s->shutter_s;
    *iso = s->iso;
    return s->has_shutter && s->has_iso && *shutter > 0 && *iso > 0;
}

static struct ends find_ends(const struct dw_shots *shots)
{
    struct ends e = {{HUGE_VAL, 0}, {HUGE_VAL, 0}};
    for (size_t i = 0; i < shots->n; i++) {
        double shutter, iso;
        if (!settings_of(&shots->shot[i], &shutter, &iso))
            continue;
        e.shutter[0] = fmin(e.shutter[0], shutter);
        e.shutter[1] = fmax(e.shutter[1], shutter);
        e.iso[0] = fmin(e.iso[0], iso);
        e.iso[1] = fmax(e.iso[1], iso);
    }
    return e;
}

/* How far a shot's light lies above its exposure: level in the file, up to a constant. */
static double level(const struct dw_shots *shots, const struct dw_decision *d, size_t i)
{
    return d->ledger[i].faults & (DW_UNREADABLE | DW_BRIGHT | DW_DARK)
               ? (double)NAN
               : d->ledger[i].luminance_stops - shots->shot[i].ev100;
}

/* How much rendering lifts a shot, up to a constant. */
static double lift(const struct dw_shots *shots, const struct dw_decision *d, size_t i)
{
    (void)shots;
    return d->ledger[i].use ? d->ledger[i].gain_stops : (double)NAN;
}

typedef double of_shot(const struct dw_shots *, const struct dw_decision *, size_t);

/* Values of one group of shots; gives their number. */
static size_t collect(const struct dw_shots *shots, const struct dw_decision *d, of_shot *value,
                      const bool *in, bool which, double *out)
{
    size_t n = 0;
    for (size_t i = 0; i < shots->n; i++)
        if (in[i] == which && isfinite(value(shots, d, i)))
            out[n++] = value(shots, d, i);
    return n;
}

struct dw_exposure_ends dw_exposure_ends(const struct dw_shots *shots,
                                         const struct dw_survey *survey,
                                         const struct dw_decision *d)
{
    struct dw_exposure_ends out = {0};
    struct ends e = find_ends(shots);
    bool *dark = calloc(shots->n + 1, sizeof *dark);
    double *v = calloc(shots->n + 1, sizeof *v);
    bool varies = e.shutter[1] > (1 + SAME) * e.shutter[0] || e.iso[1] > (1 + SAME) * e.iso[0];
    for (size_t i = 0; i < shots->n && dark; i++) {
        double shutter, iso;
        bool known = settings_of(&shots->shot[i], &shutter, &iso);
        dark[i] =
            varies && known && shutter > (1 - SAME) * e.shutter[1] && iso > (1 - SAME) * e.iso[1];
        out.at_dark_end += dark[i];
        out.clipped += i < survey->n && survey->measure[i].usable &&
                       survey->measure[i].clipped > CLIPPED && !(d->ledger[i].faults & DW_BRIGHT);
    }
    if (dark && v) {
        size_t n = collect(shots, d, level, dark, false, v);
        double usual = dw_median(v, n);
        n = collect(shots, d, level, dark, true, v);
        if (n > 0 && isfinite(usual))
            out.fell_stops = fmax(usual - dw_quantile(v, n, 0.05), 0);
        n = collect(shots, d, lift, dark, false, v);
        usual = dw_median(v, n);
        n = collect(shots, d, lift, dark, true, v);
        if (n > 0 && isfinite(usual))
            out.lifted_stops = fmax(dw_quantile(v, n, 0.95) - usual, 0);
    }
    free(dark);
    free(v);
    return out;
}
