/* scan_fixture.h: a folder of invented frames, a scan of it, and what the scan told. */
#ifndef DW_TESTS_SCAN_FIXTURE_H
#define DW_TESTS_SCAN_FIXTURE_H

#include <daywheel/shot.h>

#include "tiny_dng.h"

#include <math.h>
#include <sys/stat.h>
#include <unistd.h>

/* Collects what the scan tells. */
struct heard {
    char text[8000];
    int warnings;
};
static inline void hear(void *ctx, enum dw_level level, const char *text)
{
    struct heard *h = ctx;
    h->warnings += level == DW_WARNING;
    size_t n = strlen(h->text);
    snprintf(h->text + n, sizeof h->text - n, "%s\n", text);
}

static struct heard heard;
static struct dw_error error;
static char *dir;

static inline void set_up(void)
{
    dir = tiny_folder();
    memset(&heard, 0, sizeof heard);
}
static inline void tear_down(void)
{
    tiny_remove(dir);
}

static inline enum dw_status scan_of(const char *const *inputs, size_t n, const char *only,
                                     int jobs, struct dw_shots *out)
{
    struct dw_scan_params p = DW_SCAN_DEFAULTS;
    p.only_model = only;
    struct dw_run run = {.jobs = jobs, .message = hear, .ctx = &heard};
    error.text[0] = '\0';
    return dw_scan(inputs, n, &p, &run, out, &error);
}
static inline struct dw_shots scan(void)
{
    struct dw_shots s;
    const char *in[] = {dir};
    enum dw_status st = scan_of(in, 1, NULL, 2, &s);
    ck_assert_msg(st == DW_OK, "scan: %d %s", st, error.text);
    return s;
}
static inline const char *in_dir(const char *name)
{
    static char path[4][256];
    static int next;
    next = (next + 1) % 4;
    snprintf(path[next], sizeof path[next], "%s/%s", dir, name);
    return path[next];
}
static inline void folder(const char *name)
{
    ck_assert_int_eq(mkdir(in_dir(name), 0777), 0);
}
static inline void put(const char *name, const char *text)
{
    FILE *f = fopen(in_dir(name), "wb");
    ck_assert_ptr_nonnull(f);
    fputs(text, f);
    ck_assert_int_eq(fclose(f), 0);
}

/* A frame taken `seconds` after 2025-03-28 20:00:00 by the camera's clock. */
static inline struct tiny_dng frame_at(double seconds)
{
    static char when[8][64], sub[8][16];
    static int next;
    next = (next + 1) % 8;
    struct tiny_dng t = TINY_DNG;
    int whole = (int)floor(seconds), of_day = whole + 20 * 3600;
    int day = 28 + (of_day >= 0 ? of_day / 86400 : -1);
    of_day = (of_day + 86400) % 86400;
    snprintf(when[next], sizeof when[next], "2025:03:%02d %02d:%02d:%02d", day, of_day / 3600,
             of_day / 60 % 60, of_day % 60);
    snprintf(sub[next], sizeof sub[next], "%02d", (int)floor((seconds - whole) * 100 + 0.5));
    t.original = when[next];
    t.subsec = sub[next];
    t.seed = (uint32_t)(seconds * 100) + 1;
    return t;
}
static inline void put_frame(const char *name, double seconds)
{
    struct tiny_dng t = frame_at(seconds);
    tiny_write(in_dir(name), &t);
}
#define START_CLOCK 1743192000.0 /* 2025-03-28 20:00:00 as if UTC */

static inline void expect_order(const struct dw_shots *s, const char *names)
{
    char got[2000] = "";
    for (size_t i = 0; i < s->n; i++) {
        size_t n = strlen(got);
        snprintf(got + n, sizeof got - n, "%s%.*s", i ? " " : "",
                 (int)strcspn(s->shot[i].name, "."), s->shot[i].name);
    }
    ck_assert_str_eq(got, names);
}

#endif
