/* decide.h: stage three. From the shot table and the survey, never from a RAW: the facts of the
 * whole shoot, a judgement of every shot (ledger) and an instruction for every output frame. */
#ifndef DAYWHEEL_DECIDE_H
#define DAYWHEEL_DECIDE_H

#include <daywheel/base.h>
#include <daywheel/shot.h>
#include <daywheel/sky.h>
#include <daywheel/survey.h>

#ifdef __cplusplus
extern "C" {
#endif

/* Faults of a shot, bits. Names: dw_fault_name(). */
enum dw_fault {
    DW_UNREADABLE = 1 << 0,
    DW_NO_EXPOSURE = 1 << 1,
    DW_GAP = 1 << 2,
    DW_BRIGHT = 1 << 3,
    DW_DARK = 1 << 4,
    DW_FLASH = 1 << 5,
    DW_SOFT = 1 << 6,
    DW_HAZE = 1 << 7,
    DW_CLOUD = 1 << 8,
    DW_MOVED = 1 << 9,
    DW_REFLECTION = 1 << 10
};
#define DW_FAULT_COUNT 11
/* The code of bit `1 << i` as written in documents, e.g. "no-exposure"; NULL beyond the last. */
const char *dw_fault_name(int i);

/* Black and white level of one class of settings, shared by all its shots. */
struct dw_levels {
    double iso, shutter_s;    /* class: recorded true ISO; geometric mean of its shutter times */
    float black[3], white;    /* DN */
    float read_dn, photon_dn; /* noise: var = read_dn^2 + photon_dn * light, DN^2; 0 unknown */
};

/* The law of light against sun altitude: a cubic B-spline on uniform knots. */
struct dw_law {
    double first_deg, step_deg; /* altitude of the first knot interval, spacing */
    int n;                      /* coefficients */
    double *coef;               /* stops (log2 cd/m^2) */
};

struct dw_hot {
    uint16_t x, y; /* mosaic pixel, sensor orientation */
};

/* What is cut off the mosaic, pixels, so that no border shows where the camera was bumped; whole
 * cells of the pattern. */
struct dw_crop {
    int left, top, right, bottom;
};

/* A star that came back again and again, at the shoot's own equinox. */
struct dw_star {
    double ra_deg, dec_deg;
    float share;  /* of the shots that had it in their frame, and in which it was told from noise */
    float colour; /* blue over red in the zenith, balanced camera colours; 0: not known */
    float light;  /* in the zenith, of green, beside the faintest of the prominent ones */
};

/* Tiles of the mosaic of which is known whether sky is in them. */
#define DW_OPEN_COLS 60
#define DW_OPEN_ROWS 40

/* Light that does not go with the sun, as a town's glow: by how many stops each place of the mosaic
 * rises beside the key from dusk to night, sensor orientation. */
#define DW_HOLD_COLS 30
#define DW_HOLD_ROWS 20
struct dw_hold_facts {
    double night_key; /* output level of the key where the line is lowest; 0: nothing is held */
    float rise[DW_HOLD_ROWS][DW_HOLD_COLS];
};

/* What was learnt from the whole shoot. Everything `render` needs beside a frame-list row. */
struct dw_facts {
    char survey_id[33];
    struct dw_site site;
    int utc_offset_s;
    double interval_s;
    double night_deg, day_deg;                 /* the crossover's sun altitudes */
    double balance_night_deg, balance_day_deg; /* and those of the colour balance */

    int mosaic_width, mosaic_height, turn_deg;
    struct dw_crop crop; /* sensor orientation */
    size_t n_levels;
    struct dw_levels *levels;
    size_t n_hot;
    struct dw_hot *hot; /* hot or dead, sorted by y, then x */

    float white_mul[3];   /* camera multipliers that make the chosen white neutral; green 1 */
    float cam_to_wide[9]; /* balanced camera RGB to linear BT.2020, rows sum to 1 */
    float night_mul[3];   /* further balance under the stars, BT.2020 RGB, luminance kept */
    float night_sky[3];   /* the night sky's colour before that, BT.2020 RGB; green 1 */
    float night_sky_keys; /* its level in keys: below foreground no star stands out of less */
    float night_noise;    /* relative noise of the night sky at half size */

    struct dw_aim aim; /* how the camera saw the sky where it stood for most of the shoot */
    size_t n_stars;    /* and what it saw there; none where that is not known */
    struct dw_star *star;
    uint8_t open[DW_OPEN_ROWS][DW_OPEN_COLS]; /* 1: stars were seen there; sensor orientation */

    struct dw_hold_facts hold;

    struct dw_law law;
    double day_light_stops; /* light at the reference altitude that the line starts from */
};

/* What became of a shot. */
enum dw_done {
    DW_DONE_SHOWN,   /* it has a frame */
    DW_DONE_SPARE,   /* it may be shown, but no frame needs it: closer together than the frames */
    DW_DONE_BRIDGED, /* left out; the frame in its place is made from its neighbours */
    DW_DONE_LEFT_OUT /* left out, and no frame in its place: the hole is too long, or at an end */
};

/* One shot, judged. Columns of ledger.csv; see docs/formats.md. */
struct dw_ledger_row {
    uint32_t frame; /* output number, 0 = none */
    double utc_s;   /* mid-exposure */
    double sun_alt_deg;
    double luminance_stops; /* log2 cd/m^2 of the scene's key; NAN unknown */
    double flicker_stops;   /* exposure error found; positive: brighter than its record */
    double flicker_sigma;   /* standard deviation of what it is beside its neighbours; slow
                             * drifts, which nobody sees, are not in it */
    double left_stops; /* what is left of it beside its neighbours: a second difference, whose rms
                        * over sqrt(1.5) is a standard deviation from frame to frame; NAN unknown */
    double gain_stops; /* what rendering applies in all */
    double day_weight;
    uint32_t faults;         /* enum dw_fault bits */
    double severity;         /* 0..1 of the worst fault */
    uint32_t worst;          /* that fault's bit, of which `reason` tells; 0 unknown */
    uint32_t missing_before; /* shots that the camera did not take before this one */
    bool put_right;          /* it was displaced, and rendering puts it back */
    bool use;
    bool verdict;     /* whether the program by itself would use it, without a person's word */
    char reason[200]; /* a plain sentence, empty without fault */
    enum dw_done done;
    uint32_t bridge[2];      /* shots that its place is bridged from; equal: that one again */
    uint32_t bridged_before; /* frames made before this one for shots that are missing */
};

#define DW_MAX_SOURCES 4
/* One source of an output frame. */
struct dw_source {
    uint32_t shot;           /* index into the shot table */
    float weight;            /* of all sources: sums to 1 */
    double gain_stops;       /* log2 factor on (DN-black)/(white-black) that brings the key to 1 */
    float chroma[3];         /* factors on camera R, G, B beside the gain (1 each: none) */
    double turn_deg;         /* of the sky about the pole; 0: none */
    double shift_x, shift_y; /* how far the camera's view was displaced, mosaic pixels, sensor
                              * orientation, x right, y down: render puts it back */
    double roll_deg;         /* and turned about the frame's middle, clockwise */
    double shade[2]; /* stops by which light is lifted: [0] r^2 + [1] r^4, r from the mosaic's
                      * middle, 1 in its corners */
    double black_dn; /* by which this shot's black lies above that of its class, DN */
    double sky_deg;  /* sidereal angle of the site then, by which the facts' stars stand in the
                      * picture; NAN: they do not, or not known */
    double green[4]; /* how green stands to red and blue in the light of its sun altitude, for where
                      * green is lost: how far that is known, 0 to 1; and with x = log2 red / blue,
                      * balanced, log2 green / sqrt(red blue) = [1] + [2] x + [3] x^2 */
    double lamps; /* how far light that burns out and ends at an edge may be a lamp's, 0 to 1: not
                   * by day, when it is as white as it looks */
};

/* One output frame's instruction. Columns of frames.csv. */
struct dw_frame {
    uint32_t number; /* from 1, consecutive */
    double utc_s;
    double sun_alt_deg;
    int n_sources;
    struct dw_source source[DW_MAX_SOURCES];
    double key;     /* linear output level, 0..1, that the scene's key is pinned to */
    double day;     /* weight of the day curve, 0..1 */
    double balance; /* weight of the day balance, 0..1 */
    double stars;   /* weight of the star lift, 0..1 */
};

/* A person's word about a shot, by file name. */
enum dw_word { DW_WORD_NONE, DW_WORD_USE, DW_WORD_DROP };

struct dw_line_params { /* brightness line; docs/method/brightness.md gives the law */
    double key_day;     /* linear output level of the key by full day */
    double key_night;   /* and at the darkest */
    double depth_stops; /* scene stops between the two */
    double softness_stops;
};
#define DW_LINE_DEFAULTS                                                                           \
    {                                                                                              \
        0.235, 0.0140, 25.0, 1.5                                                                   \
    }

struct dw_decide_params {
    bool has_site;
    struct dw_site site; /* else from the shots' GPS tags */
    bool has_utc_offset;
    int utc_offset_s; /* else from the shots' tags, else judged from the light */
    double night_deg, day_deg;
    double steady;            /* share of real fast changes of light that is calmed, 0..1 */
    const enum dw_word *word; /* per shot, or NULL */
    struct dw_line_params line;
    bool few;   /* a few shots far apart (a preview): none is judged by the levels of the others */
    double fps; /* frames a second at which the sequence will be shown: for the visibility figure
                   alone */
    bool has_white;             /* else daylight of 6504 K, D65, is white */
    double white_k, white_tint; /* the light that is white: kelvin, 1500 to 25000; thousandths of
                                 * Duv beside it, -50 to 50, positive: a greener light */
};
#define DW_DECIDE_DEFAULTS                                                                         \
    {                                                                                              \
        false, {0, 0, 0}, false, 0, -12.0, -3.0, 0.5, NULL, DW_LINE_DEFAULTS, false, 30, false, 0, \
            0                                                                                      \
    }

/* Standard deviation of errors that are independent from frame to frame, stops, by part of the day;
 * NAN where no frame is. docs/formats.md says how it is measured. */
struct dw_flicker {
    double all, day, twilight, night;
};

/* What one setting of the camera does to colours and to the lens' shading, beside its other
 * settings; taken off every shot that has it. Standard deviations have in them what all settings of
 * a kind share, which nobody sees jump. */
enum dw_setting_kind { DW_SHUTTER, DW_ISO, DW_APERTURE };
#define DW_SETTING_KINDS 3
struct dw_setting_error {
    enum dw_setting_kind kind;
    double value;          /* s, ISO, f-number */
    double red, red_sigma; /* stops, beside green: positive is too strong */
    double blue, blue_sigma;
    double corner, corner_sigma; /* stops, light in the corner beside the middle */
};

struct dw_decision {
    struct dw_facts facts;
    size_t n_shots;
    struct dw_ledger_row *ledger; /* one a shot, in the shot table's order */
    size_t n_frames;
    struct dw_frame *frame;
    struct dw_flicker before, after;
    size_t n_settings; /* of those that do anything, in the order in which they were used */
    struct dw_setting_error *setting;
    double fps, flicker_threshold; /* so much flicker is just seen at that rate, stops */
};

/* Decides everything about a shoot. Reads no RAW; no global state; deterministic.
 * Errors: DW_ERR_USAGE (no site: the text says how to give one), DW_ERR_EMPTY (no usable shot),
 * DW_ERR_MEMORY, DW_ERR_NUMERIC. */
enum dw_status dw_decide(const struct dw_shots *shots, const struct dw_survey *survey,
                         const struct dw_decide_params *params, const struct dw_run *run,
                         struct dw_decision *out, struct dw_error *err);
/* Where the camera stood: `given` unless NULL, else the median of the shots' GPS tags, which one
 * bad fix does not move. DW_ERR_USAGE without either (the text says how to give one). dw_decide
 * calls it; call it before a long survey to fail early. */
enum dw_status dw_find_site(const struct dw_shots *shots, const struct dw_site *given,
                            struct dw_site *out, struct dw_error *err);
void dw_facts_free(struct dw_facts *facts);
void dw_decision_free(struct dw_decision *d);

/* The weight of `daytime` between two sun altitudes: 0 below night, 1 above day, the fifth-order
 * smoothstep 6x^5-15x^4+10x^3 between, continuous with two derivatives. */
double dw_crossover(double alt_deg, double night_deg, double day_deg);

/* Stops by which a frame's key gives way to the light that stars add, which come out as the sun
 * sinks: 0.12 from -24 degrees on, 0 down to -12, whatever the crossover's altitudes are. */
double dw_star_room(double alt_deg);

/* The levels of a shot's class; never NULL for facts with at least one class. */
const struct dw_levels *dw_facts_levels(const struct dw_facts *facts, const struct dw_shot *shot);

#ifdef __cplusplus
}
#endif
#endif
