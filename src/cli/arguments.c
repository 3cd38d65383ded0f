/* arguments.c: see arguments.h. */
#include "cli/arguments.h"

#include "base/text.h"
#include "cli/settings_file.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* An option as written; all are collected before any takes effect, because the settings file
 * comes first wherever it is named. */
struct written {
    const struct dw_option *option;
    const char *value;
};

struct reader {
    int argc, at;
    char *const *argv;
    unsigned command;
    struct written *written;
    size_t n_written;
    const char **input;
    size_t n_inputs;
};

static enum dw_status unknown(const struct reader *r, const char *name, size_t n,
                              struct dw_error *err)
{
    char shown[80];
    dw_text_clean(shown, sizeof shown, name, n);
    const char *command = r->command == DW_CMD_SURVEY ? "survey" : "render";
    const struct dw_option *near = dw_option_nearest(name, n, r->command);
    if (near)
        return dw_fail(err, DW_ERR_USAGE, "there is no option --%s; did you mean --%s (%s)?", shown,
                       near->name, near->help);
    return dw_fail(err, DW_ERR_USAGE,
                   "there is no option --%s; `daywheel %s --help` lists those there are", shown,
                   command);
}

/* Notes one option. The value comes with it, or else is the next word. */
static enum dw_status note(struct reader *r, const struct dw_option *o, const char *as,
                           const char *value, struct dw_error *err)
{
    if ((o->commands & r->command) == 0)
        return dw_fail(err, DW_ERR_USAGE,
                       "%s is an option of `daywheel render`: %s; leave it out, or use that "
                       "command",
                       as, o->help);
    if (o->kind == DW_OPT_FLAG && !value)
        value = "yes";
    if (!value) {
        const char *next = r->at < r->argc ? r->argv[r->at] : NULL;
        bool is_option = next && strncmp(next, "--", 2) == 0;
        if (!next || is_option)
            return dw_fail(err, DW_ERR_USAGE, "%s needs a value: %s, such as %s %s%s%s", as,
                           o->means, as, o->example, is_option ? "; found the option " : "",
                           is_option ? next : "");
        value = next;
        r->at++;
    }
    r->written[r->n_written++] = (struct written){o, value};
    return DW_OK;
}

static enum dw_status read_long(struct reader *r, const char *word, struct dw_error *err)
{
    const char *name = word + 2;
    size_t n = strcspn(name, "=");
    const struct dw_option *o = dw_option_named(name, n);
    char as[80];
    if (!o)
        return unknown(r, name, n, err);
    snprintf(as, sizeof as, "--%s", o->name);
    return note(r, o, as, name[n] == '=' ? name + n + 1 : NULL, err);
}

/* A word such as -qv, -j2 or -o DIR. */
static enum dw_status read_letters(struct reader *r, const char *word, struct dw_error *err)
{
    for (const char *c = word + 1; *c; c++) {
        const struct dw_option *o = dw_option_lettered(*c);
        char as[8];
        if (!o) {
            char shown[16], whole[80];
            dw_text_clean(shown, sizeof shown, c, 1);
            dw_text_clean(whole, sizeof whole, word, strlen(word));
            const struct dw_option *near = dw_option_named(word + 1, strcspn(word + 1, "="));
            if (near)
                return dw_fail(err, DW_ERR_USAGE,
                               "there is no option -%s; did you mean --%s, with two dashes?",
                               word + 1, near->name);
            return dw_fail(err, DW_ERR_USAGE,
                           "there is no option -%s (in '%s'); `daywheel %s --help` lists those "
                           "there are; a file whose name begins with - is written ./%s",
                           shown, whole, r->command == DW_CMD_SURVEY ? "survey" : "render", whole);
        }
        snprintf(as, sizeof as, "-%c", *c);
        if (o->kind != DW_OPT_FLAG)
            return note(r, o, as, c[1] ? c + 1 : NULL, err);
        enum dw_status s = note(r, o, as, NULL, err);
        if (s < 0)
            return s;
    }
    return DW_OK;
}

