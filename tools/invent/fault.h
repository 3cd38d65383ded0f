/*
 * fault.h - faults asked for, shot by shot.
 */
#ifndef DWI_FAULT_H
#define DWI_FAULT_H

/* codes of the ledger, and how the file is damaged where it is unreadable */
enum dwi_damage { DWI_SOUND, DWI_TRUNCATED, DWI_EMPTY, DWI_ZEROED, DWI_WRONG_MAGIC, DWI_FLIPPED };

/* What creeps on is called a fault from here on; below it, a person would not see it. */
#define DWI_SOFT_PX 1.0
#define DWI_HAZE 0.6
#define DWI_CLOUD 0.4
#define DWI_REFLECTION 0.5 /* of the light that it lies over */
#define DWI_DROPS 0.02     /* of the picture is covered */

struct dwi_faults {
    int damage;         /* enum dwi_damage */
    int no_exposure;    /* shutter and ISO are not recorded */
    int missing;        /* the file is not written: a gap before the next one */
    double off_stops;   /* bright +, dark -: exposure grossly wrong, and recorded as it was */
    double flash;       /* strength of a brief light over the near ground, times the scene's */
    double soft_px;     /* blur, standard deviation in mosaic pixels */
    double haze;        /* optical thickness of fog over the far ground */
    double cloud;       /* opacity of a passing bank, 0..1 */
    double ghost;       /* peak luminance of a lamp's mirror image in the pane, cd/m2 */
    int ghost_id;       /* which one: its place and shape */
    double ghost_share; /* of the light that it lies over; found by the plan */
    double drops, drops_amount; /* on the lens: how far grown, 0..1; how large they get */
    double drops_cover;         /* share of the picture; found by the plan */
    double moved_x, moved_y;    /* pixels, this shot and all later ones unless shake */
    int bump;                   /* the camera was moved before this shot, or shakes in it */
};

/**
 * Reads "CODE@A[-B][*AMOUNT] ..." for a shoot of n frames into f[n]; A and B are frame numbers
 * from 1, or shares of the shoot like 40%. Status: 0; -1 with a message in err.
 */
int dwi_faults_parse(const char *text, int n, struct dwi_faults *f, char *err, int err_size);

/** Ledger codes of a shot separated by blanks, "" if none. gap = a frame before it is missing. */
void dwi_faults_names(const struct dwi_faults *f, int gap, char *out, int size);

#endif
