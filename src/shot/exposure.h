/* exposure.h: from what a camera wrote about an exposure to what it did. */
#ifndef DW_SHOT_EXPOSURE_H
#define DW_SHOT_EXPOSURE_H

#include <daywheel/shot.h>

/* How a camera's clockwork relates to its marks. */
enum dw_timing {
    DW_TIMING_STEPS, /* runs the true power of two behind the mark: 32 s for 30 s */
    DW_TIMING_EXACT  /* runs the mark itself */
};

/* A record as read; NAN where nothing usable was written. */
struct dw_exposure_record {
    double shutter_s, tv, f_number, iso;
};

/* What the APEX value beside a shutter mark says: +1 true steps, -1 exact, 0 it cannot tell
 * (absent, or the mark is too near its step). */
int dw_exposure_hint(const struct dw_exposure_record *r);

/* True if the shutter time is a mark or a step of the third-stop series; false also without a
 * record. A camera that times freely betrays itself by many that are not. */
bool dw_exposure_on_series(double shutter_s);

/* Fills the exposure fields of a shot. Values that cannot be (0, negative, NAN, beyond 1e-7..1e6 s,
 * ISO 0.1..1e8, f/0.3..f/512) count as not recorded; an unknown aperture is 1 for the arithmetic.
 */
void dw_exposure_fill(struct dw_shot *shot, const struct dw_exposure_record *r,
                      enum dw_timing timing);

#endif
