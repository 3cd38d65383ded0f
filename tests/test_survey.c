/* test_survey.c: the survey of a folder and its file: resumed, repaired, kept up to date, and the
 * same whoever made it. The frames are invented (tiny_dng.h). */
#include "check_main.h"
#include "survey_mosaics.h"
#include "tiny_dng.h"

#include "survey/file.h"

#include <fcntl.h>
#include <signal.h>
#include <sys/file.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

static char *root;
static char said[4000]; /* all messages of the last run */
static size_t measured; /* how many shots it had to measure */
static atomic_int stop;

static void make_root(void)
{
    root = tiny_folder();
    stop = 0;
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

static void message(void *ctx, enum dw_level level, const char *text)
{
    (void)ctx;
    (void)level;
    size_t n = strlen(said);
    snprintf(said + n, sizeof said - n, "%s\n", text);
}
static void progress(void *ctx, const char *stage, size_t done, size_t total)
{
    (void)ctx;
    (void)done;
    if (strcmp(stage, "surveying") == 0)
        measured = total;
}

static void put_shot(int i, uint32_t seed)
{
    char name[64], when[32];
    struct tiny_dng t = TINY_DNG;
    mkdir(in_root("shots"), 0777);
    snprintf(name, sizeof name, "shots/I_%04d.DNG", i);
    snprintf(when, sizeof when, "2025:03:28 20:%02d:%02d", i / 60, i % 60);
    t.original = when;
    t.seed = seed;
    t.width = 96;
    tiny_write(in_root(name), &t);
}
static void put_shots(int n)
{
    for (int i = 1; i <= n; i++)
        put_shot(i, (uint32_t)i);
}

static struct dw_shots scan_shots(void)
{
    const char *input = in_root("shots");
    struct dw_scan_params params = DW_SCAN_DEFAULTS;
    struct dw_shots shots;
    struct dw_error err = {0};
    ck_assert_msg(dw_scan(&input, 1, &params, NULL, &shots, &err) >= 0, "%s", err.text);
    return shots;
}

static const struct dw_survey_params params = {6, 4, 40, 50};

static enum dw_status run_survey(const struct dw_shots *shots, const char *file, int jobs,
                                 struct dw_scratch *packs, struct dw_survey *out,
                                 struct dw_error *err)
{
    struct dw_run run = {.jobs = jobs, .message = message, .progress = progress, .stop = &stop};
    said[0] = '\0';
    measured = 0;
    return dw_survey_run(shots, in_root(file), &params, packs, &run, out, err);
}

/* Scans and surveys; fails the test unless that went well. */
static void survey_into(const char *file, int jobs)
{
    struct dw_shots shots = scan_shots();
    struct dw_survey survey;
    struct dw_error err = {0};
    enum dw_status s = run_survey(&shots, file, jobs, NULL, &survey, &err);
    ck_assert_msg(s == DW_OK, "%d %s", s, err.text);
    dw_survey_free(&survey);
    dw_shots_free(&shots);
}

static char *slurp(const char *name, size_t *n)
{
    FILE *f = fopen(in_root(name), "rb");
    ck_assert_ptr_nonnull(f);
    char *data = malloc(1 << 22);
    *n = fread(data, 1, 1 << 22, f);
    fclose(f);
    return data;
}
static void spill(const char *name, const char *data, size_t n)
{
    FILE *f = fopen(in_root(name), "wb");
    ck_assert_ptr_nonnull(f);
    ck_assert_uint_eq(fwrite(data, 1, n, f), n);
    ck_assert_int_eq(fclose(f), 0);
}
static void check_same_bytes(const char *a, const char *b)
{
    size_t n, m;
    char *x = slurp(a, &n), *y = slurp(b, &m);
    ck_assert_uint_eq(n, m);
    ck_assert(memcmp(x, y, n) == 0);
    free(x);
    free(y);
}

START_TEST(bytes_do_not_depend_on_the_number_of_workers)
{
    put_shots(14);
    survey_into("one.dws", 1);
    ck_assert_uint_eq(measured, 14);
    for (int jobs = 2; jobs <= 8; jobs += jobs == 3 ? 5 : 1) {
        char name[20];
        snprintf(name, sizeof name, "jobs%d.dws", jobs);
        survey_into(name, jobs);
        check_same_bytes("one.dws", name);
    }
    struct dw_shots shots = scan_shots();
    struct dw_survey survey;
    struct dw_scratch *packs;
    struct dw_error err = {0};
    ck_assert_int_eq(dw_scratch_open(in_root("packs"), &shots, 0, NULL, &packs, &err), DW_OK);
    ck_assert_int_eq(run_survey(&shots, "packed.dws", 2, packs, &survey, &err), DW_OK);
    check_same_bytes("one.dws", "packed.dws");
    struct dw_mosaic m = {0};
    for (size_t i = 0; i < shots.n; i++)
        ck_assert_int_eq(dw_scratch_get(packs, &shots.shot[i], &m, &err), DW_OK);
    dw_mosaic_free(&m);
    dw_scratch_close(packs, false);
    dw_survey_free(&survey);
    dw_shots_free(&shots);
}
END_TEST

START_TEST(what_is_known_is_not_decoded_again)
{
    put_shots(6);
    struct dw_shots shots = scan_shots();
    struct dw_survey first, again;
    struct dw_error err = {0};
    ck_assert_int_eq(run_survey(&shots, "s.dws", 2, NULL, &first, &err), DW_OK);
    /* the files are gone, so they cannot be decoded: all must come from the survey file */
    ck_assert_int_eq(rename(in_root("shots"), in_root("away")), 0);
    ck_assert_int_eq(run_survey(&shots, "s.dws", 2, NULL, &again, &err), DW_OK);
    ck_assert_uint_eq(measured, 0);
    ck_assert_str_eq(first.id, again.id);
    ck_assert_str_eq(said, "");
    for (size_t i = 0; i < shots.n; i++) {
        const struct dw_measure *a = &first.measure[i], *b = &again.measure[i];
        ck_assert(a->usable && b->usable);
        ck_assert_mem_eq(a->tile, b->tile, 24 * sizeof *a->tile);
        ck_assert_mem_eq(a->black, b->black, sizeof a->black);
        ck_assert_double_eq((double)a->white, (double)b->white);
        ck_assert_double_eq((double)a->noise_dn, (double)b->noise_dn);
        ck_assert_double_eq((double)a->photon_dn, (double)b->photon_dn);
        ck_assert_int_eq(a->width, 96);
        ck_assert_int_eq(b->width, 96);
        ck_assert_uint_eq(a->n_spikes, b->n_spikes);
    }
    dw_survey_free(&first);
    dw_survey_free(&again);
    dw_shots_free(&shots);
}
END_TEST

START_TEST(measures_are_those_of_the_frames)
{
    /* a frame whose every level is known, with one hot pixel */
    struct tiny_dng t = TINY_DNG;
    t.width = 96;
    uint16_t px[96 * 48];
    for (int i = 0; i < 96 * 48; i++)
        px[i] = (uint16_t)(1000 + i / 96 * 10 + (i % 96) % 2 * 400 + i * 37 % 11);
    px[20 * 96 + 31] = 9000;
    t.px = px;
    mkdir(in_root("shots"), 0777);
    tiny_write(in_root("shots/I_0001.DNG"), &t);
    struct dw_shots shots = scan_shots();
    struct dw_survey s;
    struct dw_error err = {0};
    ck_assert_int_eq(run_survey(&shots, "s.dws", 1, NULL, &s, &err), DW_OK);
    ck_assert_msg(s.measure[0].usable, "%s", s.measure[0].problem);
    double sum = 0, n = 0; /* red of the upper left tile: 16x12 pixels */
    for (int y = 0; y < 12; y += 2)
        for (int x = 0; x < 16; x += 2, n++)
            sum += px[y * 96 + x];
    ck_assert_double_eq_tol((double)s.measure[0].tile[0].mean[0], sum / n, 1e-3);
    ck_assert_double_eq((double)s.measure[0].black[1], 512);
    ck_assert_double_eq((double)s.measure[0].white, 15000);

    struct dw_spike *spike;
    ck_assert_int_eq(dw_survey_spikes(&s, 0, &spike, &err), DW_OK);
    int found = 0;
    for (uint32_t i = 0; i < s.measure[0].n_spikes; i++)
        if (spike[i].x == 31 && spike[i].y == 20) {
            found++;
            ck_assert_double_eq((double)spike[i].value, 9000);
            ck_assert_double_eq_tol((double)spike[i].median, px[20 * 96 + 33], 25);
        }
    ck_assert_int_eq(found, 1);
    /* into room of our own: the same; and not more than we were told to make room for */
    uint32_t spots = s.measure[0].n_spikes;
    struct dw_spike *room = calloc(spots + 1, sizeof *room);
    ck_assert_ptr_nonnull(room);
    ck_assert_int_eq(dw_survey_read_spikes(&s, 0, room, &err), DW_OK);
    ck_assert_mem_eq(room, spike, spots * sizeof *room);
    s.measure[0].n_spikes = spots - 1;
    ck_assert_int_eq(dw_survey_read_spikes(&s, 0, room, &err), DW_ERR_FORMAT);
    s.measure[0].n_spikes = spots;
    free(room);
    free(spike);

    struct dw_thumb thumb;
    ck_assert_int_eq(dw_survey_thumb(&s, 0, &thumb, &err), DW_OK);
    ck_assert_int_eq(thumb.block, 4); /* 96 pixels into at most 40 */
    ck_assert_int_eq(thumb.width, 24);
    ck_assert_int_eq(thumb.height, 12);
    for (int b = 0; b < 24 * 12; b++) {
        double level[3] = {0};
        for (int k = 0; k < 16; k++) {
            int x = b % 24 * 4 + k % 4, y = b / 24 * 4 + k / 4;
            level[x % 2 + y % 2] += px[y * 96 + x] / (x % 2 + y % 2 == 1 ? 8.0 : 4.0);
        }
        for (int c = 0; c < 3; c++) /* kept to a step of 2 sqrt(DN) / 255 */
            ck_assert_double_eq_tol((double)thumb.rgb[3 * b + c], (level[c] - 512) / (15000 - 512),
                                    1.1 * sqrt(level[c]) / 255 / (15000 - 512));
    }
    free(thumb.rgb);
    dw_survey_free(&s);
    dw_shots_free(&shots);
}
END_TEST

START_TEST(a_cut_file_is_gone_on_with)
{
    put_shots(10);
    survey_into("whole.dws", 2);
    size_t n;
    char *whole = slurp("whole.dws", &n);
    struct dice d = {3};
    size_t fewest = 99, most = 0;
    for (int round = 0; round < 40; round++) {
        /* anywhere: between records, inside one, inside the header */
        size_t at = round < 3 ? (size_t)round * 20 : (size_t)((double)n * uniform(&d));
        spill("cut.dws", whole, at);
        survey_into("cut.dws", 2);
        check_same_bytes("whole.dws", "cut.dws");
        fewest = measured < fewest ? measured : fewest;
        most = measured > most ? measured : most;
        ck_assert_uint_le(measured, 10);
        if (at > 100)
            ck_assert_uint_le(measured, 10 - (size_t)((double)at / (double)n * 10) + 1);
    }
    ck_assert_uint_lt(fewest, 4); /* what was whole was used */
    ck_assert_uint_eq(most, 10);
    free(whole);
}
END_TEST

START_TEST(damage_is_found_said_and_mended)
{
    put_shots(8);
    survey_into("whole.dws", 2);
    size_t n;
    char *whole = slurp("whole.dws", &n);
    struct dice d = {7};
    for (int round = 0; round < 60; round++) {
        size_t at = round < 12 ? (size_t)round * 8 : (size_t)((double)n * uniform(&d));
        whole[at] ^= (char)(1 << round % 8);
        spill("bad.dws", whole, n);
        whole[at] ^= (char)(1 << round % 8);
        survey_into("bad.dws", 2);
        ck_assert_uint_ge(measured, 1);
        ck_assert_str_ne(said, "");
        check_same_bytes("whole.dws", "bad.dws");
    }
    spill("long.dws", whole, n);
    FILE *f = fopen(in_root("long.dws"), "ab");
    fputs("and something behind the end", f);
    fclose(f);
    survey_into("long.dws", 1);
    ck_assert_uint_eq(measured, 0);
    check_same_bytes("whole.dws", "long.dws");
    free(whole);
}
END_TEST

START_TEST(only_what_changed_is_measured_again)
{
    put_shots(8);
    survey_into("s.dws", 2);
    struct dw_shots shots = scan_shots();
    struct dw_survey s;
    struct dw_error err = {0};
    ck_assert_int_eq(run_survey(&shots, "s.dws", 2, NULL, &s, &err), DW_OK);
    char id[33];
    memcpy(id, s.id, sizeof id);
    dw_survey_free(&s);
    dw_shots_free(&shots);

    put_shot(3, 77); /* changed */
    survey_into("s.dws", 2);
    ck_assert_uint_eq(measured, 1);
    put_shot(9, 9); /* added */
    put_shot(10, 10);
    survey_into("s.dws", 2);
    ck_assert_uint_eq(measured, 2);
    ck_assert_int_eq(unlink(in_root("shots/I_0005.DNG")), 0); /* removed */
    survey_into("s.dws", 2);
    ck_assert_uint_eq(measured, 0);
    survey_into("fresh.dws", 1);
    check_same_bytes("fresh.dws", "s.dws"); /* nothing stale stays behind */

    shots = scan_shots();
    ck_assert_int_eq(run_survey(&shots, "s.dws", 2, NULL, &s, &err), DW_OK);
    ck_assert_str_ne(id, s.id); /* another shoot by now */
    dw_survey_free(&s);
    dw_shots_free(&shots);

    ck_assert_int_eq(rename(in_root("shots"), in_root("moved")), 0); /* no change at all */
    ck_assert_int_eq(mkdir(in_root("shots"), 0777), 0);
    ck_assert_int_eq(rename(in_root("moved"), in_root("shots/deeper")), 0);
    survey_into("s.dws", 2);
    ck_assert_uint_eq(measured, 0);
}
END_TEST

START_TEST(other_parameters_are_another_survey)
{
    put_shots(3);
    survey_into("s.dws", 1);
    struct dw_shots shots = scan_shots();
    struct dw_survey s;
    struct dw_error err = {0};
    struct dw_survey_params other = params;
    other.cols = 7;
    struct dw_run run = {.jobs = 1, .message = message, .progress = progress};
    measured = 0;
    ck_assert_int_eq(dw_survey_run(&shots, in_root("s.dws"), &other, NULL, &run, &s, &err), DW_OK);
    ck_assert_uint_eq(measured, 3);
    ck_assert_int_eq(s.cols, 7);
    ck_assert(isfinite(s.measure[2].tile[27].mean[1]));
    dw_survey_free(&s);
    other.cols = 0;
    ck_assert_int_eq(dw_survey_run(&shots, in_root("s.dws"), &other, NULL, &run, &s, &err),
                     DW_ERR_USAGE);
    dw_shots_free(&shots);
}
END_TEST

START_TEST(foreign_and_newer_files_are_not_taken_for_ours)
{
    put_shots(2);
    spill("s.dws", "Dear diary, today the sky was clear.\n", 37);
    survey_into("s.dws", 1);
    ck_assert_ptr_nonnull(strstr(said, "not a survey file"));
    size_t n;
    char *aside = slurp("s.dws.aside", &n); /* moved, not lost */
    ck_assert_uint_eq(n, 37);
    ck_assert_mem_eq(aside, "Dear diary", 10);
    free(aside);

    char *whole = slurp("s.dws", &n);
    whole[20]++; /* the format's version */
    spill("newer.dws", whole, n);
    survey_into("newer.dws", 1);
    ck_assert_uint_eq(measured, 2);
    ck_assert_str_ne(said, "");
    check_same_bytes("s.dws", "newer.dws");
    free(whole);

    struct dw_shots shots = scan_shots();
    struct dw_survey s;
    struct dw_error err = {0};
    mkdir(in_root("folder.dws"), 0777);
    ck_assert_int_eq(run_survey(&shots, "folder.dws", 1, NULL, &s, &err), DW_ERR_IO);
    ck_assert_int_eq(run_survey(&shots, "no/such/s.dws", 1, NULL, &s, &err), DW_ERR_IO);
    ck_assert_ptr_nonnull(strstr(err.text, "no/such/s.dws"));
    dw_shots_free(&shots);
}
END_TEST

START_TEST(two_runs_at_once_are_told_apart)
{
    put_shots(2);
    struct dw_shots shots = scan_shots();
    struct dw_survey s;
    struct dw_error err = {0};
    int fd = open(in_root("s.dws"), O_RDWR | O_CREAT, 0666);
    ck_assert_int_eq(flock(fd, LOCK_EX), 0);
    ck_assert_int_eq(run_survey(&shots, "s.dws", 1, NULL, &s, &err), DW_ERR_BUSY);
    ck_assert_ptr_nonnull(strstr(err.text, "in use"));
    close(fd);
    ck_assert_int_eq(run_survey(&shots, "s.dws", 1, NULL, &s, &err), DW_OK);
    struct dw_survey second; /* done means free for others, though the first is still read from */
    ck_assert_int_eq(run_survey(&shots, "s.dws", 1, NULL, &second, &err), DW_OK);
    struct dw_thumb thumb;
    ck_assert_int_eq(dw_survey_thumb(&s, 1, &thumb, &err), DW_OK);
    free(thumb.rgb);
    dw_survey_free(&s);
    dw_survey_free(&second);
    dw_shots_free(&shots);
}
END_TEST

START_TEST(broken_frames_are_measures_that_say_why)
{
    put_shots(5);
    ck_assert_int_eq(truncate(in_root("shots/I_0002.DNG"), 9000), 0);
    ck_assert_int_eq(truncate(in_root("shots/I_0004.DNG"), 0), 0);
    for (int again = 0; again < 2; again++) {
        struct dw_shots shots = scan_shots();
        struct dw_survey s;
        struct dw_error err = {0};
        ck_assert_msg(run_survey(&shots, "s.dws", 2, NULL, &s, &err) == DW_OK, "%s", err.text);
        ck_assert_uint_eq(s.n, 5);
        int broken = 0;
        for (size_t i = 0; i < 5; i++) {
            bool bad = strstr(shots.shot[i].name, "2.") || strstr(shots.shot[i].name, "4.");
            ck_assert_int_eq(s.measure[i].usable, !bad);
            broken += bad;
            if (!bad)
                continue;
            ck_assert_str_ne(s.measure[i].problem, "");
            ck_assert(isnan(s.measure[i].tile[0].mean[1]));
            struct dw_thumb thumb;
            struct dw_spike *spike;
            ck_assert_int_lt(dw_survey_thumb(&s, i, &thumb, &err), 0);
            ck_assert_ptr_null(thumb.rgb);
            ck_assert_int_lt(dw_survey_spikes(&s, i, &spike, &err), 0);
            ck_assert_ptr_null(spike);
        }
        ck_assert_int_eq(broken, 2);
        if (again)
            ck_assert_uint_eq(measured, 0);
        dw_survey_free(&s);
        dw_shots_free(&shots);
    }
}
END_TEST

START_TEST(frames_that_cannot_be_reached_are_tried_again)
{
    put_shots(3);
    struct dw_shots shots = scan_shots();
    struct dw_survey s;
    struct dw_error err = {0};
    ck_assert_int_eq(rename(in_root("shots/I_0002.DNG"), in_root("elsewhere")), 0);
    ck_assert_int_eq(run_survey(&shots, "s.dws", 1, NULL, &s, &err), DW_OK);
    ck_assert(!s.measure[1].usable);
    dw_survey_free(&s);
    ck_assert_int_eq(rename(in_root("elsewhere"), in_root("shots/I_0002.DNG")), 0);
    ck_assert_int_eq(run_survey(&shots, "s.dws", 1, NULL, &s, &err), DW_OK);
    ck_assert_uint_eq(measured, 1);
    ck_assert(s.measure[1].usable);
    dw_survey_free(&s);
    dw_shots_free(&shots);
}
END_TEST

START_TEST(a_stopped_run_is_gone_on_with)
{
    put_shots(60);
    survey_into("whole.dws", 2);
    struct dw_shots shots = scan_shots();
    struct dw_survey s;
    struct dw_error err = {0};
    stop = 1; /* before anything */
    ck_assert_int_eq(run_survey(&shots, "s.dws", 2, NULL, &s, &err), DW_ERR_INTERRUPTED);
    ck_assert_ptr_null(s.measure);
    stop = 0;
    dw_shots_free(&shots);
    survey_into("s.dws", 2);
    ck_assert_uint_eq(measured, 60);
    check_same_bytes("whole.dws", "s.dws");
}
END_TEST

START_TEST(a_full_disk_stops_cleanly)
{
    /* A limit on the size of files stands in for it. */
    put_shots(10);
    survey_into("whole.dws", 1);
    size_t n;
    free(slurp("whole.dws", &n));
    struct dw_shots shots = scan_shots();
    struct dw_survey s;
    struct dw_error err = {0};
    signal(SIGXFSZ, SIG_IGN);
    struct rlimit limit = {n / 2, RLIM_INFINITY};
    ck_assert_int_eq(setrlimit(RLIMIT_FSIZE, &limit), 0);
    ck_assert_int_eq(run_survey(&shots, "s.dws", 2, NULL, &s, &err), DW_ERR_FULL);
    limit.rlim_cur = RLIM_INFINITY;
    ck_assert_int_eq(setrlimit(RLIMIT_FSIZE, &limit), 0);
    ck_assert_ptr_nonnull(strstr(err.text, "make room"));
    dw_shots_free(&shots);
    survey_into("s.dws", 2);
    ck_assert_uint_lt(measured, 8); /* what fitted was used */
    check_same_bytes("whole.dws", "s.dws");
}
END_TEST

START_TEST(killed_at_any_moment_it_ends_the_same)
{
    put_shots(80);
    survey_into("whole.dws", 2);
    struct dw_shots shots = scan_shots();
    struct dice d = {11};
    int killed = 0;
    for (int round = 0; round < 60; round++) {
        pid_t child = fork();
        if (child == 0) {
            /* without Check: it reports every check on one stream, and half a report, when this is
             * killed, is the end of all tests */
            struct dw_survey survey;
            struct dw_error err = {0};
            _exit(run_survey(&shots, "s.dws", 2, NULL, &survey, &err) == DW_OK ? 0 : 1);
        }
        ck_assert_int_ge(child, 0);
        usleep((useconds_t)(500 + 25000 * uniform(&d)));
        kill(child, SIGKILL);
        int status;
        ck_assert_int_eq(waitpid(child, &status, 0), child);
        if (WIFEXITED(status)) {
            ck_assert_int_eq(WEXITSTATUS(status), 0);
            check_same_bytes("whole.dws", "s.dws");
            unlink(in_root("s.dws"));
        } else {
            killed++;
        }
    }
    dw_shots_free(&shots);
    ck_assert_int_gt(killed, 0);
    survey_into("s.dws", 2);
    check_same_bytes("whole.dws", "s.dws");
}
END_TEST

START_TEST(nothing_to_survey_is_an_empty_survey)
{
    struct dw_shots none = {0};
    struct dw_survey s;
    struct dw_error err = {0};
    ck_assert_int_eq(run_survey(&none, "s.dws", 2, NULL, &s, &err), DW_OK);
    ck_assert_uint_eq(s.n, 0);
    struct dw_thumb thumb;
    ck_assert_int_eq(dw_survey_thumb(&s, 0, &thumb, &err), DW_ERR_EMPTY);
    dw_survey_free(&s);
    dw_survey_free(&s); /* harmless */
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("survey");
    TCase *t = tcase_create("survey");
    tcase_add_checked_fixture(t, make_root, remove_root);
    tcase_add_test(t, bytes_do_not_depend_on_the_number_of_workers);
    tcase_add_test(t, what_is_known_is_not_decoded_again);
    tcase_add_test(t, measures_are_those_of_the_frames);
    tcase_add_test(t, a_cut_file_is_gone_on_with);
    tcase_add_test(t, damage_is_found_said_and_mended);
    tcase_add_test(t, only_what_changed_is_measured_again);
    tcase_add_test(t, other_parameters_are_another_survey);
    tcase_add_test(t, foreign_and_newer_files_are_not_taken_for_ours);
    tcase_add_test(t, two_runs_at_once_are_told_apart);
    tcase_add_test(t, broken_frames_are_measures_that_say_why);
    tcase_add_test(t, frames_that_cannot_be_reached_are_tried_again);
    tcase_add_test(t, a_stopped_run_is_gone_on_with);
    tcase_add_test(t, a_full_disk_stops_cleanly);
    tcase_add_test(t, killed_at_any_moment_it_ends_the_same);
    tcase_add_test(t, nothing_to_survey_is_an_empty_survey);
    suite_add_tcase(suite, t);
    return dw_check_main(suite);
}
