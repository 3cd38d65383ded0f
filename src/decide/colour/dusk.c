/* dusk.c: where the night's balance comes in. It is there to turn the night sky's own warm glow to
 * the cool side; a twilight sky is blue by itself, far below the altitudes at which the renderings
 * cross over. Were the balance to come with the night curve, the sky would go slate, then deep
 * blue, then grey. So it comes as the sky's own colour goes: with p the way that the colour has
 * gone from twilight's u to the night's u + D (log ratios), the night's balance m has the weight p,
 * and what is seen, u + p (D + m), goes one straight way. */
#include "decide/colour/sky_colour.h"
#include "decide/steps.h"
#include "base/robust.h"

#include <math.h>

struct dusk_params {
    double margin_deg[2]; /* beyond the crossover's limits, where nothing can be learnt */
    double deepest_deg;   /* sun altitudes looked at, below the crossover's night */
    double least_stops;   /* colours that differ by less do not tell when they change */
    double widest_deg, narrowest_deg;
};
static const struct dusk_params DUSK = {{5, 3}, 18, 0.15, 20, 8};

#define MOST_BINS 90       /* of a degree each */
#define QUARTER 0.35910719 /* where dw_crossover's x^3 (x (6 x - 15) + 10) is 1/4 */

/* log2 of red and of blue over green. */
struct colour {
    double red, blue;
};

static struct colour colour_of(const double rgb[3])
{
    double g = fmax(rgb[1], 1e-9);
    return (struct colour){log2(fmax(rgb[0] / g, 0.05)), log2(fmax(rgb[2] / g, 0.05))};
}

/* The sky's colour in each degree of sun altitude, from bin 0 at low_deg upwards; red is NAN where
 * no shot tells. One that shows a reflection is of a lamp's colour. */
static enum dw_status colours_by_altitude(struct dw_work *w, const struct dw_ledger_row *ledger,
                                          const struct dw_facts *facts, double low_deg, int bins,
                                          struct colour *bin, struct dw_error *err)
{
    size_t mark = w->arena.n, tiles = (size_t)w->tiles;
    double *work = DW_TAKE(&w->arena, tiles, double), *red = DW_TAKE(&w->arena, tiles, double),
           *blue = DW_TAKE(&w->arena, tiles, double), *reds = DW_TAKE(&w->arena, w->n, double),
           *blues = DW_TAKE(&w->arena, w->n, double);
    struct colour *shot = DW_TAKE(&w->arena, w->n, struct colour);
    int *at = DW_TAKE(&w->arena, w->n, int);
    if (!work || !red || !blue || !reds || !blues || !shot || !at)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for the sky's colours");
    for (size_t i = 0; i < w->n; i++) {
        struct dw_sky_tiles sky = {red, blue, 0, 0, 0};
        double rgb[3];
        at[i] = -1;
        if (!w->usable[i] || (ledger[i].faults & DW_REFLECTION) || !(w->alt[i] >= low_deg) ||
            !(w->alt[i] < low_deg + bins))
            continue;
        dw_sky_tiles_add(w, facts, i, work, &sky);
        if (sky.n == 0)
            continue;
        dw_sky_tiles_colour(facts, &sky, rgb);
        shot[i] = colour_of(rgb);
        at[i] = (int)(w->alt[i] - low_deg);
    }
    for (int b = 0; b < bins; b++) {
        size_t n = 0;
        for (size_t i = 0; i < w->n; i++)
            if (at[i] == b) {
                reds[n] = shot[i].red;
                blues[n++] = shot[i].blue;
            }
        bin[b] = n ? (struct colour){dw_median(reds, n), dw_median(blues, n)}
                   : (struct colour){NAN, NAN};
    }
    dw_arena_free_to(&w->arena, mark);
    return DW_OK;
}

/* The sun altitude at which the way that the colour has gone first exceeds `part`, from the day's
 * end downwards; NAN if it never does. */
static double altitude_of(double part, const struct colour *bin, int bins, double low_deg,
                          struct colour day, struct colour way)
{
    double square = way.red * way.red + way.blue * way.blue, last = 0, last_deg = low_deg + bins;
    for (int b = bins - 1; b >= 0; b--) {
        if (isnan(bin[b].red))
            continue;
        double deg = low_deg + b + 0.5,
               p = ((bin[b].red - day.red) * way.red + (bin[b].blue - day.blue) * way.blue) /
                   square;
        if (p >= part)
            return last_deg + (deg - last_deg) * (part - last) / (p - last);
        last = p;
        last_deg = deg;
    }
    return (double)NAN;
}

static void place(struct dw_facts *facts, const struct colour *bin, int bins, double low_deg)
{
    int last = bins - 1;
    while (last >= 0 && isnan(bin[last].red))
        last--;
    if (last < 0)
        return;
    double night[3];
    for (int c = 0; c < 3; c++)
        night[c] = (double)facts->night_sky[c];
    struct colour day = bin[last], far = colour_of(night),
                  way = {far.red - day.red, far.blue - day.blue};
    if (hypot(way.red, way.blue) < DUSK.least_stops)
        return;
    double first = altitude_of(0.25, bin, bins, low_deg, day, way),
           second = altitude_of(0.75, bin, bins, low_deg, day, way);
    if (!(second <= first))
        return;
    double width =
        fmax(DUSK.narrowest_deg, fmin(DUSK.widest_deg, (first - second) / (1 - 2 * QUARTER)));
    facts->balance_day_deg = fmin(facts->balance_day_deg, (first + second + width) / 2);
    facts->balance_night_deg = fmin(facts->balance_day_deg, (first + second + width) / 2) - width;
}

enum dw_status dw_dusk(struct dw_work *w, const struct dw_ledger_row *ledger,
                       struct dw_facts *facts, struct dw_error *err)
{
    struct colour bin[MOST_BINS];
    facts->balance_night_deg = facts->night_deg - DUSK.margin_deg[0];
    facts->balance_day_deg = facts->day_deg - DUSK.margin_deg[1];
    double low_deg = floor(facts->night_deg - DUSK.deepest_deg);
    int bins = (int)fmin(MOST_BINS, ceil(facts->balance_day_deg - low_deg));
    if (bins < 2)
        return DW_OK;
    enum dw_status status = colours_by_altitude(w, ledger, facts, low_deg, bins, bin, err);
    if (status >= 0)
        place(facts, bin, bins, low_deg);
    return status;
}
