/* person.h: what a person says of shots with --drop and --keep. */
#ifndef DW_CLI_PERSON_H
#define DW_CLI_PERSON_H

#include "cli/settings.h"

/* One word a shot, malloc'd. A name says more than a stretch of time, so that one good shot can
 * be kept out of a bad hour.
 * Errors: DW_ERR_USAGE (an entry means no shot, or both options mean one alike), DW_ERR_MEMORY. */
enum dw_status dw_person_asked(const struct dw_settings *s, const struct dw_shots *shots,
                               enum dw_word **word, struct dw_error *err);

#endif
