/* test_writer.c: frames under their final names, recipes that tell what is there already. */
#include "check_main.h"
#include "output_shoot.h"

#include "base/atomic_file.h"
#include "base/hash.h"
#include "base/pool.h"
#include "output/formats/frame_file.h"

static struct shoot *s;
static struct dw_writer_params params;
static struct dw_render_params render;

static void setup(void)
{
    s = shoot_new(4);
    params = (struct dw_writer_params)DW_WRITER_DEFAULTS;
    params.dir = s->dir;
    render = (struct dw_render_params)DW_RENDER_DEFAULTS;
}

static void teardown(void)
{
    shoot_free(s);
}

static struct dw_writer *writer(void)
{
    struct dw_writer *w;
    struct dw_error err = {0};
    ck_assert_msg(dw_writer_new(&params, &render, &s->shots, &s->d, &w, &err) == DW_OK, "%s",
                  err.text);
    return w;
}

static void write_all(struct dw_writer *w)
{
    struct dw_sink sink = dw_writer_sink(w);
    struct dw_image m = shoot_picture(90, 60, render.bits);
    m.light = render.light;
    for (size_t i = 0; i < s->d.n_frames; i++)
        ck_assert_int_eq(sink.take(sink.ctx, &s->d.frame[i], &m, NULL), DW_OK);
    shoot_picture_free(&m);
}

static int count_had(void)
{
    struct dw_writer *w = writer();
    struct dw_sink sink = dw_writer_sink(w);
    int n = 0;
    for (size_t i = 0; i < s->d.n_frames; i++)
        n += sink.have(sink.ctx, &s->d.frame[i]);
    dw_writer_free(w);
    return n;
}

static void use_tiff(void)
{
    params.format = DW_TIFF;
    render.bits = 16;
}

static void use_exr(void)
{
    params.format = DW_EXR;
    render.bits = 16;
    render.light = true;
}

static void check_rerun(const char *second)
{
    ck_assert_int_eq(count_had(), 0);
    struct dw_writer *w = writer();
    write_all(w);
    dw_writer_free(w);
    ck_assert_int_eq(access(shoot_path(s, second), F_OK), 0);
    ck_assert_int_eq(count_had(), 4);
}

START_TEST(jpeg_frames_are_known_again)
{
    check_rerun("frame-00002.jpg");
}
END_TEST

START_TEST(tiff_frames_are_known_again)
{
    use_tiff();
    check_rerun("frame-00002.tif");
}
END_TEST

/* Light knows nothing of the look: a new one must not make hours of work again. */
START_TEST(light_is_known_again_whatever_the_look)
{
    use_exr();
    check_rerun("frame-00002.exr");
    render.look.star_lift += 0.5f;
    s->d.facts.night_deg -= 3;
    s->d.facts.day_deg += 2;
    s->d.facts.balance_night_deg -= 1;
    s->d.facts.balance_day_deg += 1;
    s->d.facts.night_mul[2] *= 1.1f;
    s->d.facts.night_sky[0] *= 1.1f;
    s->d.facts.night_sky_keys *= 1.1f;
    s->d.facts.aim.bend[0] += 0.1;
    s->d.facts.star[1].share *= 0.9f;
    s->d.facts.open[3][3] = 1;
    s->d.frame[1].day = s->d.frame[1].balance = s->d.frame[1].stars = 0.5;
    ck_assert_int_eq(count_had(), 4);
    render.noise_reduction += 0.25f; /* that is done to light itself */
    ck_assert_int_eq(count_had(), 0);
    render.noise_reduction -= 0.25f;
    s->d.facts.hold.rise[2][3] = 1; /* there what burns out is a glow */
    ck_assert_int_eq(count_had(), 0);
    s->d.facts.hold.rise[2][3] = 0;
    s->d.frame[2].source[0].gain_stops += 0.25;
    ck_assert_int_eq(count_had(), 3);
    s->d.facts.white_mul[0] *= 1.1f;
    ck_assert_int_eq(count_had(), 0);
}
END_TEST

