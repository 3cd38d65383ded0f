/* test_scratch.c: packed mosaics come back bit for bit, and nothing that happens to their folder
 * harms anybody. All pictures are invented. */
#include "check_main.h"
#include "survey_mosaics.h"
#include "tiny_dng.h"

#include "base/pool.h"
#include "survey/checksum.h"
#include "survey/pack_kernels.h"

#include <dirent.h>
#include <signal.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

static char *root; /* a folder of the test's own */

static void make_root(void)
{
    root = tiny_folder();
}
static void remove_root(void)
{
    tiny_remove(root);
}
static const char *in_root(const char *name)
{
    static char path[4][300];
    static int next;
    next = (next + 1) % 4;
    snprintf(path[next], sizeof path[next], "%s/%s", root, name);
    return path[next];
}

/* Number of files in the scratch; the last one's path. */
static int files(char last[600])
{
    DIR *d = opendir(in_root("scratch"));
    int n = 0;
    for (struct dirent *e; d && (e = readdir(d)) != NULL;)
        if (e->d_name[0] != '.' || strstr(e->d_name, ".part")) {
            n++;
            if (last)
                snprintf(last, 600, "%s/%s", in_root("scratch"), e->d_name);
        }
    if (d)
        closedir(d);
    return n;
}

static char names[16][16];
static struct dw_shot shot[16];

static struct dw_shots some_shots(size_t n)
{
    for (size_t i = 0; i < n; i++) {
        snprintf(names[i], sizeof names[i], "I_%04zu.DNG", i);
        shot[i] = (struct dw_shot){.path = names[i],
                                   .name = names[i],
                                   .readable = true,
                                   .id = {1000 + i, 77, 5},
                                   .width = 64,
                                   .height = 48};
    }
    return (struct dw_shots){.shot = shot, .n = n};
}

static struct dw_scratch *must_open(const struct dw_shots *shots)
{
    struct dw_scratch *s = NULL;
    struct dw_error err = {0};
    ck_assert_msg(dw_scratch_open(in_root("scratch"), shots, 0, NULL, &s, &err) == DW_OK, "%s",
                  err.text);
    return s;
}

static void fill(struct dw_mosaic *m, struct dice *d, int kind)
{
    for (size_t i = 0; i < m->samples; i++)
        m->px[i] = kind == 0   ? (uint16_t)(65536 * uniform(d))
                   : kind == 1 ? (uint16_t)(600 + 20 * normal(d))
                   : kind == 2 ? (uint16_t)(i % 2 ? 65535 : 0)
                               : 0;
    m->black[2] = 511.25f;
}

static void check_equal(const struct dw_mosaic *a, const struct dw_mosaic *b)
{
    ck_assert_int_eq(a->width, b->width);
    ck_assert_int_eq(a->height, b->height);
    ck_assert_int_eq(a->cfa, b->cfa);
    ck_assert_int_eq(a->period, b->period);
    ck_assert_uint_eq(a->samples, b->samples);
    ck_assert_mem_eq(a->pattern, b->pattern, sizeof a->pattern);
    ck_assert_mem_eq(a->black, b->black, sizeof a->black);
    ck_assert_mem_eq(&a->white, &b->white, sizeof a->white);
    ck_assert_mem_eq(a->px, b->px, a->samples * sizeof *a->px);
}

START_TEST(differences_fold_to_small_numbers_and_back)
{
    uint16_t p[6] = {10, 9, 11, 8, 65535, 0}, before[6] = {10, 10, 10, 10, 0, 65535}, back[6];
    uint8_t low[6], high[6];
    dw_pack_split(p, before, 6, low, high);
    static const uint8_t expected[6] = {0, 1, 2, 3, 1, 2}; /* 0, -1, 1, -2; modulo 2^16 -1, 1 */
    ck_assert_mem_eq(low, expected, 6);
    ck_assert_mem_eq(high, "\0\0\0\0\0\0", 6);
    dw_pack_join(low, high, before, 6, back);
    ck_assert_mem_eq(back, p, sizeof p);
    /* all 65536 differences, in place as rows are joined */
    static uint16_t all[65536], zero[65536], again[65536];
    static uint8_t l[65536], h[65536];
    for (int i = 0; i < 65536; i++)
        all[i] = (uint16_t)i;
    dw_pack_split(all, zero, 65536, l, h);
    dw_pack_join(l, h, zero, 65536, again);
    ck_assert_mem_eq(again, all, sizeof all);
}
END_TEST

