/* test_render.c: frames from frame lists, whoever makes them. The mosaics are invented and come
 * from a scratch folder, so that no RAW file is needed. */
#include "check_main.h"
#include "mosaics.h"

#include "render/kernels/kernels.h"

#include <pthread.h>
#include <stdio.h>
#include <unistd.h>

#define W 96
#define H 64
#define SHOTS 6
#define FRAMES 9

/* A shoot of invented shots whose mosaics lie in a scratch folder; the last shot's do not. */
struct shoot {
    char dir[64];
    struct dw_shot shot[SHOTS];
    struct dw_shots shots;
    struct dw_facts facts;
    struct dw_frame frame[FRAMES];
    struct dw_decision decision;
    struct dw_scratch *scratch;
    struct dw_hot hot[2];
};

static int which;
static double scene(double x, double y, int colour)
{
    double sky = y < 40 ? 0.25 : 0.03;
    bool star = ((int)x * 7 + (int)y * 13 + which) % 211 == 0;
    return sky + 0.001 * which + 0.02 * colour + 0.0005 * x + (star ? 0.4 : 0.0);
}

static void fill_frames(struct shoot *s)
{
    for (uint32_t i = 0; i < FRAMES; i++) {
        struct dw_frame *f = &s->frame[i];
        *f = (struct dw_frame){.number = i + 1, .n_sources = 1, .key = 0.03 + 0.02 * i};
        f->day = i < 3 ? 0 : i < 6 ? 0.25 * (i - 2) : 1;
        f->balance = i < 3 ? 0 : 1; /* below it a background is learnt, as for stars */
        f->stars = i < 3 ? 1 : 0;
        f->source[0] = plain_source;
        f->source[0].shot = i % (SHOTS - 1);
        f->source[0].gain_stops = 2;
    }
    s->frame[4].n_sources = 2; /* bridged */
    s->frame[4].source[1] = s->frame[4].source[0];
    s->frame[4].source[1].shot = 2;
    s->frame[4].source[0].weight = 0.25f;
    s->frame[4].source[1].weight = 0.75f;
}

static void make_shoot(struct shoot *s, int turn)
{
    memset(s, 0, sizeof *s);
    snprintf(s->dir, sizeof s->dir, "/tmp/dw-test-render-%ld", (long)getpid());
    for (int i = 0; i < SHOTS; i++) {
        struct dw_shot *shot = &s->shot[i];
        *shot = (struct dw_shot){
            .readable = true, .width = W, .height = H, .turn_deg = turn, .cfa = DW_CFA_BAYER};
        char name[] = "shot-0.dng";
        name[5] = (char)('0' + i);
        shot->path = strdup("/nowhere/at/all.dng");
        shot->name = strdup(name);
        shot->id = (struct dw_identity){1000, 1, (uint64_t)i + 77};
    }
    s->shots = (struct dw_shots){.shot = s->shot, .n = SHOTS};
    s->facts = plain_facts(W, H);
    s->facts.turn_deg = turn;
    s->facts.hold.night_key = 0.05; /* all light stays */
    for (int y = 0; y < DW_HOLD_ROWS; y++)
        for (int x = 0; x < DW_HOLD_COLS; x++)
            s->facts.hold.rise[y][x] = 4;
    s->hot[0] = (struct dw_hot){10, 3};
    s->hot[1] = (struct dw_hot){40, 41};
    s->facts.hot = s->hot;
    s->facts.n_hot = 2;
    fill_frames(s);
    s->decision = (struct dw_decision){
        .facts = s->facts, .n_shots = SHOTS, .n_frames = FRAMES, .frame = s->frame};
    struct dw_error err = {0};
    ck_assert_msg(dw_scratch_open(s->dir, &s->shots, 0, NULL, &s->scratch, &err) >= 0, "%s",
                  err.text);
    for (which = 0; which < SHOTS - 1; which++) {
        struct dw_mosaic m = new_mosaic(W, H, "GBRG");
        expose(&m, scene);
        ck_assert_msg(dw_scratch_put(s->scratch, &s->shot[which], &m, &err) == DW_OK, "%s",
                      err.text);
        dw_mosaic_free(&m);
    }
}

static void free_shoot(struct shoot *s)
{
    dw_scratch_close(s->scratch, false);
    for (int i = 0; i < SHOTS; i++) {
        free(s->shot[i].path);
        free(s->shot[i].name);
    }
}

