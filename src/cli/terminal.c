/* terminal.c: see terminal.h. */
#include "cli/terminal.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <time.h>
#include <unistd.h>

#define REDRAW_S 0.2    /* five times a second is as fast as anybody reads */
#define RATE_STEP_S 2.0 /* with eight moments, the rate is that of the last quarter minute */

double dw_now_s(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

void dw_duration_text(double s, char *out, size_t n)
{
    if (s < 9.95)
        snprintf(out, n, "%.1f s", s);
    else if (s < 99.5)
        snprintf(out, n, "%.0f s", s);
    else if (s < 3600)
        snprintf(out, n, "%d min %d s", (int)s / 60, (int)s % 60);
    else
        snprintf(out, n, "%d h %d min", (int)s / 3600, (int)s % 3600 / 60);
}

void dw_bytes_text(double bytes, char *out, size_t n)
{
    static const char *const unit[] = {"kB", "MB", "GB", "TB"};
    double v = bytes / 1e3;
    int i = 0;
    for (; v >= 999.5 && i < 3; i++)
        v /= 1e3;
    snprintf(out, n, v < 9.95 && i > 0 ? "%.1f %s" : "%.0f %s", v, unit[i]);
}

void dw_terminal_open(struct dw_terminal *t, bool quiet, bool verbose)
{
    const char *term = getenv("TERM"), *no_color = getenv("NO_COLOR");
    bool capable = isatty(STDERR_FILENO) && term && *term && strcmp(term, "dumb") != 0;
    *t = (struct dw_terminal){.quiet = quiet,
                              .verbose = verbose,
                              .moving = capable && !quiet,
                              .colour = capable && !(no_color && *no_color)};
}

static void take_line_away(struct dw_terminal *t)
{
    if (t->drawn)
        fputs("\r\033[K", stderr);
    t->drawn = false;
}

void dw_terminal_message(void *ctx, enum dw_level level, const char *text)
{
    struct dw_terminal *t = ctx;
    if (level == DW_INFO && !t->verbose)
        return;
    take_line_away(t);
    if (level == DW_INFO)
        fprintf(stderr, "%s\n", text);
    else
        fprintf(stderr, "daywheel: %s%s:%s %s\n",
                !t->colour          ? ""
                : level == DW_ERROR ? "\033[1;31m"
                                    : "\033[1;33m",
                level == DW_ERROR ? "error" : "warning", t->colour ? "\033[0m" : "", text);
    t->warnings += level != DW_INFO;
    fflush(stderr);
}

void dw_terminal_line(struct dw_terminal *t, const char *fmt, ...)
{
    if (t->quiet)
        return;
    take_line_away(t);
    va_list ap;
    va_start(ap, fmt);
    vfprintf(stderr, fmt, ap);
    va_end(ap);
    fputc('\n', stderr);
    fflush(stderr);
}

double dw_rate_note(struct dw_rate *r, double now_s, size_t done)
{
    const int room = (int)(sizeof r->at / sizeof r->at[0]);
    int newest = (r->next + room - 1) % room;
    if (r->n == 0 || now_s - r->at[newest] >= RATE_STEP_S) {
        r->at[r->next] = now_s;
        r->done[r->next] = done;
        r->next = (r->next + 1) % room;
        r->n += r->n < room;
    }
    int oldest = r->n < room ? 0 : r->next;
    double passed = now_s - r->at[oldest];
    if (passed < 0.5 || done <= r->done[oldest])
        return 0;
    return (double)(done - r->done[oldest]) / passed;
}

static void begin_stage(struct dw_terminal *t, const char *stage, size_t done, size_t total,
                        double now)
{
    dw_terminal_end_stage(t);
    snprintf(t->stage_copy, sizeof t->stage_copy, "%s", stage);
    t->stage = t->stage_copy;
    t->stage_began = now;
    t->stage_total = total;
    t->stage_first = done;
    t->rate = (struct dw_rate){.n = 0};
    if (t->verbose && !t->moving)
        fprintf(stderr, "%s: %zu\n", t->stage, total);
}

static void draw(struct dw_terminal *t, size_t done, size_t total, double rate)
{
    char line[256], left[40], tail[80] = "";
    if (rate > 0) {
        double s = ceil((double)(total - done) / rate);
        if (s < 100)
            snprintf(left, sizeof left, "%.0f s", s);
        else
            dw_duration_text(s, left, sizeof left);
        snprintf(tail, sizeof tail, "  %.1f/s  %s left", rate, left);
    }
    snprintf(line, sizeof line, "%s %zu/%zu%s", t->stage, done, total, tail);
    struct winsize w;
    int wide = ioctl(STDERR_FILENO, TIOCGWINSZ, &w) == 0 && w.ws_col > 1 ? w.ws_col - 1 : 79;
    fprintf(stderr, "\r%.*s\033[K", wide, line);
    fflush(stderr);
    t->drawn = true;
}

void dw_terminal_progress(void *ctx, const char *stage, size_t done, size_t total)
{
    struct dw_terminal *t = ctx;
    double now = dw_now_s();
    if (!t->stage || strcmp(t->stage, stage) != 0 || t->stage_total != total)
        begin_stage(t, stage, done, total, now);
    double rate = dw_rate_note(&t->rate, now, done);
    if (!t->moving || (now - t->last_draw < REDRAW_S && done < total))
        return;
    t->last_draw = now;
    draw(t, done, total, rate);
}

void dw_terminal_end_stage(struct dw_terminal *t)
{
    take_line_away(t);
    if (t->stage && t->verbose) {
        char took[40];
        dw_duration_text(dw_now_s() - t->stage_began, took, sizeof took);
        fprintf(stderr, "%s: done in %s\n", t->stage, took);
    }
    fflush(stderr);
    t->stage = NULL;
}
