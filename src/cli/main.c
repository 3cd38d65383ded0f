/* main.c: finds the command, reads its options, runs it. */
#include "cli/cmd.h"
#include "cli/help.h"
#include "cli/signals.h"
#include "cli/terminal.h"

#include "base/text.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* Ends a run that printed what was asked for; a full disk or closed pipe is a failure too. */
static int printed(void)
{
    if (fflush(stdout) == 0 && !ferror(stdout))
        return DW_EXIT_DONE;
    if (errno != EPIPE)
        fprintf(stderr, "daywheel: error: standard output: %s\n", strerror(errno));
    return DW_EXIT_NOTHING;
}

static int wrong(struct dw_terminal *t, const char *text, const char *command)
{
    dw_terminal_message(t, DW_ERROR, text);
    fprintf(stderr, "`daywheel %s%s--help` shows how it is used.\n", command, *command ? " " : "");
    return DW_EXIT_WRONG;
}

static int unknown_command(struct dw_terminal *t, const char *word)
{
    char shown[200], text[600];
    dw_text_clean(shown, sizeof shown, word, strlen(word));
    const struct dw_command *near = dw_command_nearest(word);
    if (word[0] == '-')
        snprintf(text, sizeof text,
                 "'%s' stands where the command is expected; write `daywheel "
                 "render %s ...`",
                 shown, shown);
    else if (near)
        snprintf(text, sizeof text, "there is no command '%s'; did you mean `daywheel %s`?", shown,
                 near->name);
    else if (access(word, F_OK) == 0)
        snprintf(text, sizeof text,
                 "'%s' is a file or folder, and a command is expected before "
                 "it; did you mean `daywheel render %s -o out`?",
                 shown, shown);
    else
        snprintf(text, sizeof text, "there is no command '%s'; the commands are render and survey",
                 shown);
    return wrong(t, text, "");
}

static int run_command(const struct dw_command *c, int argc, char **argv, struct dw_terminal *t)
{
    struct dw_settings settings;
    struct dw_error err;
    const char **input;
    size_t n_inputs;
    enum dw_status status =
        dw_arguments_read(argc, argv, (unsigned)c->bit, &settings, &input, &n_inputs, &err);
    int code;
    if (status < 0)
        code = wrong(t, err.text, c->name);
    else if (settings.help) {
        dw_help_command(stdout, c);
        code = printed();
    } else if (settings.version) {
        dw_help_version(stdout);
        code = printed();
    } else {
        dw_terminal_open(t, settings.quiet, settings.verbose);
        code = c->bit == DW_CMD_RENDER ? dw_cmd_render(&settings, input, n_inputs, t)
                                       : dw_cmd_survey(&settings, input, n_inputs, t);
    }
    free(input);
    dw_settings_free(&settings);
    return code;
}

int main(int argc, char **argv)
{
    /* LibRaw reads clocks in the machine's time zone, through mktime: make that zone UTC, before
     * any thread starts. */
    setenv("TZ", "UTC0", 1);
    dw_signals_open();
    struct dw_terminal t;
    dw_terminal_open(&t, false, false);

    const char *word = argc > 1 ? argv[1] : "";
    if (argc < 2) {
        dw_help_short(stderr);
        return DW_EXIT_WRONG;
    }
    bool help = strcmp(word, "help") == 0;
    if (strcmp(word, "--help") == 0 || strcmp(word, "-h") == 0 || (help && argc == 2)) {
        dw_help_general(stdout);
        return printed();
    }
    if (strcmp(word, "--version") == 0 || strcmp(word, "-V") == 0) {
        dw_help_version(stdout);
        return printed();
    }
    const struct dw_command *c = dw_command_named(help ? argv[2] : word);
    if (!c)
        return unknown_command(&t, help ? argv[2] : word);
    if (help) {
        dw_help_command(stdout, c);
        return printed();
    }
    int code = run_command(c, argc - 2, argv + 2, &t);
    dw_signals_reraise();
    return code;
}
