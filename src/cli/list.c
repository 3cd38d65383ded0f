/* list.c: see list.h. */
#include "cli/list.h"

#include "base/atomic_file.h"
#include "base/text.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define LARGEST_FILE ((size_t)1 << 20) /* bytes: some thousand names; this is not a list */
#define MOST_ENTRIES 5000
#define LONGEST_ENTRY 1000 /* bytes; a file name ends at 255 */

static bool is_there(const struct dw_strings *list, const char *entry)
{
    for (size_t i = 0; i < list->n; i++)
        if (strcmp(list->v[i], entry) == 0)
            return true;
    return false;
}

static enum dw_status add_entry(struct dw_strings *list, const char *where, const char *entry,
                                struct dw_error *err)
{
    if (is_there(list, entry))
        return DW_OK;
    if (list->n >= MOST_ENTRIES)
        return dw_fail(err, DW_ERR_USAGE,
                       "%s: more than %d entries; give a stretch of time instead", where,
                       MOST_ENTRIES);
    if (!dw_strings_add(list, entry))
        return dw_fail(err, DW_ERR_MEMORY, "%s: no memory for its value", where);
    return DW_OK;
}

/* A line of a file as one entry: text that stays itself wherever an entry can stand. */
static void escape(const char *line, size_t n, char out[4 * LONGEST_ENTRY + 1])
{
    char clean[4 * LONGEST_ENTRY + 1];
    dw_text_clean(clean, sizeof clean, line, n);
    char *to = out, *end = out + 4 * LONGEST_ENTRY - 4;
    for (const char *c = clean; *c && to < end; c++) {
        if (*c == ',' || *c == ';' || (c == clean && (*c == '@' || *c == '#' || *c == '-')))
            to += sprintf(to, "\\x%02x", (unsigned char)*c);
        else
            *to++ = *c;
    }
    *to = '\0';
}

static enum dw_status add_line(struct dw_strings *list, const char *where, const char *path,
                               int number, const char *line, size_t n, struct dw_error *err)
{
    char entry[4 * LONGEST_ENTRY + 1];
    while (n > 0 && (line[n - 1] == '\r' || line[n - 1] == ' ' || line[n - 1] == '\t'))
        n--;
    while (n > 0 && (*line == ' ' || *line == '\t'))
        line++, n--;
    if (n == 0 || *line == '#')
        return DW_OK;
    const char *wrong = memchr(line, '\0', n) ? "holds binary data"
                        : n > LONGEST_ENTRY   ? "is longer than any file name"
                                              : NULL;
    if (wrong)
        return dw_fail(err, DW_ERR_USAGE,
                       "%s: %s:%d: %s; expected one file name or stretch of time on each line",
                       where, path, number, wrong);
    escape(line, n, entry);
    return add_entry(list, where, entry, err);
}

static enum dw_status add_file(struct dw_strings *list, const char *where, const char *path,
                               struct dw_error *err)
{
    char *data;
    size_t n;
    struct dw_error why;
    enum dw_status status = dw_read_whole(path, LARGEST_FILE, &data, &n, &why);
    if (status < 0)
        return dw_fail(err, status == DW_ERR_MEMORY ? status : DW_ERR_USAGE, "%s: %s", where,
                       why.text);
    const char *c = data, *end = data + n;
    if (n >= 3 && memcmp(c, "\xEF\xBB\xBF", 3) == 0)
        c += 3; /* the mark of byte order that some editors put in front */
    for (int number = 1; c < end && status >= 0; number++) {
        const char *stop = memchr(c, '\n', (size_t)(end - c));
        stop = stop ? stop : end;
        status = add_line(list, where, path, number, c, (size_t)(stop - c), err);
        c = stop + 1;
    }
    free(data);
    return status;
}

enum dw_status dw_list_add(struct dw_strings *list, const char *where, const char *value,
                           struct dw_error *err)
{
    enum dw_status status = DW_OK;
    for (const char *c = value; status >= 0;) {
        size_t n = strcspn(c, ",");
        char *part = strndup(c, n);
        if (!part)
            return dw_fail(err, DW_ERR_MEMORY, "%s: no memory for its value", where);
        char clean[4 * LONGEST_ENTRY + 1];
        dw_text_clean(clean, sizeof clean, part, n);
        if (n > LONGEST_ENTRY || clean[0] == '\0')
            status = dw_fail(err, DW_ERR_USAGE,
                             "%s '%.200s': %s; expected file names, stretches of local time such "
                             "as 03:10-04:40, or @FILE with one a line, with commas between",
                             where, value, n > LONGEST_ENTRY ? "too long" : "an empty entry");
        else if (clean[0] == '@')
            status = add_file(list, where, strchr(part, '@') + 1, err);
        else
            status = add_entry(list, where, clean, err);
        free(part);
        c += n;
        if (*c == '\0')
            break;
        c++;
    }
    return status;
}

bool dw_list_show(const struct dw_strings *list, char *out, size_t n)
{
    size_t used = 0;
    for (size_t i = 0; i < list->n; i++) {
        size_t need = strlen(list->v[i]) + 1;
        if (used + need > n)
            return false;
        used += (size_t)snprintf(out + used, n - used, "%s%s", i ? "," : "", list->v[i]);
    }
    return list->n > 0;
}
