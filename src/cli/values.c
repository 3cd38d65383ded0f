/* values.c: the values of options as text: reading, writing, what is wrong with them. */
#include "cli/options.h"

#include "base/text.h"
#include "cli/list.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* A plain decimal number at *p, which moves behind it. strtod alone would take "nan", "inf" and
 * hexadecimal as well. */
static bool read_number(const char **p, double *v)
{
    char plain[64], *end;
    const char *c = *p + strspn(*p, " ");
    size_t n = strspn(c, "+-.0123456789eE");
    if (n == 0 || n >= sizeof plain)
        return false;
    memcpy(plain, c, n);
    plain[n] = '\0';
    *v = strtod(plain, &end);
    if (end == plain || !isfinite(*v))
        return false;
    c += end - plain;
    *p = c + strspn(c, " ");
    return true;
}

static bool read_whole(const char **p, double *v)
{
    return read_number(p, v) && *v == floor(*v) && fabs(*v) < 1e9;
}

/* Two numbers with `separator` between and nothing behind. */
static bool read_two(const char *text, char separator, bool whole, double v[2])
{
    bool (*read)(const char **, double *) = whole ? read_whole : read_number;
    if (!read(&text, &v[0]) || *text != separator)
        return false;
    text++;
    return read(&text, &v[1]) && *text == '\0';
}

/* What is wrong with a value, for people; returns false so that readers can end with it. */
struct why {
    char text[200];
};

static bool outside(struct why *why, const char *part, double v, struct dw_range range)
{
    snprintf(why->text, sizeof why->text, "%s%s%.10g is outside %.10g to %.10g", part ? part : "",
             part ? " " : "", v, range.low, range.high);
    return false;
}

static bool in_range(const struct dw_option *o, int i, double v, struct why *why)
{
    if (v >= o->range[i].low && v <= o->range[i].high)
        return true;
    return outside(why, o->part[i], v, o->range[i]);
}

static bool set_flag(const char *text, bool *flag)
{
    static const char *const yes[] = {"yes", "on", "true", "1"};
    static const char *const no[] = {"no", "off", "false", "0"};
    for (size_t i = 0; i < 4; i++) {
        if (dw_text_same(text, yes[i]) || dw_text_same(text, no[i])) {
            *flag = dw_text_same(text, yes[i]);
            return true;
        }
    }
    return false;
}

static bool set_count(const struct dw_option *o, const char *text, int *at, struct why *why)
{
    double v;
    if (!read_whole(&text, &v) || *text != '\0' || !in_range(o, 0, v, why))
        return false;
    *at = (int)v;
    return true;
}

static bool set_real(const struct dw_option *o, const char *text, double *at, struct why *why)
{
    double v;
    if (!read_number(&text, &v) || *text != '\0' || !in_range(o, 0, v, why))
        return false;
    *at = v;
    return true;
}

static const struct dw_choice *find_choice(const struct dw_choice *choice, const char *text)
{
    for (; choice && choice->name; choice++)
        if (dw_text_same(choice->name, text))
            return choice;
    return NULL;
}

/* Words in any order, or "none"; one that stands twice is a slip. */
static bool set_words(const struct dw_option *o, const char *text, unsigned *at, struct why *why)
{
    unsigned bits = 0;
    bool none = dw_text_same(text, "none");
    while (!none) {
        char word[32];
        size_t n = strcspn(text, ",");
        if (n == 0 || n >= sizeof word)
            return false;
        memcpy(word, text, n);
        word[n] = '\0';
        const struct dw_choice *choice = find_choice(o->choices, word);
        if (!choice)
            return false;
        if (bits & 1u << choice->value) {
            snprintf(why->text, sizeof why->text, "%s stands twice", choice->name);
            return false;
        }
        bits |= 1u << choice->value;
        if (text[n] == '\0')
            break;
        text += n + 1;
    }
    *at = bits;
    return true;
}

static bool set_pair(const struct dw_option *o, const char *text, double at[2], struct why *why)
{
    double v[2];
    if (!read_two(text, ',', false, v) || !in_range(o, 0, v[0], why) || !in_range(o, 1, v[1], why))
        return false;
    if (o->kind == DW_OPT_RISING && v[0] >= v[1]) {
        snprintf(why->text, sizeof why->text,
                 v[0] > v[1] ? "%s %.10g is not below %s %.10g; did you mean %.10g,%.10g?"
                             : "%s %.10g is not below %s %.10g: the two need room between them",
                 o->part[0], v[0], o->part[1], v[1], v[1], v[0]);
        return false;
    }
    at[0] = v[0];
    at[1] = v[1];
    return true;
}

static bool set_open(const struct dw_option *o, const char *text, double at[2], struct why *why)
{
    double v[2] = {0, 0};
    if (strchr(text, ','))
        return set_pair(o, text, at, why);
    if (!read_number(&text, &v[0]) || *text != '\0' || !in_range(o, 0, v[0], why))
        return false;
    at[0] = v[0];
    at[1] = 0;
    return true;
}

