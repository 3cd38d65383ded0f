/*
 * options.c - the one option table of daywheel-invent.
 */
#include "params.h"

#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum kind { K_INT, K_REAL, K_TEXT, K_U64, K_BOOL, K_NAME, K_PAIR, K_SIZE, K_SPAN, K_TRIPLE };

struct option {
    const char *name;
    enum kind kind;
    size_t at, size;
    double low, high;
    const char *names; /* K_NAME: choices separated by | */
    const char *help;
};

#define F(m) offsetof(struct dwi_params, m), sizeof(((struct dwi_params *)0)->m)

static const struct option table[] = {
    {"out", K_TEXT, F(out), 0, 0, NULL, "folder to write"},
    {"seed", K_U64, F(seed), 0, 0, NULL, "everything random follows from it"},
    {"frames", K_INT, F(frames), 1, 100000, NULL, "number of exposures"},
    {"interval", K_REAL, F(interval_s), 0.1, 86400, NULL, "seconds between their starts"},
    {"start-jitter", K_REAL, F(start_jitter), 0, 60, NULL, "seconds, a start is late by up to"},
    {"start", K_TEXT, F(start), 0, 0, NULL, "UTC of the first, 2025-03-28T12:00:00Z"},
    {"size", K_SIZE, F(width), 16, 20000, NULL, "mosaic, WxH"},
    {"compress", K_NAME, F(compress), 0, 1, "none|ljpeg", "how the DNG is packed"},
    {"jobs", K_INT, F(jobs), 0, 256, NULL, "threads; 0 = all cores"},
    {"only", K_SPAN, F(only_first), 0, 1e6, NULL,
     "write frames A-B only, 1-based; truth stays whole"},
    {"site", K_PAIR, F(lat_deg), -180, 180, NULL, "LAT,LON in degrees, north and east positive"},
    {"height", K_REAL, F(height_m), -500, 9000, NULL, "metres above the sea"},
    {"aim", K_TRIPLE, F(aim_az_deg), -360, 360, NULL,
     "AZ,ALT,ROLL of the axis; AZ from the pole's side, east positive"},
    {"refraction", K_BOOL, F(refraction), 0, 1, NULL, "stars lifted near the horizon"},
    {"lens", K_NAME, F(lens), 0, 3, "rectilinear|equidistant|stereographic|equisolid",
     "projection"},
    {"focal", K_REAL, F(focal_mm), 1, 1000, NULL, "mm, sensor 36 mm wide"},
    {"k1", K_REAL, F(k1), -1, 1, NULL, "distortion, r = f g (1 + k1 t^2 + k2 t^4)"},
    {"k2", K_REAL, F(k2), -1, 1, NULL, "distortion"},
    {"vignetting", K_REAL, F(vignetting), 0, 5, NULL, "stops lost in the corner"},
    {"psf", K_REAL, F(psf_px), 0.5, 20, NULL, "star width (FWHM), mosaic pixels"},
    {"lens-blur", K_REAL, F(lens_blur), 0, 5, NULL,
     "of everything, mosaic pixels rms; at least 0.7 where a bump is not of whole pixels"},
    {"contacts", K_BOOL, F(contacts), 0, 1, NULL, "lens tells its aperture"},
    {"f-number", K_REAL, F(f_number), 0.7, 64, NULL, "marked aperture"},
    {"night", K_REAL, F(night_lx), 1e-5, 10, NULL, "lux of a moonless night"},
    {"town", K_REAL, F(town_lx), 0, 10, NULL, "lux of a distant town"},
    {"town-az", K_REAL, F(town_az_deg), -360, 360, NULL, "its azimuth from the axis"},
    {"moon", K_BOOL, F(moon), 0, 1, NULL, "the scene has a moon"},
    {"stars", K_BOOL, F(stars), 0, 1, NULL, "the scene has stars"},
    {"star-limit", K_REAL, F(star_limit), 0, 9, NULL, "faintest magnitude"},
    {"milky-way", K_REAL, F(milky_way), 0, 1, NULL, "cd/m2 of its ridge"},
    {"lamps", K_BOOL, F(lamps), 0, 1, NULL, "lit windows at night"},
    {"ridge", K_REAL, F(ridge_deg), 0, 45, NULL, "degrees of the obstruction, shadow line sweeps"},
    {"view", K_NAME, F(view), 0, 2, "outdoor|window|target", "what the camera looks at"},
    {"foliage", K_REAL, F(foliage), 0, 2, NULL, "flutter of foliage tiles, stops rms"},
    {"meadow", K_REAL, F(meadow), 0, 1, NULL, "about the share of near grass that flutters too"},
    {"clouds", K_REAL, F(cloud_cover), 0, 1, NULL, "share of broken cloud"},
    {"wind", K_REAL, F(wind), 0, 50, NULL, "of the clouds, m/s"},
    {"people", K_INT, F(people), 0, 50, NULL, "figures walking about by day"},
    {"aircraft", K_REAL, F(aircraft), 0, 1, NULL, "share of night frames with a trail"},
    {"headlights", K_REAL, F(headlights), 0, 1, NULL, "share of night frames"},
    {"fog", K_REAL, F(fog), 0, 20, NULL, "optical thickness over the far ground"},
    {"program", K_BOOL, F(camera_program), 0, 1, NULL, "camera follows the light"},
    {"fastest-k", K_INT, F(fastest_k), -45, 30, NULL, "shortest exposure 2^(k/3) s"},
    {"slowest-k", K_INT, F(slowest_k), -45, 30, NULL, "longest exposure 2^(k/3) s"},
    {"iso-max-k", K_INT, F(iso_max_k), 0, 30, NULL, "highest ISO 100 2^(k/3)"},
    {"hysteresis", K_REAL, F(hysteresis), 0, 5, NULL, "stops before a setting changes"},
    {"meter-noise", K_REAL, F(meter_noise), 0, 2, NULL, "stops rms"},
    {"bias", K_REAL, F(bias), -5, 5, NULL, "exposure compensation, stops"},
    {"setting-error", K_REAL, F(setting_error), 0, 1, NULL, "stops rms per setting"},
    {"jitter", K_REAL, F(jitter), 0, 1, NULL, "stops rms per exposure"},
    {"aperture-jitter", K_REAL, F(aperture_jitter), 0, 1, NULL, "stops rms per exposure"},
    {"setting-colour", K_REAL, F(setting_colour), 0, 1, NULL,
     "red and blue beside green, stops rms per shutter and ISO"},
    {"colour-jitter", K_REAL, F(colour_jitter), 0, 1, NULL, "the same, per exposure"},
    {"stop-down", K_REAL, F(stop_down), 0, 6, NULL,
     "stops the lens closes by in bright light; shading lessens"},
    {"true-times", K_BOOL, F(true_times), 0, 1, NULL, "shutter runs at powers of two"},
    {"bits", K_INT, F(bits), 10, 16, NULL, "of the converter"},
    {"black", K_INT, F(black), 0, 8192, NULL, "DN"},
    {"white", K_INT, F(white), 500, 65535, NULL, "DN"},
    {"gain", K_REAL, F(gain_dn), 0.001, 100, NULL, "DN per electron at ISO 100"},
    {"read-e", K_REAL, F(read_e), 0, 100, NULL, "read noise before the amplifier, electrons"},
    {"read-dn", K_REAL, F(read_dn), 0, 100, NULL, "read noise behind it, DN"},
    {"dark", K_REAL, F(dark_e), 0, 100, NULL, "dark current, electrons per second"},
    {"hot", K_REAL, F(hot_share), 0, 0.1, NULL, "share of hot pixels"},
    {"dead", K_REAL, F(dead_share), 0, 0.1, NULL, "share of pixels that see no light"},
    {"black-drift", K_REAL, F(black_drift), 0, 50, NULL, "untold shift of black, DN"},
    {"black-hours", K_REAL, F(black_hours), 0, 100, NULL,
     "that shift wanders over so long; 0: each exposure anew"},
    {"prnu", K_REAL, F(prnu), 0, 0.2, NULL, "pixel response spread"},
    {"column", K_REAL, F(column_dn), 0, 20, NULL, "fixed column pattern, DN rms"},
    {"bayer", K_TEXT, F(bayer), 0, 0, NULL, "RGGB, BGGR, GRBG or GBRG"},
    {"orientation", K_INT, F(orientation), 1, 8, NULL, "1, 3, 6 or 8; the camera is turned so"},
    {"gps", K_BOOL, F(gps), 0, 1, NULL, "GPS tags"},
    {"offset-tag", K_BOOL, F(offset_tag), 0, 1, NULL, "OffsetTimeOriginal"},
    {"subsec", K_BOOL, F(subsec), 0, 1, NULL, "SubSecTimeOriginal"},
    {"apex", K_BOOL, F(apex), 0, 1, NULL, "ShutterSpeedValue of the true time"},
    {"utc-offset", K_REAL, F(utc_offset_h), -14, 14, NULL, "hours, camera clock"},
    {"clock-error", K_REAL, F(clock_error_s), -1e6, 1e6, NULL, "seconds, camera clock fast +"},
    {"first-number", K_INT, F(first_number), 0, 9999, NULL, "of the file names; wraps to 0001"},
    {"cards", K_INT, F(cards), 1, 2, NULL, "folders the frames are split over"},
    {"faults", K_TEXT, F(faults), 0, 0, NULL, "CODE@A[-B][*AMOUNT] ..., see README.md"},
};
static const int table_count = (int)(sizeof table / sizeof table[0]);

