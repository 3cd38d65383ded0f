/* told.h: the settings in force as the report tells them. */
#ifndef DW_CLI_TOLD_H
#define DW_CLI_TOLD_H

#include "cli/settings.h"

struct dw_told {
    struct dw_report_setting *v;
    size_t n;
};

/* Those that change what comes out and have a value. Errors: DW_ERR_MEMORY. */
enum dw_status dw_told_make(const struct dw_settings *s, struct dw_told *out, struct dw_error *err);
void dw_told_free(struct dw_told *t);

#endif