/* A sink that keeps everything, and what was said. */
struct kept {
    pthread_mutex_t lock;
    struct dw_image image[FRAMES + 1];
    int taken[FRAMES + 1];
    uint32_t refuse;    /* take fails for this frame */
    uint32_t have_upto; /* frames that are there already */
    char said[2000];
};

static bool have(void *ctx, const struct dw_frame *frame)
{
    return frame->number <= ((struct kept *)ctx)->have_upto;
}

static enum dw_status take(void *ctx, const struct dw_frame *frame, const struct dw_image *image,
                           struct dw_error *err)
{
    struct kept *k = ctx;
    if (frame->number == k->refuse)
        return dw_fail(err, DW_ERR_FULL, "the disk is full");
    pthread_mutex_lock(&k->lock);
    k->taken[frame->number]++;
    struct dw_image *copy = &k->image[frame->number];
    *copy = *image;
    size_t n = (size_t)image->width * (size_t)image->height * 3;
    if (image->bits == 8)
        copy->px8 = memcpy(malloc(n), image->px8, n);
    else
        copy->px16 = memcpy(malloc(2 * n), image->px16, 2 * n);
    pthread_mutex_unlock(&k->lock);
    return DW_OK;
}

static void say(void *ctx, enum dw_level level, const char *text)
{
    struct kept *k = ctx;
    ck_assert_int_eq(level, DW_WARNING);
    size_t used = strlen(k->said);
    snprintf(k->said + used, sizeof k->said - used, "%s\n", text);
}

static enum dw_status run_shoot(const struct shoot *s, int jobs,
                                const struct dw_render_params *params, struct kept *k, size_t *made)
{
    struct dw_run run = {.jobs = jobs, .message = say, .ctx = k};
    struct dw_sink sink = {DW_MIX, have, take, k};
    struct dw_error err = {0};
    pthread_mutex_init(&k->lock, NULL);
    enum dw_status st =
        dw_render(&s->shots, &s->decision, s->scratch, params, &run, &sink, 1, made, &err);
    if (st < 0)
        snprintf(k->said, sizeof k->said, "%s", err.text);
    return st;
}

static void free_kept(struct kept *k)
{
    for (int i = 0; i <= FRAMES; i++)
        dw_image_free(&k->image[i]);
    pthread_mutex_destroy(&k->lock);
}

static void same_images(const struct dw_image *a, const struct dw_image *b, int frame)
{
    ck_assert_int_eq(a->width, b->width);
    ck_assert_int_eq(a->height, b->height);
    size_t n = (size_t)a->width * (size_t)a->height * 3;
    const void *p = a->bits == 8 ? (const void *)a->px8 : (const void *)a->px16;
    const void *q = b->bits == 8 ? (const void *)b->px8 : (const void *)b->px16;
    ck_assert_msg(memcmp(p, q, n * (size_t)(a->bits / 8)) == 0, "frame %d differs", frame);
}

static const enum dw_size_kind kinds[] = {DW_SIZE_HALF, DW_SIZE_FULL, DW_SIZE_FIT};

/* The same bytes for any number of workers, and for shares made apart, in every size. */
START_TEST(bytes_do_not_depend_on_the_workers)
{
    for (int i = 0; i < 6; i++) {
        struct shoot s;
        make_shoot(&s, 90 * (i % 4));
        struct dw_render_params params = DW_RENDER_DEFAULTS;
        params.size = (struct dw_size){kinds[i % 3], 40, 40};
        params.bits = i < 3 ? 8 : 16;
        struct kept one = {0}, shares = {0};
        size_t made;
        ck_assert_int_eq(run_shoot(&s, 1, &params, &one, &made), DW_OK);
        ck_assert_uint_eq(made, FRAMES);
        for (int jobs = 2; jobs <= 16; jobs += jobs < 4 ? 1 : 4) {
            struct kept many = {0};
            ck_assert_int_eq(run_shoot(&s, jobs, &params, &many, &made), DW_OK);
            for (int f = 1; f <= FRAMES; f++)
                same_images(&one.image[f], &many.image[f], f);
            free_kept(&many);
        }
        params.parts = 4;
        for (params.part = 1; params.part <= 4; params.part++)
            ck_assert_int_eq(run_shoot(&s, 2, &params, &shares, &made), DW_OK);
        for (int f = 1; f <= FRAMES; f++) {
            ck_assert_int_eq(shares.taken[f], 1);
            same_images(&one.image[f], &shares.image[f], f);
        }
        free_kept(&one);
        free_kept(&shares);
        free_shoot(&s);
    }
}
END_TEST

