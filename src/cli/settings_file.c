/* settings_file.c: see settings_file.h. */
#include "cli/settings_file.h"

#include "base/atomic_file.h"
#include "base/buffers.h"
#include "base/text.h"

#include <ini.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define MAX_FILE_BYTES ((size_t)1 << 20) /* a settings file is a page; this is not one */

struct ini {
    const char *path, *next, *end;
    int line;        /* the one being read */
    int *first_line; /* per option: where it stood first, 0 if not yet */
    struct dw_settings *settings;
    enum dw_status status; /* of the first failure, which is kept */
    int failed_line;
    struct dw_error error;
};

static int fail_at(struct ini *ini, enum dw_status status, const char *text)
{
    if (ini->status < 0)
        return 0;
    ini->failed_line = ini->line;
    ini->status = dw_fail(&ini->error, status, "%s:%d: %s", ini->path, ini->line, text);
    return 0;
}

/* fgets from memory for the parser. Counts lines, which the parser does not tell its handler,
 * takes off leading blanks, which it would take for a continued value, and refuses lines longer
 * than the parser's own limit, which it would cut in two. */
static char *next_line(char *line, int room, void *stream)
{
    struct ini *ini = stream;
    if (ini->next >= ini->end)
        return NULL;
    const char *end = memchr(ini->next, '\n', (size_t)(ini->end - ini->next));
    end = end ? end : ini->end;
    ini->line++;
    const char *c = ini->next;
    while (c < end && (*c == ' ' || *c == '\t'))
        c++;
    size_t n = (size_t)(end - c);
    ini->next = end + (end < ini->end);
    if (memchr(c, '\0', n)) {
        fail_at(ini, DW_ERR_USAGE, "holds binary data; expected lines of the form NAME = VALUE");
        return NULL;
    }
    if (n + 2 > (size_t)room && *c != '#' && *c != ';') {
        char text[160];
        snprintf(text, sizeof text,
                 "the line is %zu bytes long, more than the %d that fit; give this option on the "
                 "command line instead",
                 n, room - 2);
        fail_at(ini, DW_ERR_USAGE, text);
    }
    if (n + 2 > (size_t)room)
        n = (size_t)room - 2;
    memcpy(line, c, n);
    line[n] = '\n';
    line[n + 1] = '\0';
    return line;
}

static int take(void *user, const char *section, const char *name, const char *value)
{
    struct ini *ini = user;
    char text[400], shown[80];
    if (ini->status < 0)
        return 0; /* the first one is told */
    dw_text_clean(shown, sizeof shown, section, strlen(section));
    if (section[0] != '\0') {
        snprintf(text, sizeof text,
                 "stands in a section [%s]; there are no sections here, take "
                 "that line out",
                 shown);
        return fail_at(ini, DW_ERR_USAGE, text);
    }
    dw_text_clean(shown, sizeof shown, name, strlen(name));
    const struct dw_option *o = dw_option_named(name, strlen(name));
    if (!o || o->use == DW_USE_LINE) {
        const struct dw_option *near = o ? NULL : dw_option_nearest(name, strlen(name), DW_CMD_ALL);
        if (o)
            snprintf(text, sizeof text, "%s is for the command line only; take it out here", shown);
        else if (near && near->use != DW_USE_LINE)
            snprintf(text, sizeof text, "there is no setting %s; did you mean %s (%s)?", shown,
                     near->name, near->help);
        else
            snprintf(text, sizeof text,
                     "there is no setting %s; `daywheel render --help` lists "
                     "those there are",
                     shown);
        return fail_at(ini, DW_ERR_USAGE, text);
    }
    int *first = &ini->first_line[o - dw_options];
    if (*first == 0)
        dw_option_clear(o, ini->settings);
    else if (o->kind != DW_OPT_LIST) { /* a list has a line for each entry */
        snprintf(text, sizeof text, "%s stands twice, first in line %d; take one of them out",
                 o->name, *first);
        return fail_at(ini, DW_ERR_USAGE, text);
    }
    if (*first == 0)
        *first = ini->line;
    char where[300];
    snprintf(where, sizeof where, "%s:%d: %s", ini->path, ini->line, o->name);
    enum dw_status status = dw_option_set(o, where, value, ini->settings, &ini->error);
    if (status < 0) {
        ini->status = status;
        ini->failed_line = ini->line;
    }
    return status >= 0;
}