START_TEST(checksum_sees_every_bit)
{
    unsigned char data[100];
    for (int i = 0; i < 100; i++)
        data[i] = (unsigned char)(i * 7);
    for (size_t n = 0; n <= 100; n += 11) {
        uint64_t whole = dw_checksum(data, n);
        for (size_t bit = 0; bit < 8 * n; bit++) {
            data[bit / 8] ^= (unsigned char)(1 << bit % 8);
            ck_assert_uint_ne(dw_checksum(data, n), whole);
            data[bit / 8] ^= (unsigned char)(1 << bit % 8);
        }
        if (n > 0)
            ck_assert_uint_ne(dw_checksum(data, n - 1), whole);
    }
}
END_TEST

START_TEST(every_mosaic_comes_back_bit_for_bit)
{
    static const char *const patterns[] = {"RGGB", "BGGR", "GRBG", "GBRG", "X", "M", "3"};
    static const int size[][2] = {{1, 1}, {3, 7}, {65, 47}, {301, 203}, {1999, 401}};
    struct dice d = {5};
    struct dw_shots shots = some_shots(1);
    struct dw_mosaic back = {0};
    struct dw_error err = {0};
    for (int p = 0; p < 7; p++)
        for (int k = 0; k < 5; k++)
            for (int kind = 0; kind < 4; kind++) {
                struct dw_scratch *s = must_open(&shots);
                struct dw_mosaic m = new_mosaic(size[k][0], size[k][1], patterns[p]);
                fill(&m, &d, kind);
                ck_assert_msg(dw_scratch_put(s, &shot[0], &m, &err) == DW_OK, "%s", err.text);
                ck_assert_msg(dw_scratch_get(s, &shot[0], &back, &err) == DW_OK, "%s", err.text);
                check_equal(&m, &back);
                dw_scratch_close(s, false);
                ck_assert_int_ne(access(in_root("scratch"), F_OK), 0);
                dw_mosaic_free(&m);
            }
    dw_mosaic_free(&back);
}
END_TEST

START_TEST(noise_of_a_sky_packs_to_half)
{
    struct dice d = {9};
    struct dw_shots shots = some_shots(1);
    struct dw_scratch *s = must_open(&shots);
    struct dw_mosaic m = new_mosaic(1200, 800, "RGGB");
    struct dw_error err = {0};
    fill(&m, &d, 1);
    ck_assert_int_eq(dw_scratch_put(s, &shot[0], &m, &err), DW_OK);
    char path[600];
    struct stat st;
    ck_assert_int_eq(files(path), 1);
    ck_assert_int_eq(stat(path, &st), 0);
    ck_assert_int_lt(st.st_size, (off_t)(0.6 * 2 * (double)m.samples)); /* what room is made for */
    dw_scratch_close(s, true);
    dw_mosaic_free(&m);
}
END_TEST

