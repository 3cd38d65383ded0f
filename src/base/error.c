/* error.c: errors that carry a text, messages of a run. */
#include <daywheel/base.h>

#include <stdarg.h>
#include <stdio.h>

enum dw_status dw_fail(struct dw_error *err, enum dw_status status, const char *fmt, ...)
{
    if (err) {
        va_list ap;
        va_start(ap, fmt);
        vsnprintf(err->text, sizeof err->text, fmt, ap);
        va_end(ap);
        err->status = status;
    }
    return status;
}

void dw_say(const struct dw_run *run, enum dw_level level, const char *fmt, ...)
{
    if (!run || !run->message)
        return;
    char text[1400];
    va_list ap;
    va_start(ap, fmt);
    vsnprintf(text, sizeof text, fmt, ap);
    va_end(ap);
    run->message(run->ctx, level, text);
}

bool dw_stopping(const struct dw_run *run)
{
    return run && run->stop && atomic_load(run->stop) != 0;
}

const char *dw_version(void)
{
    return DW_VERSION;
}
