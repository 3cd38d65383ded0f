/* picture.h: what a shot looks like on a contact sheet. */
#ifndef DW_OUTPUT_PICTURE_H
#define DW_OUTPUT_PICTURE_H

#include <daywheel/decide.h>
#include <daywheel/render.h>
#include <daywheel/survey.h>

/* Develops the survey's thumbnail of shot i as its own frame would be, or, for a shot that has
 * none, as the nearest frame by its exposure record: a shot that is spoiled in spite of its record
 * looks spoiled. like: another shot whose frame and exposure it is developed with instead, so that
 * its own exposure shows; i: none. longest: its longest side is made no longer than that, pixels;
 * 0: as it was kept. look: NULL for the default. Thread-safe. False, with *why filled, when there
 * is no picture to show. Free with dw_image_free. */
bool dw_sheet_picture(const struct dw_shots *shots, const struct dw_survey *survey,
                      const struct dw_decision *d, size_t i, size_t like,
                      const struct dw_look_params *look, int longest, struct dw_image *out,
                      char why[80]);

#endif
