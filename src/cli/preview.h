/* preview.h: a few small frames on one sheet, before the long run. */
#ifndef DW_CLI_PREVIEW_H
#define DW_CLI_PREVIEW_H

#include "cli/settings.h"
#include "cli/terminal.h"

/* Writes OUT/preview.jpg and touches nothing else there. Returns the exit status. */
int dw_preview(const struct dw_settings *s, const char *const *input, size_t n,
               struct dw_terminal *t);

/* Keeps one evening or one morning: of the two stretches over which the sun rises without turning
 * on either side of the darkest shot, the one that reaches higher; all others become NAN, so that
 * the columns of a sheet follow each other as in the sky. Does nothing where that stretch has fewer
 * than `wanted` shots. */
void dw_preview_one_flank(double *alt, size_t n, size_t wanted);
/* Which of n shots to show: `wanted` of them, spread over the sun's altitudes, four times as close
 * around the crossover night..day, where a look decides. alt: degrees, NAN for a shot that cannot
 * be shown. chosen: room for `wanted` indices, ascending and distinct. Returns how many. */
size_t dw_preview_choose(const double *alt, size_t n, double night, double day, size_t wanted,
                         size_t *chosen);

#endif