/* Whatever the picture depends on must change the recipe; what it does not depend on must not. */
START_TEST(a_recipe_follows_what_the_frame_is_made_of)
{
    struct dw_writer *w = writer();
    write_all(w);
    dw_writer_free(w);
    s->d.facts.levels[1].black[2] += 0.25f;
    ck_assert_int_eq(count_had(), 0);
    s->d.facts.levels[1].black[2] -= 0.25f;
    s->d.facts.open[3][3] = 1;
    ck_assert_int_eq(count_had(), 0);
    s->d.facts.open[3][3] = 0;
    s->d.facts.hold.rise[2][3] = 1;
    ck_assert_int_eq(count_had(), 0);
    s->d.facts.hold.rise[2][3] = 0;
    render.look.star_lift += 0.5f;
    ck_assert_int_eq(count_had(), 0);
    render.look.star_lift -= 0.5f;
    render.noise_reduction += 0.25f;
    ck_assert_int_eq(count_had(), 0);
    render.noise_reduction -= 0.25f;
    params.jpeg_quality = 91;
    ck_assert_int_eq(count_had(), 0);
    params.jpeg_quality = 92;
    render.size = (struct dw_size){DW_SIZE_FIT, 1920, 1080};
    ck_assert_int_eq(count_had(), 0);
    render.size = (struct dw_size){DW_SIZE_HALF, 0, 0};
    render.space = DW_SPACE_P3;
    ck_assert_int_eq(count_had(), 0);
    render.space = DW_SPACE_SRGB;
    s->d.frame[2].source[0].gain_stops = nextafter(s->d.frame[2].source[0].gain_stops, 9);
    ck_assert_int_eq(count_had(), 3);
    s->d.frame[2].source[0].gain_stops = nextafter(s->d.frame[2].source[0].gain_stops, -9);
    s->shots.shot[0].id.head_hash++;
    ck_assert_int_eq(count_had(), 3);
    s->shots.shot[0].id.head_hash--;
    s->shots.shot[3].id.size++; /* the last frame mixes shots 3 and 2 */
    ck_assert_int_eq(count_had(), 3);
    s->shots.shot[3].id.size--;
    /* A copy on another machine: other times, other folders, hence another survey. */
    s->shots.shot[0].id.mtime_ns += 12345;
    strcpy(s->shots.shot[0].path, "/else/INV.DNG");
    strcpy(s->d.facts.survey_id, "f");
    render.part = 2, render.parts = 3;
    ck_assert_int_eq(count_had(), 4);
}
END_TEST

/* Workers of a pool write the frames of one sink at once. */
struct crowd {
    struct dw_sink sink;
    struct dw_image image;
};

static enum dw_status crowd_item(void *ctx, void *state, size_t i, struct dw_error *err)
{
    (void)state;
    struct crowd *c = ctx;
    if (c->sink.have(c->sink.ctx, &s->d.frame[i]))
        return dw_fail(err, DW_ERR_USAGE, "already there");
    return c->sink.take(c->sink.ctx, &s->d.frame[i], &c->image, err);
}

START_TEST(many_workers_write_what_one_writes)
{
    shoot_free(s);
    s = shoot_new(40);
    params.dir = s->dir;
    uint64_t sum[2];
    for (int round = 0; round < 2; round++) {
        struct dw_writer *w = writer();
        struct crowd c = {dw_writer_sink(w), shoot_picture(90, 60, 8)};
        struct dw_pool_work work = {.item = crowd_item, .ctx = &c, .stage = "writing"};
        struct dw_run run = {.jobs = round ? 4 : 1};
        struct dw_error err = {0};
        ck_assert_msg(dw_pool_run(&work, 40, &run, &err) == DW_OK, "%s", err.text);
        sum[round] = DW_HASH_START;
        for (int i = 1; i <= 40; i++) {
            char name[32], *data;
            size_t n;
            snprintf(name, sizeof name, "frame-%05d.jpg", i);
            ck_assert_int_eq(dw_read_whole(shoot_path(s, name), 1 << 24, &data, &n, NULL), DW_OK);
            sum[round] = dw_hash(sum[round], data, n);
            free(data);
            unlink(shoot_path(s, name));
        }
        shoot_picture_free(&c.image);
        dw_writer_free(w);
    }
    ck_assert_uint_eq(sum[0], sum[1]);
}
END_TEST

static void damage(const char *name, long at_from_end, const char *bytes, size_t n, bool cut)
{
    FILE *f = fopen(shoot_path(s, name), "r+b");
    ck_assert_ptr_nonnull(f);
    fseek(f, -at_from_end, SEEK_END);
    long at = ftell(f);
    fwrite(bytes, 1, n, f);
    fclose(f);
    if (cut)
        ck_assert_int_eq(truncate(shoot_path(s, name), at), 0);
}