START_TEST(damaged_packs_are_removed_and_said)
{
    struct dice d = {13};
    struct dw_shots shots = some_shots(2);
    struct dw_scratch *s = must_open(&shots);
    struct dw_mosaic m = new_mosaic(200, 150, "RGGB"), back = {0};
    struct dw_error err = {0};
    fill(&m, &d, 1);
    for (int round = 0; round < 60; round++) {
        char path[600];
        ck_assert_int_eq(dw_scratch_put(s, &shot[0], &m, &err), DW_OK);
        ck_assert_int_eq(files(path), 1);
        struct stat st;
        ck_assert_int_eq(stat(path, &st), 0);
        long at = (long)((double)st.st_size * uniform(&d));
        if (round % 3 == 0) {
            ck_assert_int_eq(truncate(path, at), 0);
        } else {
            FILE *f = fopen(path, "r+b");
            ck_assert_ptr_nonnull(f);
            fseek(f, at, SEEK_SET);
            int c = fgetc(f);
            fseek(f, at, SEEK_SET);
            fputc(c ^ 1 << round % 8, f);
            fclose(f);
        }
        ck_assert_int_eq(dw_scratch_get(s, &shot[0], &back, &err), DW_WARN);
        ck_assert_int_eq(files(NULL), 0);
    }
    /* the pack of another shot under this one's name */
    char one[600], two[600];
    ck_assert_int_eq(dw_scratch_put(s, &shot[0], &m, &err), DW_OK);
    ck_assert_int_eq(files(one), 1);
    snprintf(two, sizeof two, "%s", one);
    ck_assert_int_eq(unlink(one), 0);
    ck_assert_int_eq(dw_scratch_put(s, &shot[1], &m, &err), DW_OK);
    ck_assert_int_eq(files(one), 1);
    ck_assert_int_eq(rename(one, two), 0);
    ck_assert_int_eq(dw_scratch_get(s, &shot[0], &back, &err), DW_WARN);
    ck_assert_int_eq(dw_scratch_get(s, &shot[1], &back, &err), DW_WARN);
    dw_scratch_close(s, false);
    dw_mosaic_free(&m);
    dw_mosaic_free(&back);
}
END_TEST

START_TEST(changed_frames_are_other_frames)
{
    struct dice d = {15};
    struct dw_shots shots = some_shots(1);
    struct dw_scratch *s = must_open(&shots);
    struct dw_mosaic m = new_mosaic(64, 48, "RGGB"), back = {0};
    struct dw_error err = {0};
    fill(&m, &d, 1);
    ck_assert_int_eq(dw_scratch_get(s, &shot[0], &back, &err), DW_WARN);
    ck_assert_int_eq(dw_scratch_put(s, &shot[0], &m, &err), DW_OK);
    struct dw_shot other = shot[0];
    other.id.mtime_ns++;
    ck_assert_int_eq(dw_scratch_get(s, &other, &back, &err), DW_WARN);
    other = shot[0];
    other.id.head_hash++;
    ck_assert_int_eq(dw_scratch_get(s, &other, &back, &err), DW_WARN);
    other = shot[0];
    other.path = names[5]; /* a moved folder is no change */
    ck_assert_int_eq(dw_scratch_get(s, &other, &back, &err), DW_OK);
    dw_scratch_close(s, true);
    dw_mosaic_free(&m);
    dw_mosaic_free(&back);
}
END_TEST

START_TEST(kept_or_removed_as_asked)
{
    struct dice d = {17};
    struct dw_shots shots = some_shots(3);
    struct dw_mosaic m = new_mosaic(64, 48, "RGGB"), back = {0};
    struct dw_error err = {0};
    fill(&m, &d, 1);
    struct dw_scratch *s = must_open(&shots);
    for (int i = 0; i < 3; i++)
        ck_assert_int_eq(dw_scratch_put(s, &shot[i], &m, &err), DW_OK);
    dw_scratch_close(s, true);
    ck_assert_int_eq(files(NULL), 3);

    /* leftovers of a killed run go, a stranger's file stays and keeps the folder */
    fclose(fopen(in_root("scratch/notes.txt"), "w"));
    fclose(fopen(in_root("scratch/.0123456789abcdef0123456789abcdef-9-0.dwpack.part"), "w"));
    fclose(fopen(in_root("scratch/0123456789abcdef0123456789abcdef-9-0.dwpack"), "w"));
    s = must_open(&shots);
    ck_assert_int_eq(files(NULL), 4);
    ck_assert_int_eq(dw_scratch_get(s, &shot[2], &back, &err), DW_OK);
    dw_scratch_close(s, false);
    ck_assert_int_eq(files(NULL), 1);
    ck_assert_int_eq(access(in_root("scratch/notes.txt"), F_OK), 0);
    dw_scratch_close(NULL, false);
    dw_mosaic_free(&m);
    dw_mosaic_free(&back);
}
END_TEST

