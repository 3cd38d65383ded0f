/*
 * run.c - see run.h.
 */
#include "run.h"

#include "dng.h"
#include "drops.h"
#include "frame.h"
#include "light.h"
#include "optics.h"
#include "pool.h"
#include "rng.h"
#include "sensor.h"
#include "shot.h"
#include "truth.h"

#include <errno.h>
#include <math.h>
#include <pthread.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

struct shoot {
    const struct dwi_params *p;
    struct dwi_stage stage;
    struct dwi_sensor sensor;
    struct dwi_shot *shots;
    struct dwi_patch patch[DWI_PATCHES];
    int n_patches;
    struct dwi_patch_truth *truth;
    pthread_key_t buffers; /* a worker keeps its own from frame to frame */
    atomic_int failed, at_frame, why;
};

static void one(void *arg, int i)
{
    struct shoot *r = arg;
    const struct dwi_params *p = r->p;
    const struct dwi_shot *s = &r->shots[i];
    size_t n = (size_t)p->width * (size_t)p->height;
    if (atomic_load(&r->failed) ||
        (p->only_last && (i + 1 < p->only_first || i + 1 > p->only_last)))
        return;
    float *light = pthread_getspecific(r->buffers);
    if (!light && (light = malloc(n * (sizeof *light + sizeof(uint16_t)))))
        pthread_setspecific(r->buffers, light);
    uint16_t *raw = light ? (uint16_t *)(void *)(light + n) : NULL;
    int bad = !light || dwi_frame_light(&r->stage, s, light);
    if (!bad) {
        dwi_patches_measure(&r->stage, &r->sensor, s, light, r->patch, r->n_patches,
                            r->truth + (size_t)i * (size_t)r->n_patches);
        if (s->fault.soft_px > 0)
            bad = dwi_blur(light, p->width, p->height, s->fault.soft_px);
    }
    if (!bad)
        bad = dwi_drops_draw(p, s, light);
    if (!bad && !s->fault.missing) {
        char path[700];
        snprintf(path, sizeof path, "%s/%s", p->out, s->file);
        dwi_sensor_expose(&r->sensor, r->stage.cfa, s, light, raw);
        bad = dwi_dng_write(path, p, s, r->stage.cfa, raw);
    }
    if (bad && !atomic_exchange(&r->failed, 1)) {
        atomic_store(&r->at_frame, i);
        atomic_store(&r->why, errno);
    }
}

static int folders(const struct dwi_params *p, char *err, int err_size)
{
    static const char *sub[] = {"", "/truth", "/card1", "/card2"};
    for (int i = 0; i < (p->cards == 2 ? 4 : 2); i++) {
        char path[600];
        snprintf(path, sizeof path, "%s%s", p->out, sub[i]);
        if (mkdir(path, 0777) && errno != EEXIST) {
            snprintf(err, (size_t)err_size, "cannot make folder %s: %s", path, strerror(errno));
            return -1;
        }
    }
    return 0;
}

static int make(struct shoot *r, char *err, int err_size)
{
    const struct dwi_params *p = r->p;
    if (dwi_plan(p, &r->stage.lens, r->shots, err, err_size) || folders(p, err, err_size))
        return -1;
    r->stage.lens_blur = p->lens_blur;
    for (int i = 0; i < p->frames; i++)
        if (r->shots[i].part_x != 0 || r->shots[i].part_y != 0)
            r->stage.lens_blur = fmax(p->lens_blur, 0.7);
    r->n_patches = dwi_patches_choose(&r->stage, r->patch);
    size_t n = (size_t)p->frames * (size_t)(r->n_patches ? r->n_patches : 1);
    if (!(r->truth = malloc(n * sizeof *r->truth)) || dwi_sensor_make(&r->sensor, p)) {
        snprintf(err, (size_t)err_size, "out of memory");
        return -1;
    }
    for (size_t i = 0; i < n; i++)
        r->truth[i].light[0] = -1;
    dwi_pool(p->jobs, 0, p->frames, one, r);
    free(pthread_getspecific(r->buffers)); /* this thread's; the others' went with them */
    pthread_setspecific(r->buffers, NULL);
    if (atomic_load(&r->failed)) {
        snprintf(err, (size_t)err_size, "frame %s/%s was not written: %s", p->out,
                 r->shots[atomic_load(&r->at_frame)].file, strerror(atomic_load(&r->why)));
        return -1;
    }
    char folder[600];
    snprintf(folder, sizeof folder, "%s/truth", p->out);
    if (dwi_truth_write(folder, &r->stage, &r->sensor, r->shots, r->patch, r->n_patches,
                        r->truth)) {
        snprintf(err, (size_t)err_size, "cannot write the tables in %s: %s", folder,
                 strerror(errno));
        return -1;
    }
    return 0;
}

int dwi_run(const struct dwi_params *p, char *err, int err_size)
{
    struct shoot r = {.p = p};
    dwi_rng_init();
    dwi_light_init();
    if (dwi_stage_make(&r.stage, p, err, err_size))
        return -1;
    r.shots = calloc((size_t)p->frames, sizeof *r.shots);
    pthread_key_create(&r.buffers, free);
    int bad = -1;
    if (r.shots)
        bad = make(&r, err, err_size);
    else
        snprintf(err, (size_t)err_size, "out of memory");
    pthread_key_delete(r.buffers);
    free(r.shots);
    free(r.truth);
    dwi_sensor_free(&r.sensor);
    dwi_stage_free(&r.stage);
    return bad;
}
