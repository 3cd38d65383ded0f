/* help.c: see help.h. */
#include "cli/help.h"

#include <string.h>

#define WIDTH 80
#define HELP_COLUMN 30

static int columns(const char *text, size_t n)
{
    int count = 0;
    for (size_t i = 0; i < n; i++)
        count += ((unsigned char)text[i] & 0xC0) != 0x80; /* not a UTF-8 continuation */
    return count;
}

void dw_help_wrap(FILE *out, const char *text, int at, int indent, int width)
{
    if (at > indent) {
        fputc('\n', out);
        at = 0;
    }
    fprintf(out, "%*s", indent - at, "");
    at = indent;
    while (*text) {
        size_t n = strcspn(text, " ");
        int wide = columns(text, n);
        if (at > indent && at + 1 + wide > width) {
            fprintf(out, "\n%*s", indent, "");
            at = indent;
        } else if (at > indent) {
            fputc(' ', out);
            at++;
        }
        fwrite(text, 1, n, out);
        at += wide;
        text += n;
        text += strspn(text, " ");
    }
    fputc('\n', out);
}

void dw_help_spelling(const struct dw_option *o, char *out, size_t n)
{
    char letter[8] = "";
    if (o->letter)
        snprintf(letter, sizeof letter, "-%c, ", o->letter);
    snprintf(out, n, "%s--%s%s%s", letter, o->name, o->form ? "=" : "", o->form ? o->form : "");
}

static void show_option(FILE *out, const struct dw_option *o)
{
    char spelling[80], help[300];
    dw_help_spelling(o, spelling, sizeof spelling);
    bool plain = o->kind == DW_OPT_FLAG;
    snprintf(help, sizeof help, plain ? "%s" : "%s (default: %s)", o->help, o->standard);
    int at = o->letter ? 2 : 6;
    fprintf(out, "%*s%s", at, "", spelling);
    at += columns(spelling, strlen(spelling));
    if (at == HELP_COLUMN) /* leave room between the two */
        at = HELP_COLUMN + 1;
    dw_help_wrap(out, help, at, HELP_COLUMN, WIDTH);
}

static void show_examples(FILE *out, const struct dw_command *c)
{
    for (const struct dw_example *e = c->examples; e->line; e++) {
        fprintf(out, "  daywheel %s\n", e->line);
        dw_help_wrap(out, e->says, 0, 6, WIDTH);
    }
}

void dw_help_command(FILE *out, const struct dw_command *c)
{
    fprintf(out, "Usage: daywheel %s %s\n\n", c->name, c->usage);
    dw_help_wrap(out, c->more, 0, 0, WIDTH);
    fprintf(out, "\nExamples (shoot stands for the folder with your frames):\n");
    show_examples(out, c);
    for (int group = 0; group < DW_GROUP_COUNT; group++) {
        fprintf(out, "\n%s:\n", dw_group_title[group]);
        for (size_t i = 0; i < dw_option_count; i++)
            if ((int)dw_options[i].group == group && (dw_options[i].commands & c->bit))
                show_option(out, &dw_options[i]);
    }
    fprintf(out, "\n");
    dw_help_wrap(
        out,
        "Exit status: 0 done; 1 nothing made; 2 the command line is wrong; 3 done, but some "
        "frames were faulty and were left out or bridged.",
        0, 0, WIDTH);
    fprintf(out, "`man daywheel` says more about every option.\n");
}

void dw_help_general(FILE *out)
{
    fprintf(out, "Usage: daywheel COMMAND [OPTION]... SHOTS... -o DIR\n\n");
    dw_help_wrap(out,
                 "Turns the RAW frames of one fixed camera, left out for a day and a night or "
                 "longer, into one smooth sequence that looks right in daylight and under the "
                 "stars.",
                 0, 0, WIDTH);
    fprintf(out, "\nCommands:\n");
    for (size_t i = 0; i < dw_command_count; i++)
        fprintf(out, "  %-10s %s\n", dw_commands[i].name, dw_commands[i].help);
    fprintf(out, "\nTo begin with (shoot stands for the folder with your frames):\n");
    for (int i = 0; i < 2; i++) {
        fprintf(out, "  daywheel %s\n", dw_commands[0].examples[i].line);
        dw_help_wrap(out, dw_commands[0].examples[i].says, 0, 6, WIDTH);
    }
    fprintf(out, "\n`daywheel COMMAND --help` lists the options, `man daywheel` says more.\n"
                 "`daywheel --version` tells the versions of daywheel and its libraries.\n");
}

void dw_help_short(FILE *out)
{
    fprintf(out, "Usage: daywheel COMMAND [OPTION]... SHOTS... -o DIR\n\n  daywheel %s\n",
            dw_commands[0].examples[0].line);
    dw_help_wrap(out, dw_commands[0].examples[0].says, 0, 6, WIDTH);
    fprintf(out, "\n`daywheel --help` says more.\n");
}
