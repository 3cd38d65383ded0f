/* pick.c: which shots a person means by names and times. See dw_pick_shots in shot.h. */
#include "base/search.h"
#include "base/text.h"
#include "base/when.h"
#include "shot/stretch.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define FARTHEST_NAME 3 /* edits; farther is another name */

/* A text in its plain form, for comparing: cleaned as documents show it, then \xNN undone. Room is
 * for names of NAME_MAX bytes, each escaped. */
struct key {
    char text[1100];
};

static int hex(char c)
{
    return c >= '0' && c <= '9'   ? c - '0'
           : c >= 'a' && c <= 'f' ? c - 'a' + 10
           : c >= 'A' && c <= 'F' ? c - 'A' + 10
                                  : -1;
}

static void make_key(const char *name, struct key *key)
{
    dw_text_clean(key->text, sizeof key->text, name, strlen(name));
    char *to = key->text;
    for (const char *c = key->text; *c;) {
        if (c[0] == '\\' && c[1] == 'x' && hex(c[2]) >= 0 && hex(c[3]) >= 0 &&
            (c[2] != '0' || c[3] != '0')) {
            *to++ = (char)(hex(c[2]) << 4 | hex(c[3]));
            c += 4;
        } else {
            *to++ = *c++;
        }
    }
    *to = '\0';
}

struct named {
    char *key;
    size_t shot;
};

struct index {
    struct named *v; /* sorted by key */
    size_t n;
};

static int by_key(const void *a, const void *b)
{
    const struct named *p = a, *q = b;
    int c = strcmp(p->key, q->key);
    return c ? c : (p->shot > q->shot) - (p->shot < q->shot);
}

static void index_free(struct index *x)
{
    for (size_t i = 0; i < x->n; i++)
        free(x->v[i].key);
    free(x->v);
}

static bool index_make(const struct dw_shots *shots, struct index *x)
{
    struct key key;
    *x = (struct index){calloc(shots->n + 1, sizeof *x->v), 0};
    for (; x->v && x->n < shots->n; x->n++) {
        make_key(dw_text_basename(shots->shot[x->n].path), &key);
        x->v[x->n] = (struct named){strdup(key.text), x->n};
        if (!x->v[x->n].key)
            break;
    }
    bool whole = x->v && x->n == shots->n;
    if (whole)
        qsort(x->v, x->n, sizeof *x->v, by_key);
    return whole;
}

static int compare_key(const void *key, const void *item)
{
    return strcmp(key, ((const struct named *)item)->key);
}

/* True when the path is this one, or ends in it behind a slash. */
static bool path_ends(const char *path, const char *end)
{
    struct key key;
    make_key(path, &key);
    size_t n = strlen(key.text), m = strlen(end);
    return n >= m && strcmp(key.text + n - m, end) == 0 &&
           (n == m || end[0] == '/' || key.text[n - m - 1] == '/');
}

struct picking {
    const struct dw_shots *shots;
    const char *option;
    struct index index;
    enum dw_pick *how;
    struct dw_error *err;
};

/* "2026-03-28" */
static void day_text(double days, char out[32])
{
    dw_when_minute(days * 86400, 0, out);
    out[10] = '\0';
}

static enum dw_status unknown_name(const struct picking *p, const char *entry, const char *key)
{
    const char *near = NULL;
    int best = FARTHEST_NAME + 1;
    for (size_t i = 0; i < p->shots->n; i++) {
        int d = dw_text_same(key, p->index.v[i].key) ? 0 : dw_text_distance(key, p->index.v[i].key);
        if (d < best) {
            best = d;
            near = p->shots->shot[p->index.v[i].shot].name;
        }
    }
    if (near)
        return dw_fail(p->err, DW_ERR_USAGE, "--%s %.200s: no shot has this name; did you mean %s?",
                       p->option, entry, near);
    return dw_fail(p->err, DW_ERR_USAGE,
                   "--%s %.200s: no shot has this name; expected a file name as ledger.csv shows "
                   "it, a stretch of local time such as 03:10-04:40, or @FILE with one a line; "
                   "this shoot runs from %s to %s",
                   p->option, entry, p->shots->n ? p->shots->shot[0].name : "nothing",
                   p->shots->n ? p->shots->shot[p->shots->n - 1].name : "nothing");
}

