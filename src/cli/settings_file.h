/* settings_file.h: settings as an INI file, read and written. */
#ifndef DW_CLI_SETTINGS_FILE_H
#define DW_CLI_SETTINGS_FILE_H

#include "cli/options.h"

/* Puts what the file says into *s. Every error names file and line: an unknown key (with the
 * nearest right one), a key that stands twice, a value outside its range, a line that is none.
 * Errors: DW_ERR_USAGE, DW_ERR_IO, DW_ERR_MEMORY. */
enum dw_status dw_settings_file_read(const char *path, struct dw_settings *s, struct dw_error *err);

/* Writes DIR/settings.ini: all settings that shape the result, each with its help, in a form that
 * dw_settings_file_read reads back to the same values. What only concerns the run (jobs, scratch,
 * output, ...) is not recorded, so that every machine and every share of a run writes the same
 * bytes. site, utc_offset_s: what was in force where the settings leave it to the frames. */
enum dw_status dw_settings_file_write(const char *dir, const struct dw_settings *s,
                                      const double site[2], int utc_offset_s, struct dw_error *err);

#endif
