/* made_details.c: see made_details.h. */
#include "made_details.h"

#include "survey/file.h"
#include "survey/patches.h"
#include "survey/record.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

enum { NOISES = 1 << 20, HOT = 130, STARS = 1200, THUMB = 4 };

/* As the made shoots have it (fake_shoot.c). */
#define DN_PER_E 0.3
#define READ_E 5.0

struct maker {
    uint64_t random;
    float *noise;   /* NOISES normal numbers: drawn once, begun anywhere */
    float *texture; /* of the ground, a factor a cell */
    uint16_t *code;
    struct dw_spot *spot;
    float *thumb;
};

/* SplitMix64 (Steele, Lea & Flood 2014). */
static uint64_t draw(struct maker *m)
{
    uint64_t z = (m->random += 0x9e3779b97f4a7c15u);
    z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9u;
    z = (z ^ (z >> 27)) * 0x94d049bb133111ebu;
    return z ^ (z >> 31);
}

static double uniform(struct maker *m)
{
    return ((double)(draw(m) >> 11) + 0.5) / 9007199254740992.0;
}

static bool make_room(struct maker *m)
{
    m->noise = malloc(NOISES * sizeof *m->noise);
    m->texture = malloc((size_t)DW_PATCHES * DW_PATCH_CELLS * sizeof *m->texture);
    m->code = malloc((size_t)DW_PATCHES * DW_PATCH_CELLS * sizeof *m->code);
    m->spot = malloc((HOT + STARS) * sizeof *m->spot);
    m->thumb = calloc((size_t)THUMB * THUMB * 3, sizeof *m->thumb);
    return m->noise && m->texture && m->code && m->spot && m->thumb;
}

static void free_room(struct maker *m)
{
    free(m->noise);
    free(m->texture);
    free(m->code);
    free(m->spot);
    free(m->thumb);
}

static void fill_tables(struct maker *m)
{
    for (size_t i = 0; i < NOISES; i++)
        m->noise[i] = (float)(sqrt(-2 * log(uniform(m))) * cos(6.283185307179586 * uniform(m)));
    for (size_t i = 0; i < (size_t)DW_PATCHES * DW_PATCH_CELLS; i++)
        m->texture[i] = (float)exp2(0.4 * (double)m->noise[i]);
}

/* A cell has two greens, each with the photon noise of its light. */
static int make_patches(struct maker *m, const struct fake_shoot *f, size_t shot)
{
    const struct dw_measure *s = &f->survey.measure[shot];
    struct dw_patch_place at[DW_PATCHES];
    int n = dw_patch_places(s->width, s->height, at), cols = f->survey.cols, rows = f->survey.rows;
    double gain = DN_PER_E * f->shots.shot[shot].iso / 100, read = READ_E * gain;
    const float *noise = m->noise + draw(m) % (NOISES / 2);
    for (int k = 0; k < n; k++)
        for (int y = 0; y < DW_PATCH_SIDE; y++)
            for (int x = 0; x < DW_PATCH_SIDE; x++) {
                size_t cell = (size_t)(k * DW_PATCH_CELLS + y * DW_PATCH_SIDE + x);
                int row = (at[k].y + 2 * y) * rows / s->height,
                    col = (at[k].x + 2 * x) * cols / s->width;
                double level = (double)(s->tile[row * cols + col].mean[1] - s->black[1]);
                level = fmax(level, 0) * (row * 2 < rows ? 1 : (double)m->texture[cell]);
                double sigma = sqrt((gain * level + read * read) / 2);
                m->code[cell] =
                    dw_patch_code((float)(level + sigma * (double)noise[cell % (NOISES / 2)]));
            }
    return n;
}

static int by_row(const void *a, const void *b)
{
    const struct dw_spot *p = a, *q = b;
    return p->y != q->y ? p->y - q->y : p->x - q->x;
}

/* Hot pixels stand, stars cross the frame in some hours; by day nothing shines. */
static uint32_t make_spots(struct maker *m, const struct fake_shoot *f, size_t shot)
{
    const struct dw_measure *s = &f->survey.measure[shot];
    struct maker place = {.random = 77};
    uint32_t n = 0, most = f->alt[shot] < -10 ? HOT + STARS : f->alt[shot] < 0 ? HOT : 0;
    for (uint32_t i = 0; i < most; i++) {
        int x = (int)(draw(&place) % (unsigned)s->width),
            y = (int)(draw(&place) % (unsigned)s->height);
        double height = 60 / uniform(&place);
        if (i >= HOT) { /* only above the ground */
            x = (int)(((size_t)x + 3 * shot) % (unsigned)s->width);
            y /= 2;
        }
        double value = fmin(600 + height, (double)s->white);
        m->spot[n++] = (struct dw_spot){(uint16_t)x, (uint16_t)y, (uint16_t)value, 2 * 560, {0}};
    }
    qsort(m->spot, n, sizeof *m->spot, by_row);
    return n;
}

static bool write_shot(struct maker *m, struct fake_shoot *f, struct dw_survey_file *file,
                       struct dw_buffer *record, struct dw_hash128 key, size_t i,
                       struct dw_error *err)
{
    struct dw_measure *s = &f->survey.measure[i];
    s->n_patches = (uint32_t)make_patches(m, f, i);
    s->n_spikes = make_spots(m, f, i);
    s->thumb_width = s->thumb_height = THUMB;
    const struct dw_measured measured = {*s, m->spot, m->thumb, 1, m->code, (int)s->n_patches};
    record->n = 0;
    return dw_record_write(record, key, &measured, (size_t)(f->survey.cols * f->survey.rows),
                           err) >= 0 &&
           dw_survey_file_append(file, i, record->data, record->n, err) >= 0;
}

static void take_nothing(void *ctx, size_t i, const char *record)
{
    (void)ctx;
    (void)i;
    (void)record;
}

bool made_details_add(struct fake_shoot *f, const char *path, struct dw_error *err)
{
    struct dw_survey_params params = DW_SURVEY_DEFAULTS;
    struct maker m = {.random = 1};
    struct dw_buffer record = {0};
    struct dw_survey_file *file = NULL;
    struct dw_hash128 *key = calloc(f->shots.n, sizeof *key);
    const struct dw_run run = {0};
    bool ok = make_room(&m) && key;
    params.cols = f->survey.cols;
    params.rows = f->survey.rows;
    if (!ok)
        dw_fail(err, DW_ERR_MEMORY, "out of memory for %zu made shots", f->shots.n);
    else
        fill_tables(&m);
    for (size_t i = 0; ok && i < f->shots.n; i++)
        key[i] = (struct dw_hash128){i + 1, i + 1};
    remove(path);
    ok = ok && dw_survey_file_open(path, &params, key, f->shots.n, &run, take_nothing, NULL, &file,
                                   err) >= 0;
    for (size_t i = 0; ok && i < f->shots.n; i++)
        ok = write_shot(&m, f, file, &record, key[i], i, err);
    f->survey.file = file;
    if (!ok)
        made_details_remove(f, path);
    dw_buffer_free(&record);
    free(key);
    free_room(&m);
    return ok;
}

void made_details_remove(struct fake_shoot *f, const char *path)
{
    dw_survey_file_close(f->survey.file);
    f->survey.file = NULL;
    remove(path);
}
