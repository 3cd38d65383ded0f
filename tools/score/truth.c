/* truth.c: the truth tables of an invented shoot, joined with the ledger of a run. */
#include "score.h"

#include "base/atomic_file.h"
#include "base/csv.h"
#include "base/text.h"

#include <daywheel/decide.h>
#include <daywheel/output.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static bool read_table(const char *dir, const char *name, struct dw_csv *t)
{
    char *path = dw_join_path(dir, name), *data = NULL;
    size_t n = 0;
    struct dw_error err = {0};
    bool ok = path && dw_read_whole(path, (size_t)1 << 30, &data, &n, &err) >= 0 &&
              dw_csv_parse(path, data, n, t, &err) >= 0;
    if (!ok)
        fprintf(stderr, "daywheel-score: %s\n", err.text);
    free(data);
    free(path);
    return ok;
}

static double number(const struct dw_csv *t, size_t row, int col)
{
    const char *s = dw_csv_field(t, row, col);
    return *s ? strtod(s, NULL) : (double)NAN;
}

/* 0 where the table has no such column: it is older. */
static double number_or_0(const struct dw_csv *t, size_t row, const char *name)
{
    int col = dw_csv_column(t, name);
    return col < 0 ? 0 : number(t, row, col);
}

static bool read_shots(const char *dir, struct score_truth *t)
{
    struct dw_csv c = {0};
    if (!read_table(dir, "truth/shots.csv", &c))
        return false;
    t->shot = calloc(c.rows, sizeof *t->shot);
    t->n_shots = t->shot ? c.rows : 0;
    int file = dw_csv_column(&c, "file"), alt = dw_csv_column(&c, "sun_alt_deg"),
        error = dw_csv_column(&c, "error_stops"), light = dw_csv_column(&c, "light_stops"),
        ev = dw_csv_column(&c, "ev100_true"), iso = dw_csv_column(&c, "iso_k"),
        time = dw_csv_column(&c, "true_s"), faults = dw_csv_column(&c, "faults"),
        movers = dw_csv_column(&c, "movers");
    const int creeping[5] = {dw_csv_column(&c, "soft_px"), dw_csv_column(&c, "haze"),
                             dw_csv_column(&c, "cloud"), dw_csv_column(&c, "ghost"),
                             dw_csv_column(&c, "drops")};
    for (size_t i = 0; i < t->n_shots; i++) {
        struct score_shot *s = &t->shot[i];
        /* the ledger names files, not the cards they came on */
        snprintf(s->name, sizeof s->name, "%s", dw_text_basename(dw_csv_field(&c, i, file)));
        snprintf(s->faults, sizeof s->faults, "%s", dw_csv_field(&c, i, faults));
        for (int k = 0; k < 5; k++)
            s->slight |= creeping[k] >= 0 && number(&c, i, creeping[k]) > 0;
        s->alt_deg = number(&c, i, alt);
        s->mid_unix = number(&c, i, dw_csv_column(&c, "mid_unix"));
        s->error_stops = number(&c, i, error);
        s->light_stops = number(&c, i, light);
        s->red_error = number_or_0(&c, i, "red_error");
        s->blue_error = number_or_0(&c, i, "blue_error");
        s->vignetting = number_or_0(&c, i, "vignetting");
        s->ev100 = number(&c, i, ev);
        s->iso = 100 * exp2(number(&c, i, iso) / 3);
        s->shutter_s = number(&c, i, time);
        s->headlights = strstr(dw_csv_field(&c, i, movers), "headlights") != NULL;
        s->gain = s->flicker = s->ledger_alt = s->sigma = (double)NAN;
    }
    dw_csv_free(&c);
    return t->n_shots > 0;
}

struct score_shot *score_find_shot(const struct score_truth *t, const char *name, size_t hint)
{
    for (size_t k = 0; k < t->n_shots; k++) { /* tables are in the same order: hint fits */
        struct score_shot *s = &t->shot[(hint + k) % t->n_shots];
        if (strcmp(s->name, name) == 0)
            return s;
    }
    return NULL;
}

