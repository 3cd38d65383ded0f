/* walk.c: see walk.h. */
#include "shot/walk.h"

#include "base/atomic_file.h"
#include "base/text.h"
#include "shot/kinds.h"

#include <dirent.h>
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

enum { DEEPEST = 64 };

/* Folders already gone through, so that links cannot lead round in circles. */
struct visited {
    struct place {
        dev_t dev;
        ino_t ino;
    } * v;
    size_t n, room;
};

struct walker {
    struct dw_walk *out;
    struct visited seen;
    const struct dw_run *run;
};

/* 1: new, 0: seen before, -1: no memory. */
static int visit(struct visited *s, const struct stat *st)
{
    for (size_t i = 0; i < s->n; i++)
        if (s->v[i].dev == st->st_dev && s->v[i].ino == st->st_ino)
            return 0;
    if (s->n == s->room) {
        size_t room = s->room ? 2 * s->room : 64;
        struct place *v = realloc(s->v, room * sizeof *v);
        if (!v)
            return -1;
        s->v = v;
        s->room = room;
    }
    s->v[s->n++] = (struct place){st->st_dev, st->st_ino};
    return 1;
}

static int by_name(const void *a, const void *b)
{
    return strcmp(*(char *const *)a, *(char *const *)b);
}

/* The names in a folder, sorted, without system files (counted). errno tells on failure. */
static bool list_folder(struct walker *w, const char *path, struct dw_strings *names)
{
    DIR *d = opendir(path);
    if (!d)
        return false;
    const struct dirent *e;
    bool fine = true;
    while (fine && (errno = 0, e = readdir(d)) != NULL) {
        if (strcmp(e->d_name, ".") == 0 || strcmp(e->d_name, "..") == 0)
            continue;
        if (dw_kind_is_system(e->d_name))
            w->out->system++;
        else
            fine = dw_strings_add(names, e->d_name);
    }
    if (!fine)
        errno = ENOMEM;
    int kept = errno;
    closedir(d);
    if (names->n > 1)
        qsort(names->v, names->n, sizeof *names->v, by_name);
    errno = kept;
    return kept == 0;
}

static enum dw_status walk_folder(struct walker *w, const char *path, int depth,
                                  struct dw_error *err);

static enum dw_status walk_entry(struct walker *w, const char *path, int depth,
                                 struct dw_error *err)
{
    struct stat st;
    if (stat(path, &st) != 0) {
        dw_say(w->run, DW_WARNING, "%s: passed over: %s", path, strerror(errno));
        return DW_OK;
    }
    if (S_ISDIR(st.st_mode)) {
        int fresh = visit(&w->seen, &st);
        if (fresh < 0)
            return dw_fail(err, DW_ERR_MEMORY, "%s: no memory for its list", path);
        if (fresh == 0)
            return DW_OK;
        return walk_folder(w, path, depth + 1, err);
    }
    if (S_ISREG(st.st_mode) && !dw_strings_add(&w->out->files, path))
        return dw_fail(err, DW_ERR_MEMORY, "%s: no memory for its name", path);
    return DW_OK;
}

static enum dw_status walk_folder(struct walker *w, const char *path, int depth,
                                  struct dw_error *err)
{
    if (depth > DEEPEST) {
        dw_say(w->run, DW_WARNING, "%s: passed over: more than %d folders deep", path, DEEPEST);
        return DW_OK;
    }
    struct dw_strings names = {0};
    enum dw_status s = DW_OK;
    if (!list_folder(w, path, &names)) {
        if (errno == ENOMEM)
            s = dw_fail(err, DW_ERR_MEMORY, "%s: no memory for its list", path);
        else if (depth == 0)
            s = dw_fail(err, DW_ERR_IO, "%s: the folder cannot be read: %s", path, strerror(errno));
        else
            dw_say(w->run, DW_WARNING, "%s: the folder cannot be read and is passed over: %s", path,
                   strerror(errno));
    }
    for (size_t i = 0; s == DW_OK && i < names.n; i++) {
        char *full = dw_join_path(path, names.v[i]);
        if (!full)
            s = dw_fail(err, DW_ERR_MEMORY, "%s: no memory for its list", path);
        else if (dw_stopping(w->run))
            s = dw_fail(err, DW_ERR_INTERRUPTED, "stopped while looking through %s", path);
        else
            s = walk_entry(w, full, depth, err);
        free(full);
    }
    dw_strings_free(&names);
    return s;
}

/* An input is named by a person, so whatever is wrong with it is an error. */
static enum dw_status walk_input(struct walker *w, const char *path, struct dw_error *err)
{
    struct stat st;
    if (stat(path, &st) != 0)
        return dw_fail(err, DW_ERR_IO, "%s: %s; expected a folder of RAW frames or a RAW file",
                       path, errno == ENOENT ? "no such file or folder" : strerror(errno));
    if (S_ISDIR(st.st_mode)) {
        int fresh = visit(&w->seen, &st);
        if (fresh < 0)
            return dw_fail(err, DW_ERR_MEMORY, "%s: no memory for its list", path);
        return fresh ? walk_folder(w, path, 0, err) : DW_OK;
    }
    if (!S_ISREG(st.st_mode))
        return dw_fail(err, DW_ERR_IO, "%s: is neither a folder nor a regular file", path);
    if (!dw_strings_add(&w->out->files, path))
        return dw_fail(err, DW_ERR_MEMORY, "%s: no memory for its name", path);
    return DW_OK;
}

/* Paths may hold any byte but NUL; a list that holds a NUL is therefore separated by NULs. */
static enum dw_status walk_standard_input(struct walker *w, struct dw_error *err)
{
    struct dw_buffer text = {0};
    char block[65536];
    size_t n;
    while ((n = fread(block, 1, sizeof block, stdin)) > 0)
        dw_buffer_add(&text, block, n);
    enum dw_status s = DW_OK;
    if (ferror(stdin))
        s = dw_fail(err, DW_ERR_IO, "standard input: cannot be read");
    else if (text.failed)
        s = dw_fail(err, DW_ERR_MEMORY, "standard input: no memory for the list");
    int end = text.n > 0 && memchr(text.data, '\0', text.n) ? '\0' : '\n';
    for (size_t i = 0; s == DW_OK && i < text.n;) {
        char *line = text.data + i;
        char *stop = memchr(line, end, text.n - i);
        size_t length = stop ? (size_t)(stop - line) : text.n - i;
        i += length + 1;
        line[length] = '\0'; /* the buffer ends in a NUL of its own */
        if (end == '\n' && length > 0 && line[length - 1] == '\r')
            line[length - 1] = '\0';
        if (line[0])
            s = walk_input(w, line, err);
    }
    dw_buffer_free(&text);
    return s;
}

enum dw_status dw_walk_inputs(const char *const *inputs, size_t n, const struct dw_run *run,
                              struct dw_walk *out, struct dw_error *err)
{
    *out = (struct dw_walk){0};
    struct walker w = {.out = out, .run = run};
    enum dw_status s = DW_OK;
    for (size_t i = 0; s == DW_OK && i < n; i++)
        s = strcmp(inputs[i], "-") == 0 ? walk_standard_input(&w, err)
                                        : walk_input(&w, inputs[i], err);
    free(w.seen.v);
    if (s != DW_OK)
        dw_walk_free(out);
    return s;
}

void dw_walk_free(struct dw_walk *w)
{
    dw_strings_free(&w->files);
    *w = (struct dw_walk){0};
}
