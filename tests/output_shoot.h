/* output_shoot.h: an invented shoot of a few shots and what was decided about it, in memory, for
 * the suites of the output stage. Numbers are awkward on purpose: none is short in decimal. */
#ifndef DW_TESTS_OUTPUT_SHOOT_H
#define DW_TESTS_OUTPUT_SHOOT_H

#include <daywheel/output.h>

#include <ftw.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define SHOOT_START 1750464000.123456 /* 2025-06-21T00:00:00Z and a bit */
#define SHOOT_LEVELS 3
#define SHOOT_HOT 5
#define SHOOT_STARS 3
#define SHOOT_LAW 9

struct shoot {
    struct dw_shots shots;
    struct dw_decision d;
    char dir[64]; /* a fresh folder */
};

static inline char *shoot_copy(const char *text)
{
    char *c = malloc(strlen(text) + 1);
    strcpy(c, text);
    return c;
}

static inline void shoot_facts(struct dw_facts *f)
{
    strcpy(f->survey_id, "0123456789abcdef0123456789abcdef");
    f->site = (struct dw_site){47.123456789012345, -(2.0 / 3), 123.4};
    f->utc_offset_s = 7200;
    f->interval_s = 20 + 1.0 / 3;
    f->night_deg = -12.1;
    f->balance_night_deg = -23.9;
    f->balance_day_deg = -7.3;
    f->day_deg = -3.3;
    f->mosaic_width = 6000;
    f->mosaic_height = 4000;
    f->turn_deg = 90;
    f->n_levels = SHOOT_LEVELS;
    f->levels = calloc(SHOOT_LEVELS, sizeof *f->levels);
    for (int i = 0; i < SHOOT_LEVELS; i++)
        f->levels[i] = (struct dw_levels){
            100.0 * (1 << i) / 3, pow(2, -i / 3.0), {511.1f + (float)i, 512.2f, 513.3f},
            16383.0f / 1.1f,      2.0f / 3,         0.7f / 3};
    f->n_hot = SHOOT_HOT;
    f->hot = calloc(SHOOT_HOT, sizeof *f->hot);
    for (int i = 0; i < SHOOT_HOT; i++)
        f->hot[i] = (struct dw_hot){(uint16_t)(5999 - i), (uint16_t)(i * 999)};
    for (int i = 0; i < 9; i++)
        f->cam_to_wide[i] = (float)(1.0 / (i + 3));
    for (int i = 0; i < 3; i++) {
        f->white_mul[i] = 1 + (float)i / 7;
        f->night_mul[i] = 1 - (float)i / 11;
        f->night_sky[i] = 1 + (float)i / 13;
    }
    f->night_sky_keys = 0.777f;
    f->night_noise = 0.0333f;
    f->crop = (struct dw_crop){8, 2, 0, 4};
    f->aim = (struct dw_aim){2666.7 / 3,     {1.0 / 3, -2.0 / 15},    449.5,
                             299.25,         {0.1, -0.2, sqrt(0.95)}, {sqrt(0.8), -0.4, -0.2},
                             f->site.lat_deg};
    f->open[0][0] = f->open[7][11] = f->open[DW_OPEN_ROWS - 1][DW_OPEN_COLS - 1] = 1;
    f->hold.night_key = 0.1 / 7;
    f->hold.rise[0][0] = 1.0f / 3;
    f->hold.rise[DW_HOLD_ROWS - 1][DW_HOLD_COLS - 1] = 2.7f;
    f->n_stars = SHOOT_STARS;
    f->star = calloc(SHOOT_STARS, sizeof *f->star);
    for (int i = 0; i < SHOOT_STARS; i++)
        f->star[i] = (struct dw_star){1.5 + 100.1 * i, -20.25 + 30.0 / 7 * i, 0.3f, 0.7f * (float)i,
                                      1.0f / 3 * (float)i};
    f->law = (struct dw_law){-18.7, 1.1, SHOOT_LAW, calloc(SHOOT_LAW, sizeof(double))};
    for (int i = 0; i < SHOOT_LAW; i++)
        f->law.coef[i] = i == 4 ? (double)NAN : -9 + i * M_PI / 3;
    f->day_light_stops = 12 + 1.0 / 7;
}