static bool read_ledger(const char *dir, struct score_truth *t)
{
    struct dw_csv c = {0};
    if (!read_table(dir, "ledger.csv", &c))
        return false;
    int file = dw_csv_column(&c, "file"), alt = dw_csv_column(&c, "sun_alt_deg"),
        flicker = dw_csv_column(&c, "flicker_stops"), gain = dw_csv_column(&c, "gain_stops"),
        frame = dw_csv_column(&c, "frame"), faults = dw_csv_column(&c, "faults"),
        use = dw_csv_column(&c, "use");
    size_t hint = 0;
    for (size_t i = 0; i < c.rows; i++) {
        struct score_shot *s = score_find_shot(t, dw_csv_field(&c, i, file), hint);
        if (!s)
            continue;
        hint = (size_t)(s - t->shot) + 1;
        s->in_ledger = true;
        s->use = strcmp(dw_csv_field(&c, i, use), "yes") == 0;
        s->ledger_alt = number(&c, i, alt);
        s->flicker = number(&c, i, flicker);
        s->gain = number(&c, i, gain);
        s->frame = strtol(dw_csv_field(&c, i, frame), NULL, 10);
        snprintf(s->found, sizeof s->found, "%s", dw_csv_field(&c, i, faults));
    }
    dw_csv_free(&c);
    return true;
}

/* Only of a camera that stood level: the room's tiles are those of the mosaic. */
static void read_room(const char *dir, struct score_truth *t)
{
    struct dw_csv c = {0};
    if (t->turn_deg || strcmp(t->scene, "window") != 0 || !read_table(dir, "truth/room.csv", &c))
        return;
    for (size_t i = 0; i < c.rows; i++) {
        int x = (int)number(&c, i, dw_csv_column(&c, "column")),
            y = (int)number(&c, i, dw_csv_column(&c, "row"));
        if (!(x >= 0 && x < SCORE_COLS && y >= 0 && y < SCORE_ROWS))
            continue;
        double share = number(&c, i, dw_csv_column(&c, "share"));
        t->room[y * SCORE_COLS + x] = share > 0.1;
        t->room_at_all[y * SCORE_COLS + x] = share > 0;
    }
    t->has_room = true;
    dw_csv_free(&c);
}

static void read_judgement(const char *dir, struct score_truth *t)
{
    struct dw_csv c = {0};
    if (!read_table(dir, "judgement.csv", &c))
        return;
    int file = dw_csv_column(&c, "file"), sigma = dw_csv_column(&c, "flicker_sigma_stops");
    size_t hint = 0;
    for (size_t i = 0; i < c.rows; i++) {
        struct score_shot *s = score_find_shot(t, dw_csv_field(&c, i, file), hint);
        if (!s)
            continue;
        hint = (size_t)(s - t->shot);
        s->sigma = number(&c, i, sigma);
    }
    dw_csv_free(&c);
}

/* A frame's only source (docs/formats.md); of what stands behind its seven numbers, only shading
 * and black are wanted. */
static bool read_source(const char *text, struct score_shot *s)
{
    double red, green, blue;
    const char *shade = strstr(text, ":s"), *black = strstr(text, ":b");
    if (strchr(text, ' ') ||
        sscanf(text, "%*f:%*f:%*f:%*f:%lf:%lf:%lf", &red, &green, &blue) != 3 ||
        (shade && sscanf(shade, ":s%lf:%lf", &s->shade[0], &s->shade[1]) != 2) ||
        (black && sscanf(black, ":b%lf", &s->own_black) != 1))
        return false;
    s->red_fix = log2(red / green);
    s->blue_fix = log2(blue / green);
    return true;
}

static bool read_frames(const char *dir, struct score_truth *t)
{
    struct dw_csv c = {0};
    if (!read_table(dir, "frames.csv", &c))
        return false;
    int sources = dw_csv_column(&c, "sources"), files = dw_csv_column(&c, "files");
    size_t hint = 0;
    for (size_t i = 0; i < c.rows; i++) {
        struct score_shot *s = score_find_shot(t, dw_csv_field(&c, i, files), hint);
        if (!s) /* a bridge */
            continue;
        hint = (size_t)(s - t->shot);
        if (!read_source(dw_csv_field(&c, i, sources), s))
            fprintf(stderr, "daywheel-score: frames.csv: line %zu is not understood\n", i + 2);
    }
    dw_csv_free(&c);
    return true;
}

