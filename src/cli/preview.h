/* preview.h: a few small frames on one sheet, before the long run. */
#ifndef DW_CLI_PREVIEW_H
#define DW_CLI_PREVIEW_H

#include "cli/settings.h"
#include "cli/terminal.h"

/* Writes OUT/preview.jpg and touches nothing else there. Returns the exit status. */
int dw_preview(const struct dw_settings *s, const char *const *input, size_t n,
               struct dw_terminal *t);

/* Which of n shots to show: `wanted` of them, spread over the sun's altitudes, four times as close
 * around the crossover night..day, where a look decides. alt: degrees, NAN for a shot that cannot
 * be shown. chosen: room for `wanted` indices, ascending and distinct. Returns how many. */
size_t dw_preview_choose(const double *alt, size_t n, double night, double day, size_t wanted,
                         size_t *chosen);

#endif
