/* preview.c: see preview.h. The whole job in small: a survey of few shots in a folder of its own,
 * a decision about them, and renderings of their thumbnails. */
#include "cli/preview.h"

#include "base/atomic_file.h"
#include "cli/cmd.h"
#include "cli/job.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#define THUMB_LONG 480 /* pixels: four beside each other on a screen */

struct preview {
    struct dw_job job; /* its shot table is the whole one until `whole` takes it over */
    struct dw_shots whole;
    size_t *chosen, n_chosen; /* indices into the whole table */
    struct dw_strip_item *item;
    size_t n_items;
    char folder[64]; /* of the small survey; "" if none */
    char *survey_path;
};

/* The sun's altitude for each shot, near enough to choose by; NAN where it cannot be shown. The
 * real one is found by the decision. */
static double rough_altitude(const struct dw_settings *s, const struct dw_shots *shots, size_t i,
                             const struct dw_site *site)
{
    const struct dw_shot *shot = &shots->shot[i];
    struct dw_horizontal sun;
    /* an unknown offset is about that of the sun itself */
    double offset = s->has_utc_offset  ? s->utc_offset_s
                    : shot->has_offset ? shot->offset_s
                                       : 240 * remainder(site->lon_deg, 360);
    if (!shot->readable || !isfinite(shot->clock_s) ||
        dw_sun(site, shot->clock_s - offset, &sun) < 0)
        return (double)NAN;
    return sun.alt_deg;
}

static struct dw_site rough_site(const struct dw_settings *s, const struct dw_shots *shots)
{
    for (size_t i = 0; !s->has_site && i < shots->n; i++)
        if (shots->shot[i].has_gps)
            return (struct dw_site){shots->shot[i].lat_deg, shots->shot[i].lon_deg, 0};
    return (struct dw_site){s->site[0], s->site[1], 0};
}

static enum dw_status choose(struct preview *p)
{
    const struct dw_settings *s = p->job.settings;
    const struct dw_shots *shots = &p->job.shots;
    struct dw_site site = rough_site(s, shots);
    double *alt = calloc(shots->n + 1, sizeof *alt);
    p->chosen = calloc((size_t)s->preview, sizeof *p->chosen);
    if (!alt || !p->chosen) {
        free(alt);
        return dw_fail(&p->job.error, DW_ERR_MEMORY, "no memory for %zu shots", shots->n);
    }
    for (size_t i = 0; i < shots->n; i++)
        alt[i] = rough_altitude(s, shots, i, &site);
    p->n_chosen = dw_preview_choose(alt, shots->n, s->twilight[0], s->twilight[1],
                                    (size_t)s->preview, p->chosen);
    free(alt);
    if (p->n_chosen == 0)
        return dw_fail(&p->job.error, DW_ERR_EMPTY,
                       "none of the %zu frames can be shown: their capture times are not known",
                       shots->n);
    return DW_OK;
}

/* Puts a table of the chosen shots and their neighbours in the job's place: by its neighbours the
 * decision knows the interval and what is usual. Rows are shared, only the array is new. */
static enum dw_status thin_out(struct preview *p)
{
    size_t n = p->job.shots.n, k = 0;
    bool *keep = calloc(n, sizeof *keep);
    struct dw_shot *few = calloc(3 * p->n_chosen, sizeof *few);
    if (!keep || !few) {
        free(keep);
        free(few);
        return dw_fail(&p->job.error, DW_ERR_MEMORY, "no memory for a preview");
    }
    for (size_t i = 0; i < p->n_chosen; i++) {
        size_t c = p->chosen[i];
        keep[c] = true;
        if (c > 0)
            keep[c - 1] = true;
        if (c + 1 < n)
            keep[c + 1] = true;
    }
    for (size_t i = 0; i < n; i++)
        if (keep[i])
            few[k++] = p->job.shots.shot[i];
    free(keep);
    p->whole = p->job.shots;
    p->job.shots.shot = few;
    p->job.shots.n = k;
    return DW_OK;
}

static enum dw_status survey_few(struct preview *p)
{
    const char *temp = getenv("TMPDIR");
    struct dw_survey_params params = DW_SURVEY_DEFAULTS;
    params.thumb_long = THUMB_LONG;
    if (!temp || !*temp || strlen(temp) > 40)
        temp = "/tmp";
    snprintf(p->folder, sizeof p->folder, "%s/daywheel-XXXXXX", temp);
    if (!mkdtemp(p->folder)) {
        p->folder[0] = '\0';
        return dw_fail(&p->job.error, DW_ERR_IO,
                       "%s: no folder can be made in it for the preview; name another one in the "
                       "variable TMPDIR",
                       temp);
    }
    p->survey_path = dw_join_path(p->folder, "survey.dws");
    if (!p->survey_path)
        return dw_fail(&p->job.error, DW_ERR_MEMORY, "no memory for a preview");
    enum dw_status status = dw_survey_run(&p->job.shots, p->survey_path, &params, NULL, &p->job.run,
                                          &p->job.survey, &p->job.error);
    dw_terminal_end_stage(p->job.terminal);
    return status;
}

static enum dw_status decide_few(struct preview *p)
{
    struct dw_decide_params params = dw_job_decide_params(p->job.settings, NULL);
    params.few = true;
    enum dw_status status = dw_decide(&p->job.shots, &p->job.survey, &params, &p->job.run,
                                      &p->job.decision, &p->job.error);
    p->job.decided = status >= 0;
    dw_terminal_end_stage(p->job.terminal);
    return status;
}

