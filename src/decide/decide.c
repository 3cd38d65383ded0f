/* decide.c: the order of the steps of a decision, nothing else. */
#include "decide/steps.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

double dw_crossover(double alt_deg, double night_deg, double day_deg)
{
    double x = (alt_deg - night_deg) / (day_deg - night_deg);
    if (!(x > 0))
        return 0;
    if (x >= 1)
        return 1;
    return x * x * x * (x * (6 * x - 15) + 10);
}

#define STAR_ROOM_STOPS 0.06
#define STARS_OUT_DEG (-24)
#define FIRST_STARS_DEG (-12)

double dw_star_room(double alt_deg)
{
    return STAR_ROOM_STOPS * (1 - dw_crossover(alt_deg, STARS_OUT_DEG, FIRST_STARS_DEG));
}

double dw_gain(const struct dw_work *w, size_t i)
{
    return w->ev[i] - (w->line[i] + w->error[i]) - w->calm[i];
}

/* The mean light of a metered scene gives H = 10/S lx s, saturation lies at 78/S (ISO 12232),
 * so a raw share of 10/78 at EV100 = 0 is L = K/100 = 0.125 cd/m^2 (ISO 2720, K = 12.5). */
#define LIGHT_TO_LUMINANCE (-3 + 2.963474124)

static void fill_facts(const struct dw_work *w, struct dw_facts *facts)
{
    const struct dw_survey *survey = w->survey;
    memcpy(facts->survey_id, survey->id, sizeof facts->survey_id);
    facts->night_deg = w->params->night_deg;
    facts->day_deg = w->params->day_deg;
    for (size_t i = 0; i < w->n; i++) {
        if (!survey->measure[i].usable)
            continue;
        facts->mosaic_width = survey->measure[i].width;
        facts->mosaic_height = survey->measure[i].height;
        facts->turn_deg = w->shots->shot[i].turn_deg;
        break;
    }
}

static void fill_ledger(const struct dw_work *w, struct dw_ledger_row *ledger)
{
    for (size_t i = 0; i < w->n; i++) {
        struct dw_ledger_row *row = &ledger[i];
        row->utc_s = w->utc[i];
        row->sun_alt_deg = w->alt[i];
        row->luminance_stops = w->key[i] - w->error[i] + LIGHT_TO_LUMINANCE;
        row->flicker_stops = w->error[i];
        row->flicker_sigma = sqrt(w->error_var[i]);
        row->left_stops = w->left[i];
        row->gain_stops = dw_gain(w, i) + log2(dw_key_at(w, w->line[i], w->alt[i]));
        if (fabs(w->jump[i]) > 0 && !row->reason[0])
            snprintf(row->reason, sizeof row->reason,
                     "its exposure record is wrong by %+.2f stop, as the picture shows; put right",
                     -w->jump[i]);
        row->day_weight = dw_crossover(w->alt[i], w->params->night_deg, w->params->day_deg);
    }
}

static enum dw_status take_steps(struct dw_work *w, struct dw_decision *out, struct dw_error *err)
{
    fill_facts(w, &out->facts);
    enum dw_status status = dw_when(w, &out->facts, err);
    if (status >= 0)
        status = dw_record(w, err);
    if (status >= 0)
        status = dw_levels_learn(w, &out->facts, err);
    if (status >= 0)
        status = dw_tiles(w, &out->facts, err);
    if (status >= 0)
        status = dw_poses(w, err);
    if (status >= 0)
        status = dw_margin(w, &out->facts, err);
    if (status >= 0)
        status = dw_lamps(w, &out->facts, err);
    if (status >= 0)
        status = dw_faults(w, out->ledger, err);
    if (status >= 0)
        status = dw_tints(w, out, err);
    if (status >= 0)
        status = dw_shading(w, out, err);
    if (status >= 0)
        status = dw_dark(w, &out->facts, err);
    if (status >= 0)
        status = dw_steady(w, err);
    if (status >= 0)
        status = dw_faults_after(w, out->ledger, err);
    if (status >= 0)
        status = dw_line(w, &out->facts, err);
    if (status >= 0)
        status = dw_calm(w, err);
    if (status >= 0)
        status = dw_colour(w, &out->facts, err);
    if (status >= 0)
        status = dw_hold(w, &out->facts, err);
    if (status >= 0)
        status = dw_night(w, &out->facts, err);
    if (status >= 0)
        status = dw_dusk(w, out->ledger, &out->facts, err);
    if (status >= 0)
        status = dw_green(w, &out->facts, err);
    if (status >= 0)
        status = dw_hot_pixels(w, &out->facts, err);
    if (status >= 0)
        status = dw_aim_learn(w, &out->facts, err);
    if (status >= 0)
        status = dw_frames(w, out, err);
    return status;
}

enum dw_status dw_decide(const struct dw_shots *shots, const struct dw_survey *survey,
                         const struct dw_decide_params *params, const struct dw_run *run,
                         struct dw_decision *out, struct dw_error *err)
{
    memset(out, 0, sizeof *out);
    if (shots->n == 0)
        return dw_fail(err, DW_ERR_EMPTY, "there are no frames to decide about");
    if (survey->n != shots->n)
        return dw_fail(err, DW_ERR_USAGE, "the survey covers %zu frames, the shot table %zu",
                       survey->n, shots->n);
    if (!(params->night_deg < params->day_deg))
        return dw_fail(err, DW_ERR_USAGE,
                       "twilight must go from the lower sun altitude to the higher, got %g,%g",
                       params->night_deg, params->day_deg);
    struct dw_work w = {.shots = shots, .survey = survey, .params = params, .run = run};
    w.n = shots->n;
    w.tiles = survey->rows * survey->cols;
    out->n_shots = w.n;
    out->ledger = calloc(w.n, sizeof *out->ledger);
    enum dw_status status =
        out->ledger ? take_steps(&w, out, err) : dw_fail(err, DW_ERR_MEMORY, "out of memory");
    if (status >= 0) {
        fill_ledger(&w, out->ledger);
        dw_flicker_measure(&w, out);
    } else
        dw_decision_free(out);
    dw_arena_free_to(&w.arena, 0);
    return status < 0 ? status : DW_OK;
}

void dw_facts_free(struct dw_facts *facts)
{
    free(facts->levels);
    free(facts->hot);
    free(facts->law.coef);
    free(facts->star);
    facts->levels = NULL;
    facts->hot = NULL;
    facts->law.coef = NULL;
    facts->star = NULL;
    facts->n_levels = facts->n_hot = facts->n_stars = 0;
    facts->law.n = 0;
}

void dw_decision_free(struct dw_decision *d)
{
    dw_facts_free(&d->facts);
    free(d->ledger);
    free(d->frame);
    free(d->setting);
    memset(d, 0, sizeof *d);
}