START_TEST(another_holder_keeps_what_it_needs)
{
    struct dice d = {19};
    struct dw_shots shots = some_shots(1);
    struct dw_mosaic m = new_mosaic(64, 48, "RGGB"), back = {0};
    struct dw_error err = {0};
    fill(&m, &d, 1);
    struct dw_scratch *a = must_open(&shots), *b = must_open(&shots);
    ck_assert_int_eq(dw_scratch_put(a, &shot[0], &m, &err), DW_OK);
    dw_scratch_close(a, false); /* b is still there: nothing goes */
    ck_assert_int_eq(dw_scratch_get(b, &shot[0], &back, &err), DW_OK);
    dw_scratch_close(b, false);
    ck_assert_int_ne(access(in_root("scratch"), F_OK), 0);
    dw_mosaic_free(&m);
    dw_mosaic_free(&back);
}
END_TEST

START_TEST(processes_packing_the_same_shots_do_not_meet)
{
    struct dw_shots shots = some_shots(8);
    struct dw_mosaic m = new_mosaic(400, 300, "RGGB"), back = {0};
    struct dw_error err = {0};
    struct dice d = {21};
    fill(&m, &d, 1);
    pid_t child[3];
    for (int k = 0; k < 3; k++) {
        child[k] = fork();
        if (child[k] != 0)
            continue;
        /* without Check, which reports every check on one stream */
        struct dw_scratch *s = NULL;
        int bad = 0;
        if (dw_scratch_open(in_root("scratch"), &shots, 0, NULL, &s, &err) != DW_OK)
            _exit(1);
        for (int i = 0; i < 8; i++) {
            bad += dw_scratch_put(s, &shot[i], &m, &err) != DW_OK;
            bad += dw_scratch_get(s, &shot[i], &back, &err) != DW_OK;
            bad += memcmp(back.px, m.px, m.samples * 2) != 0;
        }
        dw_scratch_close(s, true);
        _exit(bad);
    }
    for (int k = 0; k < 3; k++) {
        int status;
        ck_assert_int_gt(child[k], 0);
        ck_assert_int_eq(waitpid(child[k], &status, 0), child[k]);
        ck_assert(WIFEXITED(status) && WEXITSTATUS(status) == 0);
    }
    ck_assert_int_eq(files(NULL), 8);
    dw_mosaic_free(&m);
}
END_TEST

struct many {
    struct dw_scratch *s;
    const struct dw_mosaic *m;
};
static enum dw_status put_and_get(void *ctx, void *state, size_t i, struct dw_error *err)
{
    struct many *j = ctx;
    struct dw_mosaic back = {0};
    (void)state;
    enum dw_status s = dw_scratch_put(j->s, &shot[i % 8], j->m, err);
    if (s == DW_OK)
        s = dw_scratch_get(j->s, &shot[i % 8], &back, err);
    if (s == DW_OK && memcmp(back.px, j->m->px, j->m->samples * 2) != 0)
        s = dw_fail(err, DW_ERR_FORMAT, "differs");
    dw_mosaic_free(&back);
    return s == DW_WARN ? DW_ERR_FORMAT : s;
}

START_TEST(threads_share_a_scratch)
{
    struct dw_shots shots = some_shots(8);
    struct dw_mosaic m = new_mosaic(400, 300, "GRBG");
    struct dice d = {25};
    fill(&m, &d, 0);
    struct many j = {must_open(&shots), &m};
    struct dw_pool_work work = {NULL, put_and_get, NULL, &j, "packing"};
    struct dw_run run = {.jobs = 4};
    struct dw_error err = {0};
    ck_assert_msg(dw_pool_run(&work, 64, &run, &err) == DW_OK, "%s", err.text);
    dw_scratch_close(j.s, false);
    dw_mosaic_free(&m);
}
END_TEST