/* Marks the shots of that name; false when there is none. */
static bool pick_name(const struct picking *p, const char *entry, enum dw_status *status)
{
    struct key whole;
    make_key(entry, &whole);
    const char *path = whole.text;
    while (strncmp(path, "./", 2) == 0)
        path += 2;
    const char *file = dw_text_basename(path);
    size_t n = 0, found[2] = {0, 0};
    for (size_t i = dw_lower_bound(file, p->index.v, p->index.n, sizeof *p->index.v, compare_key);
         i < p->index.n && strcmp(p->index.v[i].key, file) == 0; i++) {
        size_t shot = p->index.v[i].shot;
        if (file != path && !path_ends(p->shots->shot[shot].path, path))
            continue;
        found[n > 0] = shot;
        n++;
    }
    *status = DW_OK;
    if (n == 1)
        p->how[found[0]] = DW_PICK_BY_NAME;
    else if (n > 1)
        *status = dw_fail(p->err, DW_ERR_USAGE,
                          "--%s %.200s: %zu shots have this name, such as %.200s and %.200s; put "
                          "the folder before it",
                          p->option, entry, n, p->shots->shot[found[0]].path,
                          p->shots->shot[found[1]].path);
    return n > 0;
}

static bool clock_of(const struct dw_shot *s, double *clock_s)
{
    *clock_s = s->clock_s + (s->has_shutter ? s->shutter_s / 2 : 0);
    return (s->has_clock || s->clock_guessed) && isfinite(*clock_s);
}

static enum dw_status no_shot_then(const struct picking *p, const char *entry)
{
    char first[32] = "?", last[32] = "?";
    double t, low = HUGE_VAL, high = -HUGE_VAL;
    for (size_t i = 0; i < p->shots->n; i++)
        if (clock_of(&p->shots->shot[i], &t)) {
            low = fmin(low, t);
            high = fmax(high, t);
        }
    if (low <= high) {
        dw_when_minute(low, 0, first);
        dw_when_minute(high, 0, last);
    }
    return dw_fail(p->err, DW_ERR_USAGE,
                   "--%s %.200s: no shot was taken then; by the camera's clock this shoot runs "
                   "from %s to %s",
                   p->option, entry, first, last);
}

static enum dw_status pick_stretch(const struct picking *p, const char *entry,
                                   const struct dw_stretch *s)
{
    long first = 0, other = 0;
    size_t n = 0;
    for (size_t i = 0; i < p->shots->n; i++) {
        double t;
        long day;
        if (!clock_of(&p->shots->shot[i], &t) || !dw_stretch_holds(s, t, &day))
            continue;
        if (n++ == 0)
            first = other = day;
        else if (day != first)
            other = day;
        if (p->how[i] == DW_PICK_NONE)
            p->how[i] = DW_PICK_BY_TIME;
    }
    if (n == 0)
        return no_shot_then(p, entry);
    if (s->dated || first == other)
        return DW_OK;
    char a[32], b[32];
    day_text((double)first, a);
    day_text((double)other, b);
    return dw_fail(p->err, DW_ERR_USAGE,
                   "--%s %.200s: the shoot has that time more than once, on %s and on %s; put the "
                   "date before it, such as %sT%.100s",
                   p->option, entry, a, b, a, entry);
}

static enum dw_status pick_one(const struct picking *p, const char *entry)
{
    enum dw_status status;
    struct dw_stretch stretch;
    const char *why;
    if (pick_name(p, entry, &status))
        return status;
    switch (dw_stretch_read(entry, &stretch, &why)) {
    case DW_STRETCH_GOOD:
        return pick_stretch(p, entry, &stretch);
    case DW_STRETCH_WRONG:
        return dw_fail(p->err, DW_ERR_USAGE,
                       "--%s %.200s: %s; expected FROM-TO such as 03:10-04:40 or "
                       "2026-03-28T23:10-01:00",
                       p->option, entry, why);
    case DW_STRETCH_NONE:
        break;
    }
    struct key key;
    make_key(dw_text_basename(entry), &key);
    return unknown_name(p, entry, key.text);
}

enum dw_status dw_pick_shots(const struct dw_shots *shots, const char *option,
                             const char *const *entry, size_t n, enum dw_pick *how,
                             struct dw_error *err)
{
    struct picking p = {.shots = shots, .option = option, .how = how, .err = err};
    for (size_t i = 0; i < shots->n; i++)
        how[i] = DW_PICK_NONE;
    if (n == 0)
        return DW_OK;
    enum dw_status status = DW_OK;
    if (!index_make(shots, &p.index))
        status = dw_fail(err, DW_ERR_MEMORY, "no memory for the names of %zu shots", shots->n);
    for (size_t i = 0; i < n && status >= 0; i++)
        status = pick_one(&p, entry[i]);
    index_free(&p.index);
    return status;
}
