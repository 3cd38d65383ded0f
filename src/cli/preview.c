/* preview.c: see preview.h. A few frames, chosen by the sun's altitude, as the run would make them:
 * with the decision of a finished survey where OUT holds one, else with one that is made from the
 * chosen shots and their neighbours alone. Only their thumbnails are developed. */
#include "cli/preview.h"

#include "base/atomic_file.h"
#include "cli/cmd.h"
#include "cli/job.h"
#include "cli/preview_columns.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define THUMB_LONG 480 /* pixels: a little more than a picture on the sheet is wide */

struct preview {
    struct dw_job job;         /* all shots; the decision is about them, or about the few */
    bool whole;                /* it is about all of them */
    size_t *chosen, n_chosen;  /* indices into all shots */
    struct dw_shots few;       /* those that are looked at; rows are shared with the job's */
    struct dw_survey pictures; /* of the few */
    struct dw_strip_column *column;
    size_t n_columns;
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

/* By the ledger: the altitude of a shot that a frame shows; NAN for any other. */
static double decided_altitude(const struct dw_decision *d, size_t i)
{
    if (d->ledger[i].frame == 0)
        return (double)NAN;
    const struct dw_frame *f = &d->frame[d->ledger[i].frame - 1];
    for (int k = 0; k < f->n_sources; k++)
        if (f->source[k].shot == i)
            return d->ledger[i].sun_alt_deg;
    return (double)NAN;
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
    for (size_t i = 0; i < shots->n; i++) {
        alt[i] =
            p->whole ? decided_altitude(&p->job.decision, i) : rough_altitude(s, shots, i, &site);
        if (p->job.asked && p->job.asked[i] == DW_WORD_DROP)
            alt[i] = (double)NAN; /* no frame of the sequence will show it */
    }
    dw_preview_one_flank(alt, shots->n, (size_t)s->preview);
    p->n_chosen = dw_preview_choose(alt, shots->n, s->twilight[0], s->twilight[1],
                                    (size_t)s->preview, p->chosen);
    free(alt);
    if (p->n_chosen == 0)
        return dw_fail(&p->job.error, DW_ERR_EMPTY,
                       "none of the %zu frames can be shown: their capture times are not known",
                       shots->n);
    return DW_OK;
}

/* What the run itself would decide, if a survey of all shots lies in OUT. Anything else than that
 * is no error: then the few shots must do. */
static enum dw_status decide_whole(struct preview *p)
{
    struct dw_job *job = &p->job;
    const struct dw_survey_params params = DW_SURVEY_DEFAULTS;
    struct dw_error why;
    char *path = dw_join_path(job->settings->output, "survey.dws");
    enum dw_status status = DW_OK;
    if (!path)
        status = dw_fail(&job->error, DW_ERR_MEMORY, "no memory for a preview");
    else if (dw_survey_look(&job->shots, path, &params, &job->survey, &why) >= 0 &&
             (status = dw_job_words(job)) >= 0) {
        struct dw_decide_params decide = dw_job_decide_params(job->settings, job->word);
        status =
            dw_decide(&job->shots, &job->survey, &decide, &job->run, &job->decision, &job->error);
        job->decided = p->whole = status >= 0;
        dw_terminal_end_stage(job->terminal);
    }
    free(path);
    return status;
}

/* The shots to look at. For a decision of their own their neighbours too: by them it knows the
 * interval and what is usual. */
static enum dw_status pick_few(struct preview *p)
{
    size_t n = p->job.shots.n, around = p->whole ? 0 : 1;
    bool *keep = calloc(n, sizeof *keep);
    p->few.shot = calloc((2 * around + 1) * p->n_chosen, sizeof *p->few.shot);
    if (!keep || !p->few.shot) {
        free(keep);
        return dw_fail(&p->job.error, DW_ERR_MEMORY, "no memory for a preview");
    }
    for (size_t i = 0; i < p->n_chosen; i++) {
        size_t c = p->chosen[i];
        for (size_t k = c > around ? c - around : 0; k <= c + around && k < n; k++)
            keep[k] = true;
    }
    for (size_t i = 0; i < n; i++)
        if (keep[i])
            p->few.shot[p->few.n++] = p->job.shots.shot[i];
    free(keep);
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
    enum dw_status status = dw_survey_run(&p->few, p->survey_path, &params, NULL, &p->job.run,
                                          &p->pictures, &p->job.error);
    dw_terminal_end_stage(p->job.terminal);
    return status;
}

static enum dw_status decide_few(struct preview *p)
{
    struct dw_decide_params params = dw_job_decide_params(p->job.settings, NULL);
    params.few = true;
    enum dw_status status =
        dw_decide(&p->few, &p->pictures, &params, &p->job.run, &p->job.decision, &p->job.error);
    p->job.decided = status >= 0;
    dw_terminal_end_stage(p->job.terminal);
    return status;
}

/* The frame that shows a chosen shot, or else one of its neighbours: a faulty shot has none. */
static const struct dw_frame *frame_near(const struct preview *p, size_t chosen)
{
    const struct dw_decision *d = &p->job.decision;
    size_t at = chosen;
    if (!p->whole)
        for (at = 0; p->few.shot[at].path != p->job.shots.shot[chosen].path;)
            at++;
    const size_t order[] = {at, at + 1, at - 1};
    for (size_t k = 0; k < 3; k++)
        if (order[k] < d->n_shots && d->ledger[order[k]].frame > 0)
            return &d->frame[d->ledger[order[k]].frame - 1];
    return NULL;
}

/* From the highest sun to the lowest, as the sheet is read. */
static int sun_sinking(const void *a, const void *b)
{
    const struct dw_frame *p = *(const struct dw_frame *const *)a,
                          *q = *(const struct dw_frame *const *)b;
    if (p->sun_alt_deg < q->sun_alt_deg || p->sun_alt_deg > q->sun_alt_deg)
        return p->sun_alt_deg < q->sun_alt_deg ? 1 : -1;
    return p->number < q->number ? -1 : p->number > q->number;
}

static enum dw_status make_columns(struct preview *p)
{
    const struct dw_preview_view view = {p->whole ? &p->job.shots : &p->few, &p->job.decision,
                                         &p->few, &p->pictures,
                                         dw_job_render_params(p->job.settings).look};
    const struct dw_frame **frame = calloc(p->n_chosen, sizeof *frame);
    p->column = calloc(p->n_chosen, sizeof *p->column);
    enum dw_status status = DW_OK;
    size_t n = 0;
    if (!frame || !p->column)
        status = dw_fail(&p->job.error, DW_ERR_MEMORY, "no memory for a preview");
    for (size_t i = 0; i < p->n_chosen && status >= 0; i++)
        if ((frame[n] = frame_near(p, p->chosen[i])) != NULL)
            n++;
    if (n > 0)
        qsort(frame, n, sizeof *frame, sun_sinking);
    for (size_t i = 0; i < n && status >= 0; i++) {
        if (i > 0 && frame[i] == frame[i - 1])
            continue;
        status = dw_preview_column(&view, frame[i], &p->column[p->n_columns], &p->job.error);
        p->n_columns += status >= 0;
        if (status == DW_ERR_EMPTY)
            status = DW_OK;
        if (dw_stopping(&p->job.run))
            status = dw_fail(&p->job.error, DW_ERR_INTERRUPTED, "stopped");
    }
    free(frame);
    if (status >= 0 && p->n_columns == 0)
        status = dw_fail(&p->job.error, DW_ERR_EMPTY,
                         "none of the %zu frames looked at can be used", p->few.n);
    return status;
}

static enum dw_status write_sheet(struct preview *p)
{
    const struct dw_settings *s = p->job.settings;
    char *path = dw_join_path(s->output, "preview.jpg"), note[400];
    if (!path)
        return dw_fail(&p->job.error, DW_ERR_MEMORY, "no memory for a preview");
    snprintf(note, sizeof note,
             "%zu of %zu frames from high sun to low  \xc2\xb7  the mix is all night below %s%g"
             "\xc2\xb0 and all day above %s%g\xc2\xb0%s",
             p->n_columns, p->job.shots.n, s->twilight[0] < 0 ? "\xe2\x88\x92" : "",
             fabs(s->twilight[0]), s->twilight[1] < 0 ? "\xe2\x88\x92" : "", fabs(s->twilight[1]),
             p->whole ? ""
                      : "  \xc2\xb7  judged from these and their neighbours alone: in the run "
                        "the brightness may differ a little");
    enum dw_status status = dw_make_folder(s->output, &p->job.error);
    if (status >= 0)
        status = dw_write_strip(path, "Night, day, and their mix", note, p->column, p->n_columns,
                                &p->job.error);
    if (status >= 0) {
        char took[40];
        dw_duration_text(dw_now_s() - p->job.began_s, took, sizeof took);
        dw_terminal_line(p->job.terminal, "%zu of %zu frames in %s, after %s.", p->n_columns,
                         p->job.shots.n, path, took);
    }
    free(path);
    return status;
}

static void clean_up(struct preview *p)
{
    for (size_t i = 0; i < p->n_columns; i++)
        dw_preview_column_free(&p->column[i]);
    free(p->column);
    free(p->chosen);
    dw_survey_free(&p->pictures);
    free(p->few.shot); /* its rows belong to the job's table */
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
    struct preview p = {.n_columns = 0};
    dw_job_open(&p.job, s, t);
    enum dw_status status = dw_job_scan(&p.job, input, n);
    if (status >= 0)
        status = decide_whole(&p);
    if (status >= 0)
        status = choose(&p);
    if (status >= 0)
        status = pick_few(&p);
    if (status >= 0)
        status = survey_few(&p);
    if (status >= 0 && !p.whole)
        status = decide_few(&p);
    if (status >= 0)
        status = make_columns(&p);
    if (status >= 0)
        status = write_sheet(&p);
    int code = status < 0 ? dw_job_failed(&p.job) : DW_EXIT_DONE;
    clean_up(&p);
    return code;
}
