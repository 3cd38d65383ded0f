/* help.h: what --help prints, all of it from the tables of options and commands. */
#ifndef DW_CLI_HELP_H
#define DW_CLI_HELP_H

#include "cli/commands.h"

#include <stdio.h>

void dw_help_general(FILE *out);
void dw_help_command(FILE *out, const struct dw_command *c);
/* A few lines for somebody who gave no command. */
void dw_help_short(FILE *out);
/* Versions of daywheel and of the libraries that it runs with. */
void dw_help_version(FILE *out);

/* Prints text in lines of at most `width` columns, each with `indent` blanks; the first begins
 * at column `at`. Columns count characters, not bytes. */
void dw_help_wrap(FILE *out, const char *text, int at, int indent, int width);
/* "-o, --output=DIR" as shown for an option, without a value for a flag. */
void dw_help_spelling(const struct dw_option *o, char *out, size_t n);

#endif