static bool set_size(const struct dw_option *o, const char *text, struct dw_size *at,
                     struct why *why)
{
    const struct dw_choice *word = find_choice(o->choices, text);
    double v[2];
    if (word) {
        *at = (struct dw_size){(enum dw_size_kind)word->value, 0, 0};
        return true;
    }
    if ((!read_two(text, 'x', true, v) && !read_two(text, 'X', true, v)) ||
        !in_range(o, 0, v[0], why) || !in_range(o, 1, v[1], why))
        return false;
    *at = (struct dw_size){DW_SIZE_FIT, (int)v[0], (int)v[1]};
    return true;
}

/* +HH:MM or -HH:MM, ISO 8601 time shift; the sign must be there, it is the usual mistake. */
static bool set_offset(const struct dw_option *o, const char *text, int *at, struct why *why)
{
    int h, m, used = 0;
    if (sscanf(text, "%*1[+-]%2d:%2d%n", &h, &m, &used) != 2 || used != 6 || text[6] != '\0' ||
        strspn(text + 1, "0123456789:") != 5)
        return false;
    int seconds = (h * 60 + m) * 60 * (text[0] == '-' ? -1 : 1);
    if (m > 59) {
        snprintf(why->text, sizeof why->text, "an hour has no minute %d", m);
        return false;
    }
    if (seconds < o->range[0].low * 3600 || seconds > o->range[0].high * 3600) {
        snprintf(why->text, sizeof why->text, "it is outside %+03d:00 to %+03d:00",
                 (int)o->range[0].low, (int)o->range[0].high);
        return false;
    }
    *at = seconds;
    return true;
}

static bool set_share(const struct dw_option *o, const char *text, int at[2], struct why *why)
{
    double v[2];
    if (!read_two(text, '/', true, v) || !in_range(o, 1, v[1], why))
        return false;
    struct dw_range k = {1, v[1]};
    if (v[0] < k.low || v[0] > k.high)
        return outside(why, o->part[0], v[0], k);
    at[0] = (int)v[0];
    at[1] = (int)v[1];
    return true;
}

static bool set_text(const char *text, char **at, bool *no_memory)
{
    if (*text == '\0')
        return false;
    char *copy = strdup(text);
    *no_memory = copy == NULL;
    if (copy) {
        free(*at);
        *at = copy;
    }
    return copy != NULL;
}

enum dw_status dw_option_set(const struct dw_option *o, const char *where, const char *value,
                             struct dw_settings *s, struct dw_error *err)
{
    void *at = (char *)s + o->at;
    struct why why = {""};
    const struct dw_choice *choice;
    bool good = false, no_memory = false;
    switch (o->kind) {
    case DW_OPT_FLAG:
        good = set_flag(value, at);
        break;
    case DW_OPT_COUNT:
        good = set_count(o, value, at, &why);
        break;
    case DW_OPT_REAL:
        good = set_real(o, value, at, &why);
        break;
    case DW_OPT_CHOICE:
        choice = find_choice(o->choices, value);
        good = choice != NULL;
        if (good)
            *(int *)at = choice->value;
        break;
    case DW_OPT_WORDS:
        good = set_words(o, value, at, &why);
        break;
    case DW_OPT_TEXT:
    case DW_OPT_FOLDER:
    case DW_OPT_FILE:
        good = set_text(value, at, &no_memory);
        break;
    case DW_OPT_PAIR:
    case DW_OPT_RISING:
        good = set_pair(o, value, at, &why);
        break;
    case DW_OPT_OPEN:
        good = set_open(o, value, at, &why);
        break;
    case DW_OPT_SIZE:
        good = set_size(o, value, at, &why);
        break;
    case DW_OPT_OFFSET:
        good = set_offset(o, value, at, &why);
        break;
    case DW_OPT_SHARE:
        good = set_share(o, value, at, &why);
        break;
    case DW_OPT_LIST:
        return dw_list_add(at, where, value, err);
    }
    if (no_memory)
        return dw_fail(err, DW_ERR_MEMORY, "%s: no memory for its value", where);
    if (good) {
        if (o->has)
            *((bool *)(void *)((char *)s + o->has)) = true;
        return DW_OK;
    }
    char range[160], shown[200];
    dw_option_range_text(o, range, sizeof range);
    dw_text_clean(shown, sizeof shown, value, strlen(value));
    if (o->kind == DW_OPT_FLAG)
        return dw_fail(err, DW_ERR_USAGE, "%s '%s': expected yes or no, or nothing", where, shown);
    return dw_fail(err, DW_ERR_USAGE, "%s '%s': %s%sexpected %s%s%s%s, such as %s", where, shown,
                   why.text, why.text[0] ? "; " : "", o->means, range[0] ? " (" : "", range,
                   range[0] ? ")" : "", o->example);
}