void dwi_params_default(struct dwi_params *p)
{
    *p = (struct dwi_params){
        .scene = "clear",
        .seed = 1,
        .frames = 781,
        .interval_s = 120,
        .start_jitter = 0.2,
        .start = "2025-03-28T12:00:00Z",
        .width = 900,
        .height = 600,
        .lat_deg = 46.4,
        .lon_deg = 8.1,
        .height_m = 1400,
        .aim_alt_deg = 20,
        .refraction = 1,
        .focal_mm = 16,
        .k1 = -0.03,
        .k2 = 0.004,
        .vignetting = 0.9,
        .psf_px = 1.9,
        .contacts = 1,
        .f_number = 2.8,
        .night_lx = 0.001,
        .stars = 1,
        .star_limit = 7.2,
        .milky_way = 1.2e-4,
        .lamps = 1,
        .wind = 6,
        .camera_program = 1,
        .fastest_k = -36,
        .slowest_k = 15,
        .iso_max_k = 9,
        .hysteresis = 0.4,
        .meter_noise = 0.02,
        .bias = 0.3,
        .setting_error = 0.03,
        .jitter = 0.007,
        .aperture_jitter = 0.03,
        .true_times = 1,
        .bits = 14,
        .black = 512,
        .white = 15000,
        .gain_dn = 0.24,
        .read_e = 2.2,
        .read_dn = 1.0,
        .dark_e = 0.005,
        .hot_share = 0.00025,
        .prnu = 0.004,
        .column_dn = 0.1,
        .bayer = "RGGB",
        .orientation = 1,
        .gps = 1,
        .offset_tag = 1,
        .subsec = 1,
        .utc_offset_h = 1,
        .first_number = 1,
        .cards = 1,
    };
}