/* n shots 20 s apart; every frame but the last has one source, the last mixes two. */
static inline struct shoot *shoot_new(size_t n)
{
    struct shoot *s = calloc(1, sizeof *s);
    strcpy(s->dir, "/tmp/dw-output-XXXXXX");
    if (!mkdtemp(s->dir))
        abort();
    s->shots.n = n;
    s->shots.shot = calloc(n, sizeof *s->shots.shot);
    s->d.n_shots = s->d.n_frames = n;
    s->d.ledger = calloc(n, sizeof *s->d.ledger);
    s->d.frame = calloc(n, sizeof *s->d.frame);
    shoot_facts(&s->d.facts);
    s->d.before = (struct dw_flicker){0.0412345678, 0.04, (double)NAN, 0.05};
    s->d.after = (struct dw_flicker){0.00151234, 0.001, (double)NAN, 0.002};
    s->d.fps = 25;
    s->d.flicker_threshold = 0.004;
    for (size_t i = 0; i < n; i++) {
        struct dw_shot *shot = &s->shots.shot[i];
        char text[64];
        snprintf(text, sizeof text, "INV_%04zu.DNG", i + 1);
        shot->name = shoot_copy(text);
        snprintf(text, sizeof text, "/nowhere/INV_%04zu.DNG", i + 1);
        shot->path = shoot_copy(text);
        shot->id = (struct dw_identity){1000 + i, 5, 77 * i};
        shot->readable = true;
        strcpy(shot->make, "Invented");
        strcpy(shot->model, "Pinwheel 1");
        shot->has_clock = true;
        shot->clock_s = SHOOT_START + 7200 + 20.0 * (double)i;
        shot->has_shutter = shot->has_iso = shot->has_aperture = true;
        shot->shutter_marked_s = 1.0 / 60;
        shot->shutter_s = 1.0 / 64;
        shot->iso_marked = shot->iso = 100;
        shot->f_marked = 2.8;
        shot->f_number = sqrt(8);
        struct dw_ledger_row *row = &s->d.ledger[i];
        *row = (struct dw_ledger_row){.frame = (uint32_t)i + 1,
                                      .utc_s = SHOOT_START + 20.0 * (double)i,
                                      .sun_alt_deg = -18 + 0.37 * (double)i,
                                      .luminance_stops = -3 + 0.1 * (double)i,
                                      .flicker_stops = 0.0123456,
                                      .flicker_sigma = 0.001234,
                                      .gain_stops = -1.23456789,
                                      .day_weight = 0.25,
                                      .use = true,
                                      .verdict = true};
        struct dw_frame *f = &s->d.frame[i];
        *f = (struct dw_frame){.number = (uint32_t)i + 1,
                               .utc_s = row->utc_s + 1e-5 / 3,
                               .sun_alt_deg = row->sun_alt_deg / 3,
                               .n_sources = 1,
                               .key = 0.235 / 7,
                               .day = 1.0 / 3,
                               .balance = 1.0 / 7,
                               .stars = 2.0 / 3};
        f->source[0] = (struct dw_source){.shot = (uint32_t)i,
                                          .weight = 1,
                                          .gain_stops = -1.0 / 3,
                                          .chroma = {1, 1.01f, 0.99f},
                                          .sky_deg = (double)NAN};
        if (i == n - 1 && n > 1) {
            f->n_sources = 2;
            f->source[0].weight = 0.3f;
            f->source[1] = (struct dw_source){.shot = (uint32_t)i - 1,
                                              .weight = 0.7f,
                                              .gain_stops = 1e-17,
                                              .chroma = {1, 1, 1},
                                              .turn_deg = 0.25 / 3,
                                              .shift_x = -8,
                                              .shift_y = 5.0 / 3,
                                              .roll_deg = 0.01,
                                              .sky_deg = (double)NAN};
        }
    }
    return s;
}

static inline int shoot_remove_one(const char *path, const struct stat *st, int flag,
                                   struct FTW *ftw)
{
    (void)st, (void)flag, (void)ftw;
    return remove(path);
}

/* Removes a folder and what is in it. */
static inline void shoot_remove(const char *dir)
{
    nftw(dir, shoot_remove_one, 16, FTW_DEPTH | FTW_PHYS);
}

static inline void shoot_free(struct shoot *s)
{
    for (size_t i = 0; i < s->shots.n; i++) {
        free(s->shots.shot[i].name);
        free(s->shots.shot[i].path);
    }
    free(s->shots.shot);
    free(s->d.ledger);
    free(s->d.frame);
    free(s->d.facts.levels);
    free(s->d.facts.hot);
    free(s->d.facts.star);
    free(s->d.facts.law.coef);
    shoot_remove(s->dir);
    free(s);
}

/* dir/name in a buffer that the next call reuses. */
static inline const char *shoot_path(const struct shoot *s, const char *name)
{
    static char path[256];
    snprintf(path, sizeof path, "%s/%s", s->dir, name);
    return path;
}

/* An 8- or 16-bit picture with a smooth field, an edge and coloured points. */
static inline struct dw_image shoot_picture(int width, int height, int bits)
{
    struct dw_image m = {.width = width, .height = height, .bits = bits};
    size_t n = (size_t)width * (size_t)height * 3;
    if (bits == 8)
        m.px8 = malloc(n);
    else
        m.px16 = malloc(2 * n);
    for (int y = 0; y < height; y++)
        for (int x = 0; x < width; x++)
            for (int c = 0; c < 3; c++) {
                double v = 0.1 + 0.6 * x / width + 0.2 * y / height + 0.05 * c;
                if ((x * 7 + y * 13) % 101 == 0)
                    v = c == (x + y) % 3 ? 1 : 0.1;
                size_t i = ((size_t)y * (size_t)width + (size_t)x) * 3 + (size_t)c;
                if (bits == 8)
                    m.px8[i] = (uint8_t)(v * 255 + 0.5);
                else
                    m.px16[i] = (uint16_t)(v * 65535 + 0.5);
            }
    return m;
}

static inline void shoot_picture_free(struct dw_image *m)
{
    free(m->px8);
    free(m->px16);
}

/* True if a program can be called; the caller says so when it cannot. */
static inline bool shoot_has_program(const char *name)
{
    char command[128];
    snprintf(command, sizeof command, "command -v %s >/dev/null 2>&1", name);
    return system(command) == 0;
}

/* Runs a command and gives the first part of its output. */
static inline int shoot_run(const char *command, char *out, size_t room)
{
    FILE *p = popen(command, "r");
    if (!p)
        return -1;
    size_t n = fread(out, 1, room - 1, p);
    out[n] = '\0';
    return pclose(p);
}

#endif
