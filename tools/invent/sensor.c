/*
 * sensor.c - see sensor.h.
 */
#include "sensor.h"

#include "exposure.h"
#include "rng.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

int dwi_sensor_make(struct dwi_sensor *s, const struct dwi_params *p)
{
    size_t n = (size_t)p->width * (size_t)p->height;
    memset(s, 0, sizeof *s);
    s->p = p;
    s->n_hot = (int)(p->hot_share * (double)n);
    s->flat = malloc(n * sizeof *s->flat);
    if (p->stop_down > 0)
        s->radius2 = malloc(n * sizeof *s->radius2);
    s->column = malloc((size_t)p->width * sizeof *s->column);
    s->hot = malloc(((size_t)s->n_hot + 1) * sizeof *s->hot);
    s->n_dead = (int)(p->dead_share * (double)n);
    s->dead = malloc(((size_t)s->n_dead + 1) * sizeof *s->dead);
    if (!s->flat || !s->column || !s->hot || !s->dead || (p->stop_down > 0 && !s->radius2)) {
        dwi_sensor_free(s);
        return -1;
    }
    double cx = (p->width - 1) / 2.0, cy = (p->height - 1) / 2.0, corner = cx * cx + cy * cy;
    uint64_t key = dwi_key(p->seed, DWI_S_FLAT, 0);
    for (int y = 0; y < p->height; y++)
        for (int x = 0; x < p->width; x++) {
            size_t at = (size_t)y * (size_t)p->width + (size_t)x;
            double r2 = ((x - cx) * (x - cx) + (y - cy) * (y - cy)) / corner;
            double loss = p->vignetting * dwi_shading(r2);
            if (s->radius2)
                s->radius2[at] = (float)r2;
            s->flat[at] =
                (float)(exp2(-loss) *
                        (1 + p->prnu * (double)dwi_normal_table[dwi_mix(key + at) & 65535]));
        }
    for (int x = 0; x < p->width; x++)
        s->column[x] =
            (float)(p->column_dn * dwi_normal(dwi_key(p->seed, DWI_S_COLUMN, (uint64_t)x)));
    for (int i = 0; i < s->n_hot; i++) {
        uint64_t k = dwi_key(p->seed, DWI_S_HOT, (uint64_t)i * 4);
        s->hot[i].x = (int)(dwi_uniform(k) * p->width);
        s->hot[i].y = (int)(dwi_uniform(k + 1) * p->height);
        s->hot[i].rate = (float)(1.5 * exp2(8 * dwi_uniform(k + 2)));
    }
    for (int i = 0; i < s->n_dead; i++) {
        uint64_t k = dwi_key(p->seed, DWI_S_DEAD, (uint64_t)i * 2);
        s->dead[i][0] = (int)(dwi_uniform(k) * p->width);
        s->dead[i][1] = (int)(dwi_uniform(k + 1) * p->height);
        s->flat[(size_t)s->dead[i][1] * (size_t)p->width + (size_t)s->dead[i][0]] = 0;
    }
    return 0;
}

void dwi_sensor_free(struct dwi_sensor *s)
{
    free(s->flat);
    free(s->radius2);
    free(s->column);
    free(s->hot);
    free(s->dead);
    memset(s, 0, sizeof *s);
}

double dwi_sensor_gain(const struct dwi_params *p, const struct dwi_shot *shot)
{
    return p->gain_dn * dwi_iso_true(shot->iso_k) / 100 * exp2(shot->iso_error);
}

double dwi_sensor_electrons(const struct dwi_params *p, const struct dwi_shot *shot)
{
    return dwi_shot_share(shot) * (p->white - p->black) / dwi_sensor_gain(p, shot);
}

double dwi_sensor_read_dn(const struct dwi_params *p, const struct dwi_shot *shot)
{
    double k = dwi_sensor_gain(p, shot);
    return sqrt(k * k * p->read_e * p->read_e + p->read_dn * p->read_dn);
}

struct dwi_answer dwi_sensor_answer(const struct dwi_params *p, const struct dwi_shot *shot)
{
    return (struct dwi_answer){{(float)exp2(shot->red_error), 1, (float)exp2(shot->blue_error)},
                               p->vignetting - dwi_shot_vignetting(p, shot)};
}

void dwi_sensor_expose(const struct dwi_sensor *s, const uint8_t cfa[4],
                       const struct dwi_shot *shot, const float *light, uint16_t *raw)
{
    const struct dwi_params *p = s->p;
    float *extra = NULL;
    float per_light = (float)dwi_sensor_electrons(p, shot), gain = (float)dwi_sensor_gain(p, shot);
    float dark = (float)(p->dark_e * shot->time_s), read = (float)dwi_sensor_read_dn(p, shot);
    float read_var = read * read, gain2 = gain * gain;
    float base = (float)(p->black + shot->black_shift) + 0.5f, top = (float)p->white;
    uint64_t key = dwi_key(p->seed, DWI_S_PIXEL, (uint64_t)shot->index);
    uint64_t key2 = dwi_key(p->seed, DWI_S_POISSON, (uint64_t)shot->index);
    /* hot pixels are few: they are added afterwards with noise of their own */
    if (s->n_hot && (extra = calloc((size_t)s->n_hot, sizeof *extra)))
        for (int i = 0; i < s->n_hot; i++)
            extra[i] = s->hot[i].rate * (float)shot->time_s;
    const struct dwi_answer answer = dwi_sensor_answer(p, shot);
    uint64_t bits = 0;
    size_t at = 0;
    for (int y = 0; y < p->height; y++)
        for (int x = 0; x < p->width; x++, at++) {
            if ((at & 3) == 0)
                bits = dwi_mix(key + at);
            int colour = cfa[(y & 1) * 2 + (x & 1)];
            float e = light[at] * dwi_sensor_flat(s, &answer, at, colour) * per_light + dark, v;
            float z = dwi_normal_table[bits & 65535];
            bits >>= 16;
            if (e < 25) {
                int k = dwi_poisson((double)e, dwi_uniform(key2 + at));
                v = gain * (float)k + read * z;
            } else { /* Poisson is normal to within its skewness of 1/sqrt(e) */
                v = gain * e + sqrtf(gain2 * e + read_var) * z;
            }
            v += base + s->column[x];
            raw[at] = (uint16_t)(v < 0 ? 0 : v > top ? top : v);
        }
    for (int i = 0; extra && i < s->n_hot; i++) {
        size_t h = (size_t)s->hot[i].y * (size_t)p->width + (size_t)s->hot[i].x;
        uint64_t k = dwi_key(key2, 77, h);
        float v = (float)raw[h] + gain * (extra[i] + sqrtf(extra[i]) * (float)dwi_normal(k)) + 0.5f;
        raw[h] = (uint16_t)(v < 0 ? 0 : v > top ? top : v);
    }
    free(extra);
}