static int fail(char *err, int n, const struct option *o, const char *value)
{
    if (o->kind == K_NAME)
        snprintf(err, (size_t)n, "option %s: '%s' is none of %s", o->name, value, o->names);
    else
        snprintf(err, (size_t)n, "option %s: '%s' is not a value from %g to %g (%s)", o->name,
                 value, o->low, o->high, o->help);
    return -1;
}

/* Index of value among "a|b|c", or -1. */
static int name_index(const char *names, const char *value)
{
    size_t len = strlen(value);
    for (int i = 0; *names; i++) {
        size_t n = strcspn(names, "|");
        if (n == len && !strncmp(names, value, n))
            return i;
        names += n + (names[n] == '|');
    }
    return -1;
}

/* Reads up to n numbers separated by sep; all must be there and in range. */
static int numbers(const char *s, int sep, int n, double low, double high, double *v)
{
    for (int i = 0; i < n; i++) {
        char *end;
        v[i] = strtod(s, &end);
        if (end == s || !(v[i] >= low && v[i] <= high) || (i < n - 1 && *end != sep) ||
            (i == n - 1 && *end))
            return -1;
        s = end + 1;
    }
    return 0;
}

static int set(struct dwi_params *p, const struct option *o, const char *value)
{
    char *at = (char *)p + o->at;
    double v[3];
    switch (o->kind) {
    case K_TEXT:
        if (strlen(value) >= o->size)
            return -1;
        strcpy(at, value);
        return 0;
    case K_U64: {
        char *end;
        *(uint64_t *)(void *)at = strtoull(value, &end, 10);
        return *value && !*end ? 0 : -1;
    }
    case K_BOOL: {
        int on = name_index("off|on|0|1|no|yes", value);
        *(int *)(void *)at = on & 1;
        return on < 0 ? -1 : 0;
    }
    case K_NAME:
        *(int *)(void *)at = name_index(o->names, value);
        return *(int *)(void *)at < 0 ? -1 : 0;
    case K_INT:
        if (numbers(value, 0, 1, o->low, o->high, v))
            return -1;
        *(int *)(void *)at = (int)v[0];
        return 0;
    case K_REAL:
        if (numbers(value, 0, 1, o->low, o->high, v))
            return -1;
        *(double *)(void *)at = v[0];
        return 0;
    case K_PAIR:
    case K_TRIPLE:
        if (numbers(value, ',', o->kind == K_PAIR ? 2 : 3, o->low, o->high, v))
            return -1;
        memcpy(at, v, sizeof(double) * (o->kind == K_PAIR ? 2 : 3));
        return 0;
    case K_SIZE:
    case K_SPAN:
        if (numbers(value, o->kind == K_SIZE ? 'x' : '-', 2, o->low, o->high, v))
            return -1;
        ((int *)(void *)at)[0] = (int)v[0];
        ((int *)(void *)at)[1] = (int)v[1];
        return 0;
    }
    return -1;
}

