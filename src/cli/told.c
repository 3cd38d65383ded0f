/* told.c: see told.h. */
#include "cli/told.h"

#include "cli/options.h"

#include <stdlib.h>
#include <string.h>

#define LONGEST 4000 /* a longer list is in settings.ini */

enum dw_status dw_told_make(const struct dw_settings *s, struct dw_told *out, struct dw_error *err)
{
    struct dw_settings standard;
    char *value = malloc(LONGEST), *usual = malloc(LONGEST);
    dw_settings_default(&standard);
    *out = (struct dw_told){calloc(dw_option_count, sizeof *out->v), 0};
    bool whole = value && usual && out->v;
    for (size_t i = 0; i < dw_option_count && whole; i++) {
        const struct dw_option *o = &dw_options[i];
        bool recorded =
            o->use == DW_USE_RESULT || (o->use == DW_USE_RESULT_TIFF && s->format == DW_TIFF);
        if (!recorded || !dw_option_show(o, s, value, LONGEST))
            continue;
        char *copy = strdup(value);
        whole = copy != NULL;
        bool same = dw_option_show(o, &standard, usual, LONGEST) && strcmp(usual, value) == 0;
        out->v[out->n++] = (struct dw_report_setting){o->name, copy, o->help, same};
    }
    free(value);
    free(usual);
    dw_settings_free(&standard);
    if (whole)
        return DW_OK;
    dw_told_free(out);
    return dw_fail(err, DW_ERR_MEMORY, "no memory for the settings in the report");
}

void dw_told_free(struct dw_told *t)
{
    for (size_t i = 0; t->v && i < t->n; i++)
        free((char *)t->v[i].value);
    free(t->v);
    *t = (struct dw_told){0};
}