/* A frame's light as the linear half makes it, all sources together. */
static struct dw_linear light_of_frame(const struct shoot *s, int f, const struct dw_size *size)
{
    const struct dw_frame *frame = &s->frame[f];
    struct dw_linear light = {0};
    for (int n = 0; n < frame->n_sources; n++) {
        struct dw_mosaic m = {0};
        ck_assert_int_eq(dw_scratch_get(s->scratch, &s->shot[frame->source[n].shot], &m, NULL),
                         DW_OK);
        ck_assert_int_eq(dw_linear_from_mosaic(&m, &plain_levels, &s->facts, &frame->source[n],
                                               size, n > 0, &light, NULL),
                         DW_OK);
        dw_mosaic_free(&m);
    }
    return light;
}

/* Row by row or half after half: the same picture, to the bit where it is not turned. */
START_TEST(both_ways_make_the_same_picture)
{
    struct shoot s;
    make_shoot(&s, 0);
    for (int i = 0; i < 3; i++) {
        struct dw_render_params params = DW_RENDER_DEFAULTS;
        params.size = (struct dw_size){kinds[i], 40, 40};
        struct kept k = {0};
        size_t made;
        ck_assert_int_eq(run_shoot(&s, 1, &params, &k, &made), DW_OK);
        for (int f = kinds[i] == DW_SIZE_HALF ? 0 : 3; f < FRAMES; f++) {
            struct dw_linear light = light_of_frame(&s, f, &params.size);
            struct dw_image image = {.bits = 8};
            struct dw_frame *frame = &s.frame[f];
            ck_assert_int_eq(dw_look(&light, frame, &s.facts, &params.look, &image, NULL), DW_OK);
            same_images(&k.image[f + 1], &image, f + 1);
            dw_linear_free(&light);
            dw_image_free(&image);
        }
        free_kept(&k);
    }
    free_shoot(&s);
}
END_TEST

/* Turned, a picture is the unturned one turned, but for its dither. */
START_TEST(turned_pictures_are_the_same)
{
    struct kept straight = {0}, turned = {0};
    size_t made;
    struct dw_render_params params = DW_RENDER_DEFAULTS;
    params.bits = 16;
    struct shoot s;
    make_shoot(&s, 0);
    ck_assert_int_eq(run_shoot(&s, 2, &params, &straight, &made), DW_OK);
    free_shoot(&s);
    make_shoot(&s, 90);
    ck_assert_int_eq(run_shoot(&s, 2, &params, &turned, &made), DW_OK);
    free_shoot(&s);
    const struct dw_image *a = &straight.image[2], *b = &turned.image[2];
    ck_assert_int_eq(a->width, b->height);
    for (int y = 0; y < a->height; y++)
        for (int x = 0; x < a->width; x++)
            for (int c = 0; c < 3; c++)
                ck_assert_uint_eq(a->px16[3 * (y * a->width + x) + c],
                                  b->px16[3 * (x * b->width + (b->width - 1 - y)) + c]);
    free_kept(&straight);
    free_kept(&turned);
}
END_TEST

/* A file that is gone when its frame is made: another source steps in, or the frame is left out;
 * either is said, with the file's name, and everything else is made. */
START_TEST(vanished_files_cost_only_their_frames)
{
    struct shoot s;
    make_shoot(&s, 0);
    s.frame[2].source[0].shot = SHOTS - 1; /* its only source */
    s.frame[4].source[1].shot = SHOTS - 1; /* one of two */
    struct dw_render_params params = DW_RENDER_DEFAULTS;
    struct kept k = {0}, alone = {0};
    size_t made;
    ck_assert_int_eq(run_shoot(&s, 2, &params, &k, &made), DW_WARN);
    ck_assert_uint_eq(made, FRAMES - 1);
    for (int f = 1; f <= FRAMES; f++)
        ck_assert_int_eq(k.taken[f], f != 3);
    ck_assert_msg(strstr(k.said, "frame 3: ") != NULL && strstr(k.said, "frame 5: ") != NULL &&
                      (strstr(k.said, "all.dng") != NULL || strstr(k.said, "shot-5.dng") != NULL),
                  "%s", k.said);
    s.frame[4].n_sources = 1;
    s.frame[4].source[0].weight = 1;
    s.frame[2].source[0].shot = 0;
    ck_assert_int_eq(run_shoot(&s, 2, &params, &alone, &made), DW_OK);
    same_images(&k.image[5], &alone.image[5], 5);
    free_kept(&k);
    free_kept(&alone);
    free_shoot(&s);
}
END_TEST

