/* frames.c: the frame list. Output frames are one interval apart; each ordinarily shows one shot.
 * Where a shot is missing or was rejected its place is bridged: by day its two neighbours are
 * mixed in linear light, at night, where a mix would double every star, the nearer one is shown
 * again. Holes longer than MAX_BRIDGE are left out: nobody has seen what would be invented. */
#include "decide/steps.h"

#include <math.h>
#include <stdlib.h>

#define MAX_BRIDGE 5
#define MIX_ABOVE_DEG (-6.0) /* from civil twilight on stars are seen (USNO definition) */

static void set_weights(const struct dw_work *w, const struct dw_facts *facts, struct dw_frame *f)
{
    double n = w->params->night_deg, d = w->params->day_deg, h = f->sun_alt_deg;
    f->day = dw_crossover(h, n, d);
    /* balance goes with the sky's own colour (dusk.c), star lift before tone (no brightening of the
     * twilight sky): docs/method/faults.md */
    f->balance = dw_crossover(h, facts->balance_night_deg, facts->balance_day_deg);
    f->stars = 1 - dw_crossover(h, n - 5, n);
    f->key = dw_key_at(w, dw_line_at(w, f->utc_s, h), h);
}

/* Where the view is put back to that of the aim, or never left it, stars stand where they should.
 */
static double sky_of(const struct dw_work *w, const struct dw_facts *facts, size_t shot)
{
    double deg;
    bool there = facts->aim.focal_px > 0 && !w->back[shot].too_far;
    return there && dw_sidereal(&facts->site, w->utc[shot], &deg) >= 0 ? deg : (double)NAN;
}

static struct dw_source source_of(const struct dw_work *w, const struct dw_facts *facts,
                                  size_t shot, double weight)
{
    struct dw_source s = {
        .shot = (uint32_t)shot,
        .weight = (float)weight,
        .gain_stops = dw_gain(w, shot),
        .chroma = {(float)exp2(w->tint[shot][0]), 1, (float)exp2(w->tint[shot][2])},
        .black_dn = w->black[shot],
        .shade = {w->shade[shot][0], w->shade[shot][1]},
        .shift_x = w->back[shot].x,
        .shift_y = w->back[shot].y,
        .roll_deg = w->back[shot].roll_deg,
        .sky_deg = sky_of(w, facts, shot),
        .lamps = dw_lamps_burn_out(&w->shots->shot[shot], w->alt[shot])};
    dw_green_at(w, w->alt[shot], s.green);
    return s;
}

static void show(const struct dw_work *w, struct dw_decision *out, size_t shot)
{
    struct dw_frame *f = &out->frame[out->n_frames++];
    f->number = (uint32_t)out->n_frames;
    f->utc_s = w->utc[shot];
    f->sun_alt_deg = w->alt[shot];
    f->n_sources = 1;
    f->source[0] = source_of(w, &out->facts, shot, 1);
    set_weights(w, &out->facts, f);
    out->ledger[shot].frame = f->number;
    out->ledger[shot].done = DW_DONE_SHOWN;
}

/* The frame a share `part` of the way from shot a to shot b. */
static enum dw_status bridge(const struct dw_work *w, struct dw_decision *out, size_t a, size_t b,
                             double part, struct dw_error *err)
{
    struct dw_frame *f = &out->frame[out->n_frames];
    f->utc_s = w->utc[a] + part * (w->utc[b] - w->utc[a]);
    enum dw_status status = dw_altitude(&out->facts.site, f->utc_s, &f->sun_alt_deg, err);
    if (status < 0)
        return status;
    f->number = (uint32_t)++out->n_frames;
    if (f->sun_alt_deg > MIX_ABOVE_DEG) {
        f->n_sources = 2;
        f->source[0] = source_of(w, &out->facts, a, 1 - part);
        f->source[1] = source_of(w, &out->facts, b, part);
    } else {
        f->n_sources = 1;
        f->source[0] = source_of(w, &out->facts, part < 0.5 ? a : b, 1);
    }
    set_weights(w, &out->facts, f);
    return DW_OK;
}

/* Writes down what became of the shots between two that are shown `steps` frames apart. */
static void note(const struct dw_work *w, struct dw_ledger_row *ledger, size_t a, size_t b,
                 double steps, bool bridged)
{
    double frames = bridged ? steps - 1 : 0;
    for (size_t j = a + 1; j < b; j++) {
        struct dw_ledger_row *row = &ledger[j];
        double k = round((w->utc[j] - w->utc[a]) / w->interval);
        if (row->use)
            continue; /* a spare one, which is not in the way of a bridge */
        row->done = DW_DONE_LEFT_OUT;
        if (!bridged || !(k >= 1) || !(k < steps))
            continue;
        double part = k / steps;
        row->done = DW_DONE_BRIDGED;
        row->bridge[0] = (uint32_t)(w->alt[j] > MIX_ABOVE_DEG || part < 0.5 ? a : b);
        row->bridge[1] = (uint32_t)(w->alt[j] > MIX_ABOVE_DEG || part >= 0.5 ? b : a);
        frames -= frames > 0;
    }
    ledger[b].bridged_before = (uint32_t)frames;
}

/* Room for all frames that walk() can make. */
static size_t most_frames(const struct dw_work *w)
{
    return w->n * (MAX_BRIDGE + 1) + 1;
}

static enum dw_status walk(struct dw_work *w, struct dw_decision *out, struct dw_error *err)
{
    size_t last = w->n; /* shot shown last */
    for (size_t i = 0; i < w->n; i++) {
        out->ledger[i].done = out->ledger[i].use ? DW_DONE_SPARE : DW_DONE_LEFT_OUT;
        if (!out->ledger[i].use)
            continue;
        if (last == w->n) {
            show(w, out, i);
            last = i;
            continue;
        }
        /* Counted from the last frame shown, so that a timer that drifts never adds up to a
         * doubled or a dropped frame. */
        double steps = round((w->utc[i] - w->utc[last]) / w->interval);
        if (steps < 1)
            continue; /* faster than the output's rate: a second shot of the same instant */
        bool bridged = steps - 1 <= MAX_BRIDGE;
        note(w, out->ledger, last, i, steps, bridged);
        for (int k = 1; k < steps && bridged; k++) {
            enum dw_status status = bridge(w, out, last, i, k / steps, err);
            if (status < 0)
                return status;
        }
        show(w, out, i);
        last = i;
    }
    return DW_OK;
}

enum dw_status dw_frames(struct dw_work *w, struct dw_decision *out, struct dw_error *err)
{
    out->frame = calloc(most_frames(w), sizeof *out->frame);
    if (!out->frame)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for the frame list");
    enum dw_status status = walk(w, out, err);
    if (status < 0)
        return status;
    if (out->n_frames == 0)
        return dw_fail(err, DW_ERR_EMPTY, "none of the %zu frames may be used", w->n);
    struct dw_frame *fit = realloc(out->frame, out->n_frames * sizeof *fit);
    if (fit)
        out->frame = fit;
    return DW_OK;
}
