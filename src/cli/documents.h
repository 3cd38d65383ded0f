/* documents.h: documents for people and shells, made from the tables when daywheel is built. */
#ifndef DW_CLI_DOCUMENTS_H
#define DW_CLI_DOCUMENTS_H

#include <stdio.h>

/* The manual page: the hand-written template with its lines @COMMANDS@, @OPTIONS@, @EXAMPLES@
 * replaced, and @VERSION@ anywhere. Returns 0, or 1 with a message. */
int dw_manual_write(FILE *template_file, FILE *out);
/* Completions for three shells. */
void dw_completion_bash(FILE *out);
void dw_completion_zsh(FILE *out);
void dw_completion_fish(FILE *out);

#endif
