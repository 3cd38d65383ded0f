/* manual.c: the manual page in the man(7) language. See documents.h. */
#include "cli/commands.h"
#include "cli/documents.h"

#include <daywheel/base.h>

#include <string.h>

/* Text made safe for roff: dashes that can be pasted, back-quoted words in bold. */
static void put(FILE *out, const char *text)
{
    bool bold = false;
    if (*text == '.' || *text == '\'')
        fputs("\\&", out);
    for (; *text; text++) {
        if (*text == '-')
            fputs("\\-", out);
        else if (*text == '\\')
            fputs("\\e", out);
        else if (strncmp(text, "±", strlen("±")) == 0) {
            fputs("\\(+-", out);
            text += strlen("±") - 1;
        } else if (*text == '`') {
            bold = !bold;
            fputs(bold ? "\\fB" : "\\fR", out);
        } else
            fputc(*text, out);
    }
}

static void put_line(FILE *out, const char *text)
{
    put(out, text);
    fputc('\n', out);
}

static void put_option(FILE *out, const struct dw_option *o)
{
    fputs(".TP\n", out);
    if (o->letter)
        fprintf(out, "\\fB\\-%c\\fR, ", o->letter);
    fputs("\\fB\\-\\-", out);
    put(out, o->name);
    fputs("\\fR", out);
    if (o->form) {
        fputs("=\\fI", out);
        put(out, o->form);
        fputs("\\fR", out);
    }
    fputc('\n', out);
    char first[200], range[160];
    snprintf(first, sizeof first, "%c%s.",
             o->help[0] >= 'a' && o->help[0] <= 'z' ? o->help[0] - 32 : o->help[0], o->help + 1);
    put_line(out, first);
    if (o->more)
        put_line(out, o->more);
    if (o->kind == DW_OPT_FLAG)
        return;
    dw_option_range_text(o, range, sizeof range);
    if (range[0] && o->kind != DW_OPT_CHOICE) {
        fputs("Range: ", out);
        put(out, range);
        fputs(".\n", out);
    }
    fputs("Default: ", out);
    put(out, o->standard);
    fputs(".\n", out);
    if (o->commands == DW_CMD_RENDER)
        fputs("Only for \\fBrender\\fR.\n", out);
}

static void put_options(FILE *out)
{
    for (int group = 0; group < DW_GROUP_COUNT; group++) {
        fputs(".SS ", out);
        put_line(out, dw_group_title[group]);
        for (size_t i = 0; i < dw_option_count; i++)
            if ((int)dw_options[i].group == group)
                put_option(out, &dw_options[i]);
    }
}

static void put_commands(FILE *out)
{
    for (size_t i = 0; i < dw_command_count; i++) {
        fputs(".TP\n\\fBdaywheel ", out);
        put(out, dw_commands[i].name);
        fputs("\\fR ", out);
        put_line(out, dw_commands[i].usage);
        put_line(out, dw_commands[i].more);
    }
}

static void put_examples(FILE *out)
{
    for (size_t i = 0; i < dw_command_count; i++) {
        for (const struct dw_example *e = dw_commands[i].examples; e->line; e++) {
            char says[200];
            snprintf(says, sizeof says,
                     "%c%s:", e->says[0] >= 'a' && e->says[0] <= 'z' ? e->says[0] - 32 : e->says[0],
                     e->says + 1);
            fputs(".PP\n", out);
            put_line(out, says);
            fputs(".PP\n.in +4n\n.nf\ndaywheel ", out);
            put_line(out, e->line);
            fputs(".fi\n.in\n", out);
        }
    }
}

int dw_manual_write(FILE *template_file, FILE *out)
{
    static const struct {
        const char *mark;
        void (*put)(FILE *);
    } parts[] = {{"@COMMANDS@\n", put_commands},
                 {"@OPTIONS@\n", put_options},
                 {"@EXAMPLES@\n", put_examples}};
    bool seen[3] = {false, false, false};
    char line[1024];
    while (fgets(line, sizeof line, template_file)) {
        bool whole = true;
        for (size_t i = 0; i < 3; i++) {
            if (strcmp(line, parts[i].mark) == 0) {
                parts[i].put(out);
                seen[i] = true;
                whole = false;
            }
        }
        char *version = strstr(line, "@VERSION@");
        if (whole && version) {
            fwrite(line, 1, (size_t)(version - line), out);
            fprintf(out, "%s%s", dw_version(), version + strlen("@VERSION@"));
        } else if (whole)
            fputs(line, out);
    }
    for (size_t i = 0; i < 3; i++) {
        if (!seen[i]) {
            fprintf(stderr, "manual page: the template lacks the line %s", parts[i].mark);
            return 1;
        }
    }
    return 0;
}