static void label(const struct preview *p, const struct dw_frame *f, struct dw_strip_item *item)
{
    const struct dw_shot *shot = &p->job.shots.shot[f->source[0].shot];
    time_t local = (time_t)floor(f->utc_s) + p->job.decision.facts.utc_offset_s;
    struct tm t;
    char when[32] = "";
    if (gmtime_r(&local, &t))
        strftime(when, sizeof when, "%Y-%m-%d %H:%M", &t);
    snprintf(item->label, sizeof item->label, "%.40s  %s  sun %+.1f°", shot->name, when,
             f->sun_alt_deg);
}

static enum dw_status show(struct preview *p, const struct dw_frame *f)
{
    const struct dw_job *job = &p->job;
    const struct dw_facts *facts = &job->decision.facts;
    const struct dw_source *source = &f->source[0];
    const struct dw_look_params look = DW_LOOK_DEFAULTS;
    struct dw_strip_item *item = &p->item[p->n_items];
    struct dw_thumb thumb = {0};
    struct dw_linear light = {0};
    enum dw_status status = dw_survey_thumb(&job->survey, source->shot, &thumb, &p->job.error);
    if (status >= 0)
        status = dw_linear_from_thumb(&thumb, &job->survey.measure[source->shot],
                                      dw_facts_levels(facts, &job->shots.shot[source->shot]), facts,
                                      source, &light, &p->job.error);
    item->image = (struct dw_image){.bits = 8, .space = DW_SPACE_SRGB};
    if (status >= 0)
        status = dw_look(&light, f, facts, &look, &item->image, &p->job.error);
    if (status >= 0) {
        label(p, f, item);
        p->n_items++;
    }
    dw_linear_free(&light);
    free(thumb.rgb);
    return status;
}

/* The frame that shows a shot, or else one of its neighbours: a faulty shot has none. */
static const struct dw_frame *frame_near(const struct preview *p, size_t at)
{
    const struct dw_decision *d = &p->job.decision;
    const size_t order[] = {at, at + 1, at - 1};
    for (size_t k = 0; k < 3; k++)
        if (order[k] < d->n_shots && d->ledger[order[k]].frame > 0)
            return &d->frame[d->ledger[order[k]].frame - 1];
    return NULL;
}

static enum dw_status show_all(struct preview *p)
{
    p->item = calloc(p->n_chosen, sizeof *p->item);
    if (!p->item)
        return dw_fail(&p->job.error, DW_ERR_MEMORY, "no memory for a preview");
    enum dw_status status = DW_OK;
    for (size_t i = 0; i < p->n_chosen && status >= 0; i++) {
        size_t at = 0; /* of the chosen shot among the few */
        while (p->job.shots.shot[at].path != p->whole.shot[p->chosen[i]].path)
            at++;
        const struct dw_frame *f = frame_near(p, at);
        if (f)
            status = show(p, f);
        if (dw_stopping(&p->job.run))
            status = dw_fail(&p->job.error, DW_ERR_INTERRUPTED, "stopped");
    }
    if (status >= 0 && p->n_items == 0)
        status = dw_fail(&p->job.error, DW_ERR_EMPTY,
                         "none of the %zu frames looked at can be used", p->job.shots.n);
    return status;
}

static enum dw_status write_sheet(struct preview *p)
{
    const char *dir = p->job.settings->output;
    char *path = dw_join_path(dir, "preview.jpg"), title[200];
    if (!path)
        return dw_fail(&p->job.error, DW_ERR_MEMORY, "no memory for a preview");
    snprintf(title, sizeof title, "Preview: %zu of %zu frames, crossover %g to %g°", p->n_items,
             p->whole.n, p->job.settings->twilight[0], p->job.settings->twilight[1]);
    enum dw_status status = dw_make_folder(dir, &p->job.error);
    if (status >= 0)
        status = dw_write_strip(path, title, p->item, p->n_items, &p->job.error);
    if (status >= 0) {
        char took[40];
        dw_duration_text(dw_now_s() - p->job.began_s, took, sizeof took);
        dw_terminal_line(p->job.terminal, "%zu of %zu frames in %s, after %s.", p->n_items,
                         p->whole.n, path, took);
    }
    free(path);
    return status;
}

static void clean_up(struct preview *p)
{
    for (size_t i = 0; i < p->n_items; i++)
        dw_image_free(&p->item[i].image);
    free(p->item);
    free(p->chosen);
    if (p->whole.shot) { /* rows belong to the whole table */
        free(p->job.shots.shot);
        p->job.shots = p->whole;
    }
    dw_job_close(&p->job);
    if (p->survey_path)
        unlink(p->survey_path);
    if (p->folder[0]) {
        dw_remove_leftovers(p->folder);
        rmdir(p->folder);
    }
    free(p->survey_path);
}

int dw_preview(const struct dw_settings *s, const char *const *input, size_t n,
               struct dw_terminal *t)
{
    struct preview p = {.n_items = 0};
    dw_job_open(&p.job, s, t);
    enum dw_status status = dw_job_scan(&p.job, input, n);
    if (status >= 0)
        status = choose(&p);
    if (status >= 0)
        status = thin_out(&p);
    if (status >= 0)
        status = survey_few(&p);
    if (status >= 0)
        status = decide_few(&p);
    if (status >= 0)
        status = show_all(&p);
    if (status >= 0)
        status = write_sheet(&p);
    int code = status < 0 ? dw_job_failed(&p.job) : DW_EXIT_DONE;
    clean_up(&p);
    return code;
}
