/* cmd.h: the commands, one file each. Each returns the program's exit status. */
#ifndef DW_CLI_CMD_H
#define DW_CLI_CMD_H

#include "cli/settings.h"
#include "cli/terminal.h"

/* What outside programs may rely on; see docs. */
enum dw_exit {
    DW_EXIT_DONE = 0,
    DW_EXIT_NOTHING = 1, /* nothing made, or not finished */
    DW_EXIT_WRONG = 2,   /* the command line is wrong */
    DW_EXIT_FAULTS = 3   /* done, but faulty frames were left out or bridged */
};

int dw_cmd_render(const struct dw_settings *s, const char *const *input, size_t n,
                  struct dw_terminal *t);
int dw_cmd_survey(const struct dw_settings *s, const char *const *input, size_t n,
                  struct dw_terminal *t);

#endif