START_TEST(frames_that_are_not_whole_are_made_again)
{
    struct dw_writer *w = writer();
    write_all(w);
    dw_writer_free(w);
    damage("frame-00001.jpg", 1, "", 0, true);
    damage("frame-00002.jpg", 2, "\0\0", 2, false);
    damage("frame-00003.jpg", 300, "", 0, true);
    ck_assert_int_eq(count_had(), 1);
    ck_assert_int_eq(truncate(shoot_path(s, "frame-00004.jpg"), 0), 0);
    ck_assert_int_eq(count_had(), 0);
    use_tiff();
    w = writer();
    write_all(w);
    dw_writer_free(w);
    damage("frame-00001.tif", 1, "", 0, true); /* the directory stands last */
    damage("frame-00002.tif", 100, "", 0, true);
    ck_assert_int_eq(truncate(shoot_path(s, "frame-00003.tif"), 2000), 0);
    ck_assert_int_eq(count_had(), 1);
    use_exr();
    w = writer();
    write_all(w);
    dw_writer_free(w);
    damage("frame-00001.exr", 1, "", 0, true);
    damage("frame-00002.exr", 300, "", 0, true);
    ck_assert_int_eq(truncate(shoot_path(s, "frame-00003.exr"), 500), 0);
    ck_assert_int_eq(count_had(), 1);
}
END_TEST

/* Every single byte of a frame's head spoilt in turn: never a crash, never beyond the file (the
 * sanitizers watch), and most often "not ours". */
START_TEST(hostile_frames_are_survived)
{
    static const char *const names[] = {"frame-00001.jpg", "frame-00001.tif", "frame-00001.exr"};
    for (int k = 0; k < 3; k++) {
        if (k == 1)
            use_tiff();
        if (k == 2)
            use_exr();
        params.compression = DW_COMPRESS_NONE;
        struct dw_writer *w = writer();
        write_all(w);
        dw_writer_free(w);
        char *data, recipe[33], was[33];
        size_t n;
        ck_assert_int_eq(dw_read_whole(shoot_path(s, names[k]), 1 << 24, &data, &n, NULL), DW_OK);
        ck_assert(dw_frame_file_recipe(shoot_path(s, names[k]), params.format, was));
        size_t from = k == 1 ? n - 1200 : 0, to = k == 1 ? n : 1000;
        for (size_t i = from; i < to; i++) {
            char keep = data[i];
            for (int bad = 0; bad < 2; bad++) {
                data[i] = bad ? (char)0xff : (char)(keep ^ 0x41);
                FILE *f = fopen(shoot_path(s, "x"), "wb");
                fwrite(data, 1, n, f);
                fclose(f);
                if (dw_frame_file_recipe(shoot_path(s, "x"), params.format, recipe))
                    ck_assert_uint_eq(strlen(recipe), 32);
            }
            data[i] = keep;
        }
        free(data);
    }
    char recipe[33];
    ck_assert(!dw_frame_file_recipe(s->dir, DW_JPEG, recipe)); /* a folder */
    ck_assert(!dw_frame_file_recipe("/dev/null", DW_TIFF, recipe));
    ck_assert(!dw_frame_file_recipe(shoot_path(s, "nothing"), DW_TIFF, recipe));
}
END_TEST

START_TEST(tidying_takes_only_what_is_ours)
{
    struct dw_writer *w = writer();
    write_all(w);
    dw_writer_free(w);
    ck_assert_int_eq(dw_write_whole(shoot_path(s, "frame-00099.jpg"), "mine", 4, false, NULL),
                     DW_OK);
    ck_assert_int_eq(dw_write_whole(shoot_path(s, ".frame-00001.jpg.part"), "half", 4, false, NULL),
                     DW_OK);
    char from[256];
    strcpy(from, shoot_path(s, "frame-00004.jpg"));
    ck_assert_int_eq(link(from, shoot_path(s, "frame-4.jpg")), 0);
    ck_assert_int_eq(link(from, shoot_path(s, "frame-00007.jpg")), 0);
    ck_assert_int_eq(link(from, shoot_path(s, "frame-00004.jpg.bak")), 0);
    s->d.n_frames = 2;
    w = writer();
    dw_writer_tidy(w);
    dw_writer_free(w);
    use_tiff(); /* two JPEG files stay, and that is told; a person's file is not counted */
    ck_assert_int_eq(dw_write_whole(shoot_path(s, "frame-00001.exr"), "mine", 4, false, NULL),
                     DW_OK);
    w = writer();
    ck_assert_uint_eq(dw_writer_tidy(w), 2);
    dw_writer_free(w);
    s->d.n_frames = 4;
    ck_assert_int_eq(access(shoot_path(s, "frame-00002.jpg"), F_OK), 0);
    ck_assert_int_ne(access(shoot_path(s, "frame-00003.jpg"), F_OK), 0);
    ck_assert_int_ne(access(shoot_path(s, "frame-00004.jpg"), F_OK), 0);
    ck_assert_int_ne(access(shoot_path(s, "frame-00007.jpg"), F_OK), 0);
    ck_assert_int_ne(access(shoot_path(s, ".frame-00001.jpg.part"), F_OK), 0);
    ck_assert_int_eq(access(shoot_path(s, "frame-00099.jpg"), F_OK), 0);
    ck_assert_int_eq(access(shoot_path(s, "frame-4.jpg"), F_OK), 0);
    ck_assert_int_eq(access(shoot_path(s, "frame-00004.jpg.bak"), F_OK), 0);
}
END_TEST

