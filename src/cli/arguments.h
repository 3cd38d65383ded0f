/* arguments.h: the command line of one command, after the GNU conventions. */
#ifndef DW_CLI_ARGUMENTS_H
#define DW_CLI_ARGUMENTS_H

#include "cli/options.h"

/* Reads the words behind the command's name into *s and the SHOTS into *inputs (malloc'd array
 * of pointers into argv). Defaults first, then the settings file, then the command line.
 * --name=value and --name value; short flags may be clustered; -- ends the options; options and
 * SHOTS may be mixed; a lone - is an input. After --help or --version nothing else is checked.
 * Errors: DW_ERR_USAGE, DW_ERR_IO (settings file), DW_ERR_MEMORY. *s is valid in any case. */
enum dw_status dw_arguments_read(int argc, char *const *argv, unsigned command,
                                 struct dw_settings *s, const char ***inputs, size_t *n_inputs,
                                 struct dw_error *err);

#endif