START_TEST(what_is_there_is_not_made_again)
{
    struct shoot s;
    make_shoot(&s, 0);
    struct dw_render_params params = DW_RENDER_DEFAULTS;
    struct kept k = {.have_upto = 6};
    size_t made;
    ck_assert_int_eq(run_shoot(&s, 2, &params, &k, &made), DW_OK);
    ck_assert_uint_eq(made, FRAMES - 6);
    for (int f = 1; f <= FRAMES; f++)
        ck_assert_int_eq(k.taken[f], f > 6);
    free_kept(&k);
    free_shoot(&s);
}
END_TEST

START_TEST(a_failing_sink_stops_the_run)
{
    struct shoot s;
    make_shoot(&s, 0);
    struct dw_render_params params = DW_RENDER_DEFAULTS;
    struct kept k = {.refuse = 4};
    size_t made;
    ck_assert_int_eq(run_shoot(&s, 1, &params, &k, &made), DW_ERR_FULL);
    ck_assert_str_eq(k.said, "the disk is full");
    ck_assert_uint_eq(made, 3);
    params.part = 3;
    params.parts = 2;
    ck_assert_int_eq(run_shoot(&s, 1, &params, &k, &made), DW_ERR_USAGE);
    free_kept(&k);
    free_shoot(&s);
}
END_TEST

/* All three renderings from one reading, by any number of workers: each is what it is when made
 * alone, the clean ones are the look of one weight at the mix's key, and what is there stays. */
START_TEST(renderings_from_one_reading_are_those_made_alone)
{
    struct shoot s;
    make_shoot(&s, 90);
    struct dw_render_params params = DW_RENDER_DEFAULTS;
    struct dw_error err = {0};
    size_t made;
    struct kept alone[DW_RENDERINGS] = {{.refuse = 0}};
    for (unsigned r = 0; r < DW_RENDERINGS; r++) {
        struct shoot clean = s; /* as if the frame list itself said so */
        struct dw_frame row[FRAMES];
        for (int i = 0; i < FRAMES; i++) {
            row[i] = s.frame[i];
            if (r != DW_MIX)
                row[i].day = row[i].balance = r == DW_DAY;
            if (r != DW_MIX)
                row[i].stars = r == DW_NIGHT;
        }
        clean.decision.frame = row;
        ck_assert_int_eq(run_shoot(&clean, 1, &params, &alone[r], &made), DW_OK);
    }
    for (int jobs = 1; jobs <= 4; jobs += 3) {
        struct kept k[DW_RENDERINGS] = {{.have_upto = 0}, {.have_upto = 5}, {.have_upto = 2}};
        struct dw_run run = {.jobs = jobs, .message = say, .ctx = k};
        const struct dw_sink sinks[] = {{DW_MIX, have, take, &k[DW_MIX]},
                                        {DW_NIGHT, have, take, &k[DW_NIGHT]},
                                        {DW_DAY, have, take, &k[DW_DAY]}};
        for (int i = 0; i < DW_RENDERINGS; i++)
            pthread_mutex_init(&k[i].lock, NULL);
        ck_assert_int_eq(dw_render(&s.shots, &s.decision, s.scratch, &params, &run, sinks,
                                   DW_RENDERINGS, &made, &err),
                         DW_OK);
        ck_assert_uint_eq(made, FRAMES);
        for (int r = 0; r < DW_RENDERINGS; r++)
            for (uint32_t f = 1; f <= FRAMES; f++) {
                ck_assert_int_eq(k[r].taken[f], f > k[r].have_upto);
                if (k[r].taken[f])
                    same_images(&alone[r].image[f], &k[r].image[f], (int)f);
            }
        for (int i = 0; i < DW_RENDERINGS; i++)
            free_kept(&k[i]);
    }
    const struct dw_sink twice[] = {{DW_DAY, have, take, alone}, {DW_DAY, have, take, alone}};
    struct dw_run run = {.jobs = 1};
    ck_assert_int_eq(
        dw_render(&s.shots, &s.decision, s.scratch, &params, &run, twice, 2, &made, &err),
        DW_ERR_USAGE);
    for (int r = 0; r < DW_RENDERINGS; r++)
        free_kept(&alone[r]);
    free_shoot(&s);
}
END_TEST

/* Light without a look: the linear half times 0.18, as half floats, in every size; what the frame's
 * weights and key or the look say changes nothing. */