/* /dev/full gives ENOSPC for every write (full(4)); the temporary's name leads there. */
START_TEST(a_full_disk_says_so_and_leaves_no_half)
{
    if (access("/dev/full", W_OK) != 0) {
        fprintf(stderr, "# no /dev/full here: not tried\n");
        return;
    }
    struct dw_writer *w = writer();
    struct dw_sink sink = dw_writer_sink(w);
    struct dw_image m = shoot_picture(90, 60, 8);
    struct dw_error err = {0};
    ck_assert_int_eq(symlink("/dev/full", shoot_path(s, ".frame-00001.jpg.part")), 0);
    ck_assert_int_eq(sink.take(sink.ctx, &s->d.frame[0], &m, &err), DW_ERR_FULL);
    ck_assert_ptr_nonnull(strstr(err.text, "frame-00001.jpg"));
    ck_assert_ptr_nonnull(strstr(err.text, "make room"));
    ck_assert_int_ne(access(shoot_path(s, "frame-00001.jpg"), F_OK), 0);
    ck_assert_int_ne(access(shoot_path(s, ".frame-00001.jpg.part"), F_OK), 0);
    shoot_picture_free(&m);
    dw_writer_free(w);
}
END_TEST

START_TEST(names_grow_beyond_five_digits)
{
    struct dw_writer *w = writer();
    struct dw_sink sink = dw_writer_sink(w);
    struct dw_image m = shoot_picture(9, 6, 8);
    struct dw_frame f = s->d.frame[0];
    f.number = 123456;
    ck_assert_int_eq(sink.take(sink.ctx, &f, &m, NULL), DW_OK);
    ck_assert_int_eq(access(shoot_path(s, "frame-123456.jpg"), F_OK), 0);
    dw_writer_tidy(w);
    ck_assert_int_ne(access(shoot_path(s, "frame-123456.jpg"), F_OK), 0);
    shoot_picture_free(&m);
    dw_writer_free(w);
}
END_TEST

START_TEST(impossible_wishes_are_refused)
{
    struct dw_writer *w;
    struct dw_error err = {0};
    params.jpeg_quality = 101;
    ck_assert_int_eq(dw_writer_new(&params, &render, &s->shots, &s->d, &w, &err), DW_ERR_USAGE);
    ck_assert_ptr_nonnull(strstr(err.text, "101"));
    params.jpeg_quality = 92;
    render.bits = 16;
    ck_assert_int_eq(dw_writer_new(&params, &render, &s->shots, &s->d, &w, &err), DW_ERR_USAGE);
    ck_assert_ptr_null(w);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("writer");
    TCase *c = tcase_create("writer");
    tcase_add_checked_fixture(c, setup, teardown);
    tcase_add_test(c, jpeg_frames_are_known_again);
    tcase_add_test(c, tiff_frames_are_known_again);
    tcase_add_test(c, light_is_known_again_whatever_the_look);
    tcase_add_test(c, a_recipe_follows_what_the_frame_is_made_of);
    tcase_add_test(c, many_workers_write_what_one_writes);
    tcase_add_test(c, frames_that_are_not_whole_are_made_again);
    tcase_add_test(c, hostile_frames_are_survived);
    tcase_add_test(c, tidying_takes_only_what_is_ours);
    tcase_add_test(c, a_full_disk_says_so_and_leaves_no_half);
    tcase_add_test(c, names_grow_beyond_five_digits);
    tcase_add_test(c, impossible_wishes_are_refused);
    suite_add_tcase(suite, c);
    return dw_check_main(suite);
}
