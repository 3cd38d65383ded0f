/* report.h: what the parts of report.html share. Each part is a file that adds its section. */
#ifndef DW_OUTPUT_REPORT_H
#define DW_OUTPUT_REPORT_H

#include <daywheel/output.h>

#include "base/buffers.h"
#include "output/report/chart.h"
#include "output/telling/problems.h"
#include "output/paper/small.h"

struct dw_report {
    const struct dw_shots *shots;
    const struct dw_survey *survey;
    const struct dw_decision *d;
    const struct dw_report_params *params;
    struct dw_day day;
    double *t; /* mid-exposure of each shot, Unix seconds */
    struct dw_problem_run *run;
    size_t n_runs, n_found;
    struct dw_problem *problem; /* pictures of runs, in order */
    size_t n_problems;
    struct dw_small *small; /* one a shot; without picture where it has none */
    struct dw_small *large; /* of the problems, in their order, then those of the strip */
    size_t n_strip, *strip; /* shots in the row of pictures at its head */
    struct dw_buffer b;     /* the page */
};

/* The sections, in the page's order. None can fail: memory shows in r->b.failed at the end. */
void dw_report_summary(struct dw_report *r);
void dw_report_sky(struct dw_report *r);
void dw_report_runs(struct dw_report *r);
void dw_report_light(struct dw_report *r);
void dw_report_exposures(struct dw_report *r);
void dw_report_hours(struct dw_report *r);
void dw_report_next(struct dw_report *r);
void dw_report_frames(struct dw_report *r);
void dw_report_settings(struct dw_report *r);

/* Small words. */
void dw_report_when(const struct dw_report *r, double utc_s, bool date_too, char out[32]);
void dw_report_span(const struct dw_report *r, const struct dw_problem_run *run, char out[80]);
/* "26 h 10 min", "48 min", "30 s". */
void dw_report_duration(double s, char out[32]);
/* "1 shot", "45 shots". */
void dw_report_count(size_t n, const char *one, char out[48]);
/* How much has a fault from one shot to another: "45 shots"; of a gap "4 frames in 2 places". */
void dw_report_amount(const struct dw_report *r, int fault, size_t first, size_t last,
                      char out[80]);
/* A picture with its text for those who cannot see it ("" where words beside it say it all). */
void dw_report_picture(struct dw_report *r, const struct dw_small *picture, const char *alt,
                       bool lazy);

#endif