void dw_option_clear(const struct dw_option *o, struct dw_settings *s)
{
    if (o->kind == DW_OPT_LIST)
        dw_strings_free((struct dw_strings *)(void *)((char *)s + o->at));
}

/* The shortest decimal that reads back as the same number. */
static void show_number(double v, char *out, size_t n)
{
    for (int digits = 6; digits <= 17; digits++) {
        snprintf(out, n, "%.*g", digits, v);
        if (strtod(out, NULL) == v)
            return;
    }
}

static const char *choice_name(const struct dw_choice *choice, int value)
{
    for (; choice->name; choice++)
        if (choice->value == value)
            return choice->name;
    return "?";
}

static void show_words(const struct dw_choice *choice, unsigned bits, char *out, size_t n)
{
    size_t used = 0;
    out[0] = '\0';
    for (; choice->name; choice++)
        if (bits & 1u << choice->value && used < n)
            used += (size_t)snprintf(out + used, n - used, "%s%s", used ? "," : "", choice->name);
    if (used == 0)
        snprintf(out, n, "none");
}

bool dw_option_show(const struct dw_option *o, const struct dw_settings *s, char *out, size_t n)
{
    const void *at = (const char *)s + o->at;
    if (o->has && !*((const bool *)(const void *)((const char *)s + o->has)))
        return false;
    char a[32], b[32];
    switch (o->kind) {
    case DW_OPT_FLAG:
        snprintf(out, n, "%s", *(const bool *)at ? "yes" : "no");
        return true;
    case DW_OPT_COUNT:
        snprintf(out, n, "%d", *(const int *)at);
        return *(const int *)at >= o->range[0].low;
    case DW_OPT_REAL:
        show_number(*(const double *)at, out, n);
        return true;
    case DW_OPT_CHOICE:
        snprintf(out, n, "%s", choice_name(o->choices, *(const int *)at));
        return true;
    case DW_OPT_WORDS:
        show_words(o->choices, *(const unsigned *)at, out, n);
        return true;
    case DW_OPT_TEXT:
    case DW_OPT_FOLDER:
    case DW_OPT_FILE:
        if (*(char *const *)at == NULL)
            return false;
        return (size_t)snprintf(out, n, "%s", *(char *const *)at) < n;
    case DW_OPT_PAIR:
    case DW_OPT_RISING:
    case DW_OPT_OPEN:
        show_number(((const double *)at)[0], a, sizeof a);
        show_number(((const double *)at)[1], b, sizeof b);
        snprintf(out, n, "%s,%s", a, b);
        return true;
    case DW_OPT_SIZE: {
        const struct dw_size *size = at;
        if (size->kind == DW_SIZE_FIT)
            snprintf(out, n, "%dx%d", size->width, size->height);
        else
            snprintf(out, n, "%s", choice_name(o->choices, (int)size->kind));
        return true;
    }
    case DW_OPT_OFFSET: {
        int m = abs(*(const int *)at) / 60;
        snprintf(out, n, "%c%02d:%02d", *(const int *)at < 0 ? '-' : '+', m / 60, m % 60);
        return true;
    }
    case DW_OPT_SHARE:
        snprintf(out, n, "%d/%d", ((const int *)at)[0], ((const int *)at)[1]);
        return true;
    case DW_OPT_LIST:
        return dw_list_show(at, out, n);
    }
    return false;
}

static void add_text(char *out, size_t n, const char *text)
{
    size_t used = strlen(out);
    snprintf(out + used, n - used, "%s", text);
}

void dw_option_range_text(const struct dw_option *o, char *out, size_t n)
{
    char text[80];
    out[0] = '\0';
    if (o->kind == DW_OPT_OFFSET) {
        snprintf(out, n, "%+03d:00 to %+03d:00", (int)o->range[0].low, (int)o->range[0].high);
        return;
    }
    if (o->kind == DW_OPT_SHARE) {
        snprintf(out, n, "1 <= K <= N <= %.10g", o->range[1].high);
        return;
    }
    for (int i = 0; i < 2; i++) {
        if (o->range[i].low >= o->range[i].high)
            continue;
        snprintf(text, sizeof text, "%s%s%s%.10g to %.10g", i > 0 ? ", " : "",
                 o->part[i] ? o->part[i] : "", o->part[i] ? " " : "", o->range[i].low,
                 o->range[i].high);
        add_text(out, n, text);
    }
    if (o->kind != DW_OPT_CHOICE && o->kind != DW_OPT_WORDS)
        return;
    for (const struct dw_choice *c = o->choices; c->name; c++) {
        add_text(out, n,
                 c == o->choices           ? ""
                 : c[1].name               ? ", "
                 : o->kind == DW_OPT_WORDS ? " and "
                                           : " or ");
        add_text(out, n, c->name);
    }
}
