/* commands.h: the table of commands, and what each does. */
#ifndef DW_CLI_COMMANDS_H
#define DW_CLI_COMMANDS_H

#include "cli/arguments.h"

struct dw_example {
    const char *line; /* as pasted into a shell, without "daywheel " */
    const char *says;
};

struct dw_command {
    const char *name;
    enum dw_command_bit bit;
    const char *usage;                 /* behind "daywheel NAME " */
    const char *help;                  /* one line */
    const char *more;                  /* a paragraph */
    const struct dw_example *examples; /* ended by a NULL line */
};

extern const struct dw_command dw_commands[];
extern const size_t dw_command_count;

const struct dw_command *dw_command_named(const char *name);
/* The command most likely meant, or NULL. */
const struct dw_command *dw_command_nearest(const char *name);

#endif