START_TEST(no_room_is_no_failure)
{
    /* A limit on the size of files stands in for the full disk. */
    struct dw_shots shots = some_shots(1);
    struct dw_scratch *s = must_open(&shots);
    struct dw_mosaic m = new_mosaic(400, 300, "RGGB"), back = {0};
    struct dice d = {27};
    struct dw_error err = {0};
    fill(&m, &d, 0);
    signal(SIGXFSZ, SIG_IGN);
    struct rlimit limit = {20000, RLIM_INFINITY};
    ck_assert_int_eq(setrlimit(RLIMIT_FSIZE, &limit), 0);
    ck_assert_int_ne(dw_scratch_put(s, &shot[0], &m, &err), DW_OK);
    limit.rlim_cur = RLIM_INFINITY;
    ck_assert_int_eq(setrlimit(RLIMIT_FSIZE, &limit), 0);
    ck_assert_int_eq(files(NULL), 0); /* nothing half-written */
    ck_assert_int_eq(dw_scratch_get(s, &shot[0], &back, &err), DW_WARN);
    dw_scratch_close(s, false);
    dw_mosaic_free(&m);
}
END_TEST

START_TEST(fetching_takes_the_pack_or_decodes)
{
    struct tiny_dng t = TINY_DNG;
    tiny_write(in_root("I_0001.DNG"), &t);
    const char *input = root;
    struct dw_scan_params params = DW_SCAN_DEFAULTS;
    struct dw_shots shots;
    struct dw_error err = {0};
    ck_assert_msg(dw_scan(&input, 1, &params, NULL, &shots, &err) >= 0, "%s", err.text);
    struct dw_decoder *decoder = dw_decoder_new();
    struct dw_mosaic plain = {0}, packed = {0};
    ck_assert_msg(dw_fetch_mosaic(NULL, decoder, &shots.shot[0], &plain, &err) == DW_OK, "%s",
                  err.text);
    struct dw_scratch *s = must_open(&shots);
    ck_assert_int_eq(dw_fetch_mosaic(s, decoder, &shots.shot[0], &packed, &err), DW_OK);
    check_equal(&plain, &packed);
    ck_assert_int_eq(dw_scratch_put(s, &shots.shot[0], &plain, &err), DW_OK);
    ck_assert_int_eq(unlink(shots.shot[0].path), 0); /* now only the pack can be it */
    memset(packed.px, 0, packed.samples * 2);
    ck_assert_int_eq(dw_fetch_mosaic(s, decoder, &shots.shot[0], &packed, &err), DW_OK);
    check_equal(&plain, &packed);
    dw_scratch_close(s, false);
    dw_decoder_free(decoder);
    dw_mosaic_free(&plain);
    dw_mosaic_free(&packed);
    dw_shots_free(&shots);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("scratch");
    TCase *t = tcase_create("scratch");
    tcase_add_checked_fixture(t, make_root, remove_root);
    tcase_add_test(t, differences_fold_to_small_numbers_and_back);
    tcase_add_test(t, checksum_sees_every_bit);
    tcase_add_test(t, every_mosaic_comes_back_bit_for_bit);
    tcase_add_test(t, noise_of_a_sky_packs_to_half);
    tcase_add_test(t, damaged_packs_are_removed_and_said);
    tcase_add_test(t, changed_frames_are_other_frames);
    tcase_add_test(t, kept_or_removed_as_asked);
    tcase_add_test(t, another_holder_keeps_what_it_needs);
    tcase_add_test(t, processes_packing_the_same_shots_do_not_meet);
    tcase_add_test(t, threads_share_a_scratch);
    tcase_add_test(t, no_room_is_no_failure);
    tcase_add_test(t, fetching_takes_the_pack_or_decodes);
    suite_add_tcase(suite, t);
    return dw_check_main(suite);
}
