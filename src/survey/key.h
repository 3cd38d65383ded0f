/* key.h: what a shot is known by in the survey file and in the scratch. */
#ifndef DW_SURVEY_KEY_H
#define DW_SURVEY_KEY_H

#include <daywheel/survey.h>

#include "base/hash.h"

/* Size, time, head and name of the file, not its folder: a shoot may be moved. */
struct dw_hash128 dw_shot_key(const struct dw_shot *shot);

#endif
