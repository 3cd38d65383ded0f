/*
 * params.h - everything that can be asked of an invented shoot, with units.
 *
 * One flat struct, filled from one option table (options.c); a scene preset (scenes.c) is nothing
 * but a line of options applied before those of the command line.
 */
#ifndef DWI_PARAMS_H
#define DWI_PARAMS_H

#include <stdint.h>

enum dwi_compress { DWI_NONE, DWI_LJPEG };
enum dwi_lens { DWI_RECTILINEAR, DWI_EQUIDISTANT, DWI_STEREOGRAPHIC, DWI_EQUISOLID };
enum dwi_view { DWI_OUTDOOR, DWI_WINDOW, DWI_TARGET };

struct dwi_params {
    /* the run */
    char scene[32];
    char out[512];
    uint64_t seed;
    int frames;
    double interval_s;
    double start_jitter; /* seconds, each exposure begins up to so much late */
    char start[40];      /* UTC, ISO 8601 */
    int width, height;
    int compress; /* enum dwi_compress */
    int jobs;
    int only_first, only_last; /* 1-based frame indices to write; 0,0 = all */
    /* the place */
    double lat_deg, lon_deg, height_m;
    double aim_az_deg;  /* of the optical axis, from the azimuth of the raised pole, east of it + */
    double aim_alt_deg; /* of the optical axis */
    double roll_deg;    /* camera turned clockwise as seen from behind it */
    int refraction;
    /* the lens */
    int lens;          /* enum dwi_lens */
    double focal_mm;   /* on a sensor 36 mm wide */
    double k1, k2;     /* r = f g(theta) (1 + k1 theta^2 + k2 theta^4) */
    double vignetting; /* stops lost in the corner */
    double psf_px;     /* full width at half maximum of a star, mosaic pixels */
    double lens_blur;  /* of everything, stars too, mosaic pixels rms */
    int contacts;      /* FNumber and FocalLength recorded */
    double f_number;
    /* the light */
    double night_lx; /* moonless floor */
    double town_lx;  /* light of a distant town on the ground, 0 = none */
    double town_az_deg;
    int moon; /* scene has a moon */
    int stars;
    double star_limit; /* faintest magnitude */
    double milky_way;  /* luminance of its ridge, cd/m2 */
    int lamps;         /* lit windows at night */
    double ridge_deg;  /* height of the obstruction whose shadow line sweeps the ground, 0 = none */
    int view;          /* enum dwi_view */
    /* things that move */
    double foliage;     /* stops, rms of a tile */
    double meadow;      /* 0..1 about the share of the near grass that flutters as well */
    double cloud_cover; /* 0..1 share of broken cloud */
    double wind;        /* of the clouds, m/s */
    int people;         /* figures walking about by day */
    double aircraft;    /* trails per night frame */
    double headlights;  /* share of night frames */
    double fog;         /* optical thickness of a standing mist over the far ground */
    /* the camera */
    int camera_program;       /* 1 = follows the light, 0 = fixed at slowest_k */
    int fastest_k, slowest_k; /* shutter = 2^(k/3) s */
    int iso_max_k;            /* highest ISO = 100 2^(k/3) */
    double hysteresis;        /* stops */
    double meter_noise;       /* stops */
    double bias;              /* stops, exposure compensation of the program */
    double setting_error;     /* stops rms, fixed per shutter, per ISO, per aperture */
    double jitter;            /* stops rms per exposure */
    double aperture_jitter;   /* stops rms per exposure, lens with an electronic aperture */
    double setting_colour;    /* stops rms of red and of blue beside green, per shutter, per ISO */
    double colour_jitter;     /* the same per exposure */
    double stop_down;         /* stops, how far the program closes the lens in bright light */
    int true_times;           /* 1 = shutter runs at 2^(k/3); 0 = at the marked time */
    int bits, black, white;
    double gain_dn;     /* DN per electron at ISO 100 */
    double read_e;      /* read noise before the amplifier, electrons */
    double read_dn;     /* read noise behind the amplifier, DN */
    double dark_e;      /* dark current, electrons per second */
    double hot_share;   /* share of pixels that are hot */
    double dead_share;  /* share of pixels that see no light */
    double black_drift; /* DN, largest untold shift of the black level */
    double black_hours; /* it wanders over so many hours; 0: each exposure anew */
    double prnu;        /* pixel response non-uniformity, rms share */
    double column_dn;   /* fixed column pattern, DN rms */
    char bayer[8];      /* e.g. RGGB */
    int orientation;    /* Exif orientation the camera writes */
    /* the record */
    int gps, offset_tag, subsec, apex;
    double utc_offset_h; /* of the camera clock */
    double clock_error_s;
    int first_number;
    int cards;         /* folders the frames are split over */
    char faults[1024]; /* CODE@A[-B][*AMOUNT] separated by spaces, see README.md */
};

/** Defaults: a clear 26 h shoot in the north. */
void dwi_params_default(struct dwi_params *p);

/**
 * Set one option by its name.
 * Returned: 0, or -1 with a message in err naming the option, the value and the range.
 */
int dwi_params_set(struct dwi_params *p, const char *name, const char *value, char *err,
                   int err_size);

/** Apply a preset. Returned: 0, or -1 with a message naming the scenes there are. */
int dwi_params_scene(struct dwi_params *p, const char *name, char *err, int err_size);

/** Print the option table and the scenes. */
void dwi_params_help(void);

/** Print all options in force as name=value lines, so that a shoot can be made again. */
void dwi_params_print(const struct dwi_params *p, void *file);

struct dwi_scene {
    const char *name, *what, *options;
};
extern const struct dwi_scene dwi_scenes[];

#endif