static bool read_patches(const char *dir, struct score_truth *t)
{
    struct dw_csv c = {0};
    if (!read_table(dir, "truth/patches.csv", &c))
        return false;
    t->patch = calloc(c.rows ? c.rows : 1, sizeof *t->patch);
    t->n_patches = t->patch ? c.rows : 0;
    for (size_t i = 0; i < t->n_patches; i++) {
        struct score_patch *p = &t->patch[i];
        p->number = (int)number(&c, i, dw_csv_column(&c, "patch"));
        const char *kind = dw_csv_field(&c, i, dw_csv_column(&c, "kind"));
        p->ground = strcmp(kind, "ground") == 0;
        p->sky = strcmp(kind, "sky") == 0;
        p->x = (int)number(&c, i, dw_csv_column(&c, "x"));
        p->y = (int)number(&c, i, dw_csv_column(&c, "y"));
        p->w = (int)number(&c, i, dw_csv_column(&c, "w"));
        p->h = (int)number(&c, i, dw_csv_column(&c, "h"));
        p->dn = malloc(t->n_shots * sizeof *p->dn);
        p->light = malloc(t->n_shots * sizeof *p->light);
        if (!p->dn || !p->light)
            return false;
        for (size_t k = 0; k < t->n_shots; k++)
            p->dn[k] = p->light[k] = (double)NAN;
    }
    dw_csv_free(&c);

    if (!read_table(dir, "truth/patch_light.csv", &c))
        return false;
    int file = dw_csv_column(&c, "file"), patch = dw_csv_column(&c, "patch"),
        g1 = dw_csv_column(&c, "dn_g1"), g2 = dw_csv_column(&c, "dn_g2"),
        l1 = dw_csv_column(&c, "light_g1"), l2 = dw_csv_column(&c, "light_g2"),
        clipped = dw_csv_column(&c, "clipped");
    size_t hint = 0;
    for (size_t i = 0; i < c.rows; i++) {
        const struct score_shot *s =
            score_find_shot(t, dw_text_basename(dw_csv_field(&c, i, file)), hint);
        if (!s)
            continue;
        hint = (size_t)(s - t->shot);
        int k = (int)number(&c, i, patch);
        for (size_t p = 0; p < t->n_patches; p++)
            if (t->patch[p].number == k && number(&c, i, clipped) < 1e-4) {
                t->patch[p].dn[hint] = (number(&c, i, g1) + number(&c, i, g2)) / 2;
                t->patch[p].light[hint] = (number(&c, i, l1) + number(&c, i, l2)) / 2;
            }
    }
    dw_csv_free(&c);
    return true;
}

static void read_camera(const char *dir, struct score_truth *t)
{
    char *path = dw_join_path(dir, "truth/camera.ini");
    FILE *f = path ? fopen(path, "r") : NULL;
    char line[200];
    int turn = 0;
    while (f && fgets(line, sizeof line, f)) {
        sscanf(line, "size=%dx%d", &t->width, &t->height);
        sscanf(line, "black=%lf", &t->black_dn);
        sscanf(line, "scene=%39s", t->scene);
        if (sscanf(line, "orientation=%d", &turn) == 1) /* Exif codes */
            t->turn_deg = turn == 6 ? 90 : turn == 8 ? 270 : turn == 3 ? 180 : 0;
    }
    if (f)
        fclose(f);
    free(path);
}

/* Black levels that the run learnt, for each shot as the run itself takes them. */
static void read_levels(const char *dir, struct score_truth *t)
{
    struct dw_facts facts = {0};
    struct dw_error err = {0};
    if (dw_read_facts(dir, &facts, &err) < 0) {
        fprintf(stderr, "daywheel-score: %s\n", err.text);
        return;
    }
    for (size_t i = 0; i < t->n_shots && facts.n_levels > 0; i++) {
        struct score_shot *s = &t->shot[i];
        const struct dw_shot shot = {
            .has_iso = true, .iso = s->iso, .has_shutter = true, .shutter_s = s->shutter_s};
        s->black_shift =
            (double)dw_facts_levels(&facts, &shot)->black[1] - t->black_dn + s->own_black;
    }
    dw_facts_free(&facts);
}

bool score_read(const char *shoot, const char *out, struct score_truth *t)
{
    *t = (struct score_truth){0};
    read_camera(shoot, t);
    read_room(shoot, t);
    if (!read_shots(shoot, t) || !read_ledger(out, t) || !read_frames(out, t) ||
        !read_patches(shoot, t))
        return false;
    read_judgement(out, t);
    read_levels(out, t);
    return true;
}

void score_free(struct score_truth *t)
{
    for (size_t i = 0; i < t->n_patches; i++) {
        free(t->patch[i].dn);
        free(t->patch[i].light);
    }
    free(t->patch);
    free(t->shot);
}

double score_lift(const struct score_shot *s, double r2)
{
    return r2 * (s->shade[0] + r2 * s->shade[1]);
}

double score_patch_r2(const struct score_truth *t, const struct score_patch *p)
{
    double x = p->x + 0.5 * (p->w - t->width), y = p->y + 0.5 * (p->h - t->height);
    return 4 * (x * x + y * y) / ((double)t->width * t->width + (double)t->height * t->height);
}

int score_part(double alt_deg)
{
    return alt_deg > 0 ? 0 : alt_deg > -15 ? 1 : 2;
}
