/* score.h: a finished run held against the truth of an invented shoot. */
#ifndef DW_SCORE_H
#define DW_SCORE_H

#include <stdbool.h>
#include <stddef.h>

/* What is known of one invented shot, joined with the ledger's row for it. */
struct score_shot {
    char name[64], faults[96];        /* truth */
    double mid_unix;                  /* truth: middle of the exposure */
    bool slight;                      /* truth: a creeping fault too weak for its code */
    double alt_deg, error_stops;      /* truth */
    double light_stops;               /* truth: scene light */
    double ev100;                     /* truth: of the settings, powers of two */
    double iso, shutter_s;            /* truth: settings, powers of two */
    double red_error, blue_error;     /* truth: beside green, stops */
    double vignetting;                /* truth: stops lost in the corner */
    bool headlights;                  /* truth: passing cars light the picture */
    bool in_ledger, use;              /* ledger */
    double ledger_alt, flicker, gain; /* ledger; NAN if empty */
    double sigma;                     /* judgement.csv: of flicker; NAN if empty */
    double own_black;                 /* frames.csv: black beside that of the facts, DN */
    double black_shift;               /* DN: black by both less that of the file */
    long frame;                       /* ledger; 0 if none */
    double red_fix, blue_fix; /* frames.csv: what is put right, stops; 0 if not shown alone */
    double shade[2];          /* frames.csv: light is lifted by [0] r^2 + [1] r^4 stops */
    char found[96];           /* ledger: fault codes */
};

struct score_patch {
    int number, x, y, w, h; /* mosaic pixels */
    bool ground, sky;       /* else lit by lamps, or a patch of the colour target */
    /* per shot, NAN where clipped: mean green above black without noise, DN; and the light that
     * made it, cd/m2 */
    double *dn, *light;
};

enum { SCORE_COLS = 30, SCORE_ROWS = 20 }; /* tiles of the grids of lightness */

struct score_truth {
    size_t n_shots, n_patches;
    struct score_shot *shot;
    struct score_patch *patch;
    int width, height, turn_deg; /* of the mosaic; clockwise to upright */
    double black_dn;
    bool has_room, room[SCORE_COLS * SCORE_ROWS]; /* tiles that show the room about a window */
    bool room_at_all[SCORE_COLS * SCORE_ROWS];    /* that show any of it */
    char scene[40];
};

/* Reads SHOOT/truth, OUT/ledger.csv and OUT/frames.csv. Says what is wrong on stderr and returns
 * false. */
bool score_read(const char *shoot, const char *out, struct score_truth *t);
void score_free(struct score_truth *t);
/* The shot of this file name (without folders); NULL: none. hint: where to look first. */
struct score_shot *score_find_shot(const struct score_truth *t, const char *name, size_t hint);

/* Stops by which a shot's light is lifted at squared distance r2 from the middle, 1 in the corner;
 * of a patch: in its middle. */
double score_lift(const struct score_shot *s, double r2);
double score_patch_r2(const struct score_truth *t, const struct score_patch *p);

/* In the truth without fault, in use, and not lit by passing cars, which no still patch survives.
 */
bool score_clean(const struct score_shot *s);

/* Part of the day: 0 day (sun above 0), 1 twilight, 2 night (below -15 degrees). */
int score_part(double alt_deg);

/* x minus a cubic through the 7 values around each (Savitzky & Golay 1964, Analytical Chemistry
 * 36, 1627: weights -2 3 6 7 6 3 -2 over 21); NAN where one of the 7 is missing. out: n values. */
void score_minus_cubic(const double *x, size_t n, double *out);

/* Each prints its part of the report. */
void score_steadiness(const struct score_truth *t);
void score_judgement(const struct score_truth *t);
void score_settings(const struct score_truth *t);
bool score_pictures(const struct score_truth *t, const char *out);
/* Renders once more with the truth in place of what was found, to OUT/exact. */
bool score_exact(const struct score_truth *t, const char *shoot, const char *out);

/* Stars of the darkest frame, if it is a night's; list: a line for each. */
void score_stars(const struct score_truth *t, const char *shoot, const char *out, bool list);

/* A finished frame of sRGB pixels, rgb to be freed. */
struct score_picture {
    int width, height;
    unsigned char *rgb;
};
bool score_read_frame(const char *out, long frame, struct score_picture *p);
/* Mean linear R, G, B of a patch, one pixel inside its edges; false: it is too small. */
bool score_patch_rgb(const struct score_truth *t, const struct score_patch *q,
                     const struct score_picture *p, double rgb[3]);
/* IEC 61966-2-1: linear light of a code. */
double score_linear(unsigned char code);

#endif
