/* fake_shoot.h: invented shot tables and surveys with exact truth, without any picture: the ground
 * under the tests of `decide`. Light after the sun's altitude, a camera that follows it in third
 * stops with hysteresis, errors per setting and per shot, tiles with photon and read noise, and
 * disturbances on request. Deterministic in its seed. */
#ifndef DW_TESTS_FAKE_SHOOT_H
#define DW_TESTS_FAKE_SHOOT_H

#include <daywheel/decide.h>

struct fake_params {
    unsigned seed;
    int frames;
    double interval_s, start_utc; /* mid-exposure of the first shot */
    struct dw_site site;
    int cols, rows;
    double pixels;        /* green samples a tile */
    bool contacts;        /* the lens tells its aperture, and closes it anew each time */
    double setting_error; /* stops rms, of each shutter time and of each ISO */
    double jitter;        /* stops rms a shot */
    double aperture_jitter;
    double foliage;    /* stops rms a shot of seven tenths of the ground's tiles */
    double cloud;      /* 0..1 cover by broken cloud with a moving shadow */
    double headlights; /* share of night shots */
    double headlight_stops;
    double headlight_colour; /* stops by which it is red and not blue, for each stop of its light */
    double veil;    /* of a passing car's light, on the sky: even, as a longer exposure would be */
    double dark_dn; /* dark current of half a minute at ISO 800, which the black leaves in */
    double black_drift;   /* DN, largest untold shift of black */
    double moonrise_utc;  /* 0: no moon */
    double night_lux;     /* airglow, starlight and a distant town */
    double moonlight;     /* of what the real moon gives; 0: none */
    double ridge_utc;     /* sun comes over a ridge then; 0: never */
    double fog_end_utc;   /* fog, over everything a little differently, thins out and ends then */
    double bank_utc;      /* a bank of cloud, over everything a little differently, comes in over 12
                           * shots, stays for as long and goes out; 0: never */
    double lamps_utc;     /* lamps go on; 0: never */
    double black_jitter;  /* DN, untold shift of black anew in each shot, up to this */
    double channel_error; /* stops rms of red and blue against green, per shutter time */
    double stop_down;     /* stops that the lens closes by as the day grows */
    double shading;       /* stops lost in the corner wide open; two fifths of it when closed */
    double glow;          /* stops by which red grows against green, and blue falls, at sunset */
    int no_record_every;  /* every so many shots lacks its record; 0: none */
    bool no_records;
    int wrong_iso_first, wrong_iso_last; /* shots whose ISO is recorded a third too high */
    int drop_first, drop_last;           /* shots that are missing from the table */
    double interval_change;              /* factor on the interval in the second half; 0: 1 */
    bool flat;                           /* the same light for ever */
    double extra_stops;                  /* on all light */
};
struct fake_params fake_defaults(unsigned seed);

struct fake_shoot {
    struct fake_params params;
    struct dw_shots shots;
    struct dw_survey survey;
    double *error; /* true exposure error of each shot: positive when brighter than recorded */
    double *black; /* untold shift of black, DN */
    double *alt;   /* sun altitude, degrees */
    float *light;  /* log2 of each tile's true light, n*tiles */
    double (*colour)[2]; /* true errors of red and blue of each shot's settings, stops */
    double *corner;      /* stops lost in the corner */
    bool *spoiled;       /* headlights in it, or a record that is wrong */
};
struct fake_shoot fake_make(const struct fake_params *params);
void fake_free(struct fake_shoot *f);
/* The same shoot, told from its end. */
struct fake_shoot fake_reversed(const struct fake_shoot *f);

/* What decide says of it at its site, by its defaults. A test that it refuses, or warns of, ends
 * there as failed. */
struct dw_decision fake_decide(const struct fake_shoot *f);

/* What a cubic through seven neighbours leaves of the middle one, v[3] (Savitzky & Golay 1964,
 * Anal. Chem. 36, 1627); and the rms of that over n values in a row. */
double fake_rest_of_seven(const double *v);
double fake_fast_rms(const double *v, size_t n);

/* rms of estimate - truth over shots without spoil whose sun altitude lies in low..high, after a
 * cubic through 7 neighbours is taken off. Only runs of seven shots of equal spacing count. */
double fake_steadying_error(const struct fake_shoot *f, const double *estimate, double low,
                            double high);
/* Correlation of what is left of estimate and truth after the same cubics. */
double fake_correlation(const struct fake_shoot *f, const double *estimate, double low,
                        double high);
/* rms of second differences x[i]-(x[i-1]+x[i+1])/2 of estimate - truth over the same shots. */
double fake_hf(const struct fake_shoot *f, const double *estimate, double low, double high);

#endif