START_TEST(light_is_the_linear_half_alone)
{
    struct shoot s;
    make_shoot(&s, 0);
    for (int i = 0; i < 3; i++) {
        struct dw_render_params params = DW_RENDER_DEFAULTS;
        params.size = (struct dw_size){kinds[i], 40, 40};
        params.bits = 16;
        params.light = true;
        struct kept k = {0}, other = {0};
        size_t made;
        ck_assert_int_eq(run_shoot(&s, 2, &params, &k, &made), DW_OK);
        for (int f = 0; f < FRAMES; f++) {
            struct dw_linear light = light_of_frame(&s, f, &params.size);
            struct dw_image image = {
                .width = light.width, .height = light.height, .bits = 16, .light = true};
            size_t n = (size_t)light.width * (size_t)light.height;
            image.px16 = malloc(6 * n);
            dw_kernels_plain()->encode->pack_half(light.plane[0], light.plane[1], light.plane[2], n,
                                                  DW_GREY, image.px16);
            ck_assert(k.image[f + 1].light);
            same_images(&k.image[f + 1], &image, f + 1);
            dw_linear_free(&light);
            dw_image_free(&image);
        }
        params.look.star_lift += 1;
        for (int f = 0; f < FRAMES; f++)
            s.frame[f].day = s.frame[f].balance = s.frame[f].stars = s.frame[f].key = 0.5;
        ck_assert_int_eq(run_shoot(&s, 1, &params, &other, &made), DW_OK);
        for (int f = 1; f <= FRAMES; f++)
            same_images(&k.image[f], &other.image[f], f);
        params.bits = 8;
        ck_assert_int_eq(run_shoot(&s, 1, &params, &other, &made), DW_ERR_USAGE);
        fill_frames(&s);
        free_kept(&k);
        free_kept(&other);
    }
    free_shoot(&s);
}
END_TEST

/* The shoot's map of stars tells in frames that lift any and come from one instant, in no other. */
START_TEST(the_map_of_stars_counts_where_any_is_lifted)
{
    struct shoot s;
    make_shoot(&s, 0);
    struct dw_render_params params = DW_RENDER_DEFAULTS;
    params.bits = 16;
    params.look.star_air = 0;
    s.frame[2].n_sources = 2; /* two instants: stars stand in two ways */
    s.frame[2].source[1] = s.frame[2].source[0];
    s.frame[2].source[0].weight = s.frame[2].source[1].weight = 0.5f;
    struct kept without = {0}, with = {0}, unknown = {0};
    size_t made;
    ck_assert_int_eq(run_shoot(&s, 2, &params, &without, &made), DW_OK);
    struct dw_star pole = {0, 90, 1, 2, 1};
    struct dw_facts *f = &s.decision.facts;
    f->aim = (struct dw_aim){60, {0, 0}, 47.5, 31.5, {0, 0, 1}, {0, 1, 0}, 45};
    f->star = &pole;
    f->n_stars = 1;
    memset(f->open, 1, sizeof f->open);
    ck_assert_int_eq(run_shoot(&s, 2, &params, &with, &made), DW_OK);
    size_t bytes = (size_t)with.image[1].width * (size_t)with.image[1].height * 6;
    for (int i = 0; i < FRAMES; i++)
        if (i < 2)
            ck_assert(memcmp(without.image[i + 1].px16, with.image[i + 1].px16, bytes) != 0);
        else
            same_images(&without.image[i + 1], &with.image[i + 1], i + 1);
    for (int i = 0; i < FRAMES; i++)
        s.frame[i].source[0].sky_deg = (double)NAN;
    ck_assert_int_eq(run_shoot(&s, 2, &params, &unknown, &made), DW_OK);
    for (int i = 0; i < FRAMES; i++)
        same_images(&without.image[i + 1], &unknown.image[i + 1], i + 1);
    free_kept(&without);
    free_kept(&with);
    free_kept(&unknown);
    free_shoot(&s);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("render");
    TCase *c = tcase_create("render");
    tcase_add_test(c, bytes_do_not_depend_on_the_workers);
    tcase_add_test(c, both_ways_make_the_same_picture);
    tcase_add_test(c, turned_pictures_are_the_same);
    tcase_add_test(c, vanished_files_cost_only_their_frames);
    tcase_add_test(c, what_is_there_is_not_made_again);
    tcase_add_test(c, a_failing_sink_stops_the_run);
    tcase_add_test(c, light_is_the_linear_half_alone);
    tcase_add_test(c, renderings_from_one_reading_are_those_made_alone);
    tcase_add_test(c, the_map_of_stars_counts_where_any_is_lifted);
    suite_add_tcase(suite, c);
    return dw_check_main(suite);
}