int dwi_params_set(struct dwi_params *p, const char *name, const char *value, char *err, int n)
{
    for (int i = 0; i < table_count; i++)
        if (!strcmp(table[i].name, name)) {
            if (set(p, &table[i], value))
                return fail(err, n, &table[i], value);
            return 0;
        }
    snprintf(err, (size_t)n, "there is no option --%s; --help lists them", name);
    return -1;
}

int dwi_params_scene(struct dwi_params *p, const char *name, char *err, int n)
{
    const struct dwi_scene *s = dwi_scenes;
    while (s->name && strcmp(s->name, name))
        s++;
    if (!s->name) {
        snprintf(err, (size_t)n, "there is no scene '%s'; --help lists them", name);
        return -1;
    }
    snprintf(p->scene, sizeof p->scene, "%s", name);
    /* "a=b; c=d": the separator is ';' because fault lists hold spaces */
    const char *t = s->options;
    while (*t) {
        char item[1200], *eq;
        size_t len = strcspn(t, ";");
        snprintf(item, sizeof item, "%.*s", (int)len, t);
        t += len + (t[len] == ';');
        t += strspn(t, " ");
        if (!(eq = strchr(item, '=')))
            continue;
        *eq = 0;
        if (dwi_params_set(p, item, eq + 1, err, n))
            return -1;
    }
    return 0;
}

static void print_value(FILE *f, const struct dwi_params *p, const struct option *o)
{
    const void *at = (const char *)p + o->at;
    const double *d = at;
    const int *i = at;
    switch (o->kind) {
    case K_TEXT:
        fprintf(f, "%s", (const char *)at);
        break;
    case K_U64:
        fprintf(f, "%llu", (unsigned long long)*(const uint64_t *)at);
        break;
    case K_BOOL:
        fprintf(f, "%s", *i ? "on" : "off");
        break;
    case K_INT:
        fprintf(f, "%d", *i);
        break;
    case K_REAL:
        fprintf(f, "%.10g", *d);
        break;
    case K_PAIR:
        fprintf(f, "%.10g,%.10g", d[0], d[1]);
        break;
    case K_TRIPLE:
        fprintf(f, "%.10g,%.10g,%.10g", d[0], d[1], d[2]);
        break;
    case K_SIZE:
        fprintf(f, "%dx%d", i[0], i[1]);
        break;
    case K_SPAN:
        fprintf(f, "%d-%d", i[0], i[1]);
        break;
    case K_NAME: {
        const char *s = o->names;
        for (int k = 0; k < *i; k++)
            s = strchr(s, '|') + 1;
        fprintf(f, "%.*s", (int)strcspn(s, "|"), s);
        break;
    }
    }
}

void dwi_params_print(const struct dwi_params *p, void *file)
{
    FILE *f = file;
    fprintf(f, "scene=%s\n", p->scene);
    for (int i = 0; i < table_count; i++) {
        if (!strcmp(table[i].name, "out") || !strcmp(table[i].name, "jobs"))
            continue; /* neither changes what is made */
        fprintf(f, "%s=", table[i].name);
        print_value(f, p, &table[i]);
        fputc('\n', f);
    }
}

void dwi_params_help(void)
{
    struct dwi_params p;
    dwi_params_default(&p);
    printf(
        "daywheel-invent --scene NAME --out FOLDER [--OPTION VALUE]...\n"
        "makes an invented shoot of DNG frames with its exact truth in FOLDER/truth.\n\nScenes:\n");
    for (const struct dwi_scene *s = dwi_scenes; s->name; s++)
        printf("  %-16s %s\n", s->name, s->what);
    printf("\nOptions (default):\n");
    for (int i = 0; i < table_count; i++) {
        printf("  --%-16s %s (", table[i].name, table[i].help);
        if (table[i].kind == K_NAME)
            printf("%s; ", table[i].names);
        print_value(stdout, &p, &table[i]);
        printf(")\n");
    }
}
