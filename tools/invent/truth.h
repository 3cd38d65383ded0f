/*
 * truth.h - the tables of what is true about a shoot, written beside its frames.
 */
#ifndef DWI_TRUTH_H
#define DWI_TRUTH_H

#include "frame.h"
#include "sensor.h"

/** A rectangle of one kind of subject, in the unshifted mosaic. */
struct dwi_patch {
    int x, y, w, h;
    char kind[16]; /* ground, sky, target-N */
};
enum { DWI_PATCHES = 40, DWI_CHANNELS = 4 }; /* red, green of red rows, green of blue rows, blue */

/** What one shot really sent to a patch. */
struct dwi_patch_truth {
    float light[DWI_CHANNELS];    /* mean, cd/m2 (frame.h), lens shading not included */
    float dn[DWI_CHANNELS];       /* mean expected above the stated black */
    float variance[DWI_CHANNELS]; /* expected variance of the mean of dn, DN^2 */
    float clipped;                /* share expected at white */
};

/** Chooses patches. Returned: how many. */
int dwi_patches_choose(const struct dwi_stage *st, struct dwi_patch *patch);

/** Measures the truth of all patches of one shot on its noiseless light. */
void dwi_patches_measure(const struct dwi_stage *st, const struct dwi_sensor *sensor,
                         const struct dwi_shot *shot, const float *light,
                         const struct dwi_patch *patch, int n, struct dwi_patch_truth *out);

/** Writes the tables into folder. truth[i * n_patches + j] for frame i; frames not drawn have
 *  light < 0 and are left out of patch tables. Status: 0; -1 with errno set. */
int dwi_truth_write(const char *folder, const struct dwi_stage *st, const struct dwi_sensor *sensor,
                    const struct dwi_shot *shots, const struct dwi_patch *patch, int n_patches,
                    const struct dwi_patch_truth *truth);

#endif