enum dw_status dw_settings_file_read(const char *path, struct dw_settings *s, struct dw_error *err)
{
    char *data;
    size_t n;
    struct dw_error why;
    enum dw_status status = dw_read_whole(path, MAX_FILE_BYTES, &data, &n, &why);
    if (status < 0)
        return dw_fail(err, status, "--settings %s", why.text);
    struct ini ini = {.path = path, .next = data, .end = data + n, .settings = s};
    if (n >= 3 && memcmp(data, "\xEF\xBB\xBF", 3) == 0)
        ini.next += 3; /* the mark of byte order that some editors put in front */
    ini.first_line = calloc(dw_option_count, sizeof *ini.first_line);
    if (!ini.first_line) {
        free(data);
        return dw_fail(err, DW_ERR_MEMORY, "%s: no memory to read it", path);
    }
    int bad_line = ini_parse_stream(next_line, &ini, take, &ini);
    if (bad_line != 0 && (ini.status >= 0 || bad_line < ini.failed_line)) {
        ini.status = DW_OK; /* the parser alone knows this one, and it comes first */
        ini.line = bad_line;
        fail_at(&ini, DW_ERR_USAGE, "is not of the form NAME = VALUE, nor a comment (#)");
    }
    free(ini.first_line);
    free(data);
    if (ini.status < 0 && err)
        *err = ini.error;
    return ini.status < 0 ? ini.status : DW_OK;
}

/* One line an entry, since a line of such a file is short. */
static void write_list(struct dw_buffer *b, const struct dw_option *o,
                       const struct dw_strings *list)
{
    for (size_t i = 0; i < list->n; i++) {
        size_t n = strlen(o->name) + strlen(" = ") + strlen(list->v[i]);
        bool fits = n + 2 <= INI_MAX_LINE && !strchr(list->v[i], ';');
        dw_buffer_printf(b, "%s%s = %s\n", fits ? "" : "# does not fit here: ", o->name,
                         list->v[i]);
    }
    if (list->n == 0)
        dw_buffer_printf(b, "#%s =\n", o->name);
}

static void write_option(struct dw_buffer *b, const struct dw_option *o,
                         const struct dw_settings *s, const char *found)
{
    char value[256], range[160];
    dw_option_range_text(o, range, sizeof range);
    dw_buffer_printf(b, "\n# %s", o->help);
    if (range[0] && o->kind != DW_OPT_SIZE && !strstr(o->help, range))
        dw_buffer_printf(b, " (%s)", range);
    dw_buffer_printf(b, "\n# default: %s\n", o->standard);
    if (o->kind == DW_OPT_LIST) {
        write_list(b, o, (const struct dw_strings *)(const void *)((const char *)s + o->at));
        return;
    }
    bool set = dw_option_show(o, s, value, sizeof value);
    if (set && (strstr(value, " ;") || strstr(value, "\t;"))) /* would begin a comment there */
        dw_buffer_printf(b, "# %s: its value cannot stand in a file of this kind\n", o->name);
    else if (set && o->use == DW_USE_RESULT_TIFF && s->format != DW_TIFF)
        dw_buffer_printf(b, "#%s = %s\n", o->name, value);
    else if (set)
        dw_buffer_printf(b, "%s = %s\n", o->name, value);
    else if (found)
        dw_buffer_printf(b, "# found for this shoot: %s\n#%s = %s\n", found, o->name, found);
    else
        dw_buffer_printf(b, "#%s =\n", o->name);
}

enum dw_status dw_settings_file_write(const char *dir, const struct dw_settings *s,
                                      const double site[2], int utc_offset_s, struct dw_error *err)
{
    /* a millionth of a degree is a hand's breadth; the rest is only noise of the reckoning */
    struct dw_settings found = {.has_site = true,
                                .site = {round(site[0] * 1e6) / 1e6, round(site[1] * 1e6) / 1e6},
                                .has_utc_offset = true,
                                .utc_offset_s = utc_offset_s};
    struct dw_buffer b = {0};
    dw_buffer_printf(&b,
                     "# The settings in force, written by daywheel %s.\n"
                     "# Read them back with: --settings FILE. The command line wins.\n"
                     "# Not recorded, because they do not change the result:",
                     dw_version());
    const char *comma = " ";
    for (size_t i = 0; i < dw_option_count; i++) {
        if (dw_options[i].use == DW_USE_RUN) {
            dw_buffer_printf(&b, "%s%s", comma, dw_options[i].name);
            comma = ", ";
        }
    }
    dw_buffer_printf(&b, ".\n");
    for (int group = 0; group < DW_GROUP_COUNT; group++) {
        for (size_t i = 0; i < dw_option_count; i++) {
            const struct dw_option *o = &dw_options[i];
            char value[64];
            if ((int)o->group != group || (o->use != DW_USE_RESULT && o->use != DW_USE_RESULT_TIFF))
                continue;
            bool has = o->has && dw_option_show(o, &found, value, sizeof value);
            write_option(&b, o, s, has ? value : NULL);
        }
    }
    char *path = dw_join_path(dir, "settings.ini");
    enum dw_status status;
    if (b.failed || !path)
        status = dw_fail(err, DW_ERR_MEMORY, "%s/settings.ini: no memory to write it", dir);
    else
        status = dw_write_whole(path, b.data, b.n, true, err);
    free(path);
    dw_buffer_free(&b);
    return status;
}
