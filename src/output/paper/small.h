/* small.h: a shot as a small JPEG in memory, for pages that carry their pictures with them. */
#ifndef DW_OUTPUT_SMALL_H
#define DW_OUTPUT_SMALL_H

#include <daywheel/output.h>

struct dw_small {
    size_t shot, like;    /* like: as of dw_sheet_picture */
    int longest, quality; /* what is wanted: longest side in pixels, JPEG quality */
    int width, height;
    unsigned char *jpeg; /* NULL where there is no picture: then why[] says it */
    size_t n;
    char why[80];
};

/* Makes all pictures, with run->jobs workers; the same bytes for any number. Items without
 * `longest` are left out. Errors: DW_ERR_MEMORY, DW_ERR_INTERRUPTED. */
enum dw_status dw_small_make(const struct dw_shots *shots, const struct dw_survey *survey,
                             const struct dw_decision *d, const struct dw_look_params *look,
                             const struct dw_run *run, struct dw_small *item, size_t n,
                             struct dw_error *err);
void dw_small_free(struct dw_small *item, size_t n);

#endif