static enum dw_status collect(struct reader *r, struct dw_error *err)
{
    bool options_ended = false;
    while (r->at < r->argc) {
        const char *word = r->argv[r->at++];
        enum dw_status s = DW_OK;
        if (!options_ended && strcmp(word, "--") == 0)
            options_ended = true;
        else if (!options_ended && strncmp(word, "--", 2) == 0)
            s = read_long(r, word, err);
        else if (!options_ended && word[0] == '-' && word[1] != '\0')
            s = read_letters(r, word, err);
        else if (word[0] == '\0')
            s = dw_fail(err, DW_ERR_USAGE,
                        "one of the SHOTS is an empty name; a variable of the "
                        "shell that is not set?");
        else
            r->input[r->n_inputs++] = word;
        if (s < 0)
            return s;
    }
    return DW_OK;
}

static bool first_of(const struct reader *r, size_t at)
{
    for (size_t i = 0; i < at; i++)
        if (r->written[i].option == r->written[at].option)
            return false;
    return true;
}

static enum dw_status apply(const struct reader *r, struct dw_settings *s, struct dw_error *err)
{
    for (size_t i = 0; i < r->n_written; i++) {
        char where[80];
        const struct dw_option *o = r->written[i].option;
        snprintf(where, sizeof where, "--%s", o->name);
        if (first_of(r, i)) /* the command line wins over the settings file as a whole */
            dw_option_clear(o, s);
        enum dw_status status = dw_option_set(o, where, r->written[i].value, s, err);
        if (status < 0)
            return status;
    }
    return DW_OK;
}

static const char *last_value(const struct reader *r, const char *name)
{
    for (size_t i = r->n_written; i-- > 0;)
        if (strcmp(r->written[i].option->name, name) == 0)
            return r->written[i].value;
    return NULL;
}

enum dw_status dw_arguments_read(int argc, char *const *argv, unsigned command,
                                 struct dw_settings *s, const char ***inputs, size_t *n_inputs,
                                 struct dw_error *err)
{
    dw_settings_default(s);
    *inputs = NULL;
    *n_inputs = 0;
    size_t letters = 1;
    for (int i = 0; i < argc; i++)
        letters += strlen(argv[i]) + 1; /* no word holds more options than letters */
    struct reader r = {.argc = argc, .argv = argv, .command = command};
    r.written = calloc(letters, sizeof *r.written);
    r.input = calloc((size_t)argc + 1, sizeof *r.input);
    enum dw_status status = DW_OK;
    if (!r.written || !r.input)
        status = dw_fail(err, DW_ERR_MEMORY, "no memory for the command line");
    else
        status = collect(&r, err);
    if (status >= 0 && (last_value(&r, "help") || last_value(&r, "version"))) {
        s->help = last_value(&r, "help") != NULL;
        s->version = !s->help;
        goto out;
    }
    if (status >= 0 && last_value(&r, "settings"))
        status = dw_settings_file_read(last_value(&r, "settings"), s, err);
    if (status >= 0)
        status = apply(&r, s, err);
    if (status >= 0)
        status = dw_settings_check(s, command, err);
    if (status >= 0 && r.n_inputs == 0)
        status =
            dw_fail(err, DW_ERR_USAGE,
                    "no SHOTS given: name the folder with the RAW frames, such as `daywheel %s "
                    "FOLDER -o out`",
                    command == DW_CMD_SURVEY ? "survey" : "render");
    if (status >= 0 && !s->output)
        status = dw_fail(err, DW_ERR_USAGE,
                         "no output folder given: say where to put what is made, such as -o out");
out:
    free(r.written);
    if (status < 0) {
        free(r.input);
        return status;
    }
    *inputs = r.input;
    *n_inputs = r.n_inputs;
    return status;
}
