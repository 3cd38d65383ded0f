/* invented.h: a shoot made by the generator, scanned, surveyed and decided about. The generator
 * shares no code with the program; the environment says where it is. */
#ifndef DW_TESTS_INVENTED_H
#define DW_TESTS_INVENTED_H

#include <check.h>
#include <daywheel/daywheel.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/atomic_file.h"
#include "base/csv.h"

struct invented {
    char dir[32];
    char *shoot;
    struct dw_shots shots;
    struct dw_survey survey;
    struct dw_decision decision;
};

/* options: of the generator, such as "--scene clear --frames 60". */
static inline void invented_make(struct invented *v, const char *options)
{
    const char *invent = getenv("DAYWHEEL_INVENT");
    ck_assert_msg(invent != NULL, "DAYWHEEL_INVENT must name the generator");
    memset(v, 0, sizeof *v);
    strcpy(v->dir, "/tmp/dw-test-invented-XXXXXX");
    ck_assert_ptr_nonnull(mkdtemp(v->dir));
    v->shoot = dw_join_path(v->dir, "shoot");
    char command[1000];
    snprintf(command, sizeof command, "'%s' %s --out '%s' >/dev/null 2>&1", invent, options,
             v->shoot);
    ck_assert_int_eq(system(command), 0);

    struct dw_error err = {0};
    struct dw_run run = {.jobs = 2};
    struct dw_scan_params scan = DW_SCAN_DEFAULTS;
    struct dw_survey_params survey = DW_SURVEY_DEFAULTS;
    struct dw_decide_params decide = DW_DECIDE_DEFAULTS;
    const char *inputs[] = {v->shoot};
    char *path = dw_join_path(v->dir, "survey.dws");
    ck_assert_msg(dw_scan(inputs, 1, &scan, &run, &v->shots, &err) >= 0, "%s", err.text);
    ck_assert_msg(dw_survey_run(&v->shots, path, &survey, NULL, &run, &v->survey, &err) >= 0, "%s",
                  err.text);
    ck_assert_msg(dw_decide(&v->shots, &v->survey, &decide, &run, &v->decision, &err) >= 0, "%s",
                  err.text);
    free(path);
}

/* A truth table of the shoot, such as "truth/hot.csv". */
static inline struct dw_csv invented_table(const struct invented *v, const char *name)
{
    char *path = dw_join_path(v->shoot, name), *data = NULL;
    size_t n;
    struct dw_csv t;
    ck_assert_int_eq(dw_read_whole(path, 1 << 24, &data, &n, NULL), DW_OK);
    ck_assert_int_eq(dw_csv_parse(path, data, n, &t, NULL), DW_OK);
    free(data);
    free(path);
    return t;
}

static inline void invented_free(struct invented *v)
{
    char command[100];
    dw_decision_free(&v->decision);
    dw_survey_free(&v->survey);
    dw_shots_free(&v->shots);
    snprintf(command, sizeof command, "rm -rf '%s'", v->dir);
    ck_assert_int_eq(system(command), 0);
    free(v->shoot);
}

#endif
