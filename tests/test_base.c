/* test_base.c: the small things that every stage stands on. */
#include "check_main.h"

#include "base/atomic_file.h"
#include "base/csv.h"
#include "base/hash.h"
#include "base/matrix3.h"
#include "base/pool.h"
#include "base/primaries.h"
#include "base/robust.h"
#include "base/search.h"
#include "base/sort.h"
#include "base/text.h"
#include "base/when.h"

#include <math.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

/* FNV-1a 64 bit: vectors from the FNV page of Noll, also in RFC draft-eastlake-fnv. */
START_TEST(hash_gives_the_published_vectors)
{
    ck_assert_uint_eq(dw_hash(DW_HASH_START, "", 0), 0xcbf29ce484222325u);
    ck_assert_uint_eq(dw_hash(DW_HASH_START, "a", 1), 0xaf63dc4c8601ec8cu);
    ck_assert_uint_eq(dw_hash(DW_HASH_START, "foobar", 6), 0x85944171f73967e8u);
}
END_TEST

START_TEST(text_from_outside_is_made_printable)
{
    char out[64];
    dw_text_clean(out, sizeof out, "  plain\t", 8);
    ck_assert_str_eq(out, "plain");
    dw_text_clean(out, sizeof out, "a\x01\x80z", 4);
    ck_assert_str_eq(out, "a\\x01\\x80z");
    dw_text_clean(out, sizeof out, "\xc3\xa9t\xc3\xa9", 5); /* valid UTF-8 stays */
    ck_assert_str_eq(out, "\xc3\xa9t\xc3\xa9");
    dw_text_clean(out, sizeof out, "\xc0\xaf", 2); /* overlong slash */
    ck_assert_str_eq(out, "\\xc0\\xaf");
    char small[6];
    dw_text_clean(small, sizeof small, "ab\x01\x02", 4); /* escapes are not cut in half */
    ck_assert_str_eq(small, "ab");
}
END_TEST

START_TEST(a_name_told_already_is_taken_off)
{
    ck_assert_str_eq(dw_text_after_name("/card/A.DNG: is empty", "/card/A.DNG"), "is empty");
    ck_assert_str_eq(dw_text_after_name("/card/A.DNGX: is", "/card/A.DNG"), "/card/A.DNGX: is");
    ck_assert_str_eq(dw_text_after_name("is empty", ""), "is empty");
}
END_TEST

/* sRGB to XYZ as IEC 61966-2-1 prints it (four decimals), and BT.2020 luminance by ITU-R BT.2020.
 */
START_TEST(primaries_give_the_published_matrices)
{
    static const double srgb[9] = {0.4124, 0.3576, 0.1805, 0.2126, 0.7152,
                                   0.0722, 0.0193, 0.1192, 0.9505};
    double m[9];
    dw_primaries_to_xyz(&dw_primaries_srgb, m);
    for (int i = 0; i < 9; i++)
        ck_assert_double_eq_tol(m[i], srgb[i], 6e-5);
    dw_primaries_to_xyz(&dw_primaries_bt2020, m);
    ck_assert_double_eq_tol(m[3], 0.2627, 5e-5);
    ck_assert_double_eq_tol(m[4], 0.6780, 5e-5);
    ck_assert_double_eq_tol(m[5], 0.0593, 5e-5);
}
END_TEST

START_TEST(distance_counts_single_edits)
{
    ck_assert_int_eq(dw_text_distance("kitten", "sitting"), 3);
    ck_assert_int_eq(dw_text_distance("", "abc"), 3);
    ck_assert_int_eq(dw_text_distance("form", "from"), 1); /* neighbours swapped */
    ck_assert_int_eq(dw_text_distance("same", "same"), 0);
}
END_TEST

START_TEST(csv_survives_a_round_trip)
{
    struct dw_buffer b = {0};
    dw_csv_text(&b, "name");
    dw_csv_text(&b, "value");
    dw_csv_end_line(&b);
    dw_csv_text(&b, "comma, \"quote\"\nand line");
    dw_csv_number(&b, -0.00001, 3);
    dw_csv_end_line(&b);
    dw_csv_text(&b, "");
    dw_csv_number(&b, (double)NAN, 3);
    dw_csv_end_line(&b);
    struct dw_csv t;
    ck_assert_int_eq(dw_csv_parse("t", b.data, b.n, &t, NULL), DW_OK);
    ck_assert_uint_eq(t.rows, 2);
    ck_assert_uint_eq(t.cols, 2);
    ck_assert_str_eq(dw_csv_field(&t, 0, 0), "comma, \"quote\"\nand line");
    ck_assert_str_eq(dw_csv_field(&t, 0, dw_csv_column(&t, "value")), "0.000");
    ck_assert_str_eq(dw_csv_field(&t, 1, 0), "");
    ck_assert_str_eq(dw_csv_field(&t, 1, 1), "");
    ck_assert_int_eq(dw_csv_column(&t, "absent"), -1);
    dw_csv_free(&t);
    dw_buffer_free(&b);
}
END_TEST

START_TEST(csv_fills_short_lines_and_cuts_long_ones)
{
    const char *text = "\xef\xbb\xbf"
                       "a,b,c\r\n1\r\n1,2,3,4\n\"x\"";
    struct dw_csv t;
    ck_assert_int_eq(dw_csv_parse("t", text, strlen(text), &t, NULL), DW_OK);
    ck_assert_uint_eq(t.rows, 3);
    ck_assert_str_eq(dw_csv_field(&t, 0, 0), "1");
    ck_assert_str_eq(dw_csv_field(&t, 0, 2), "");
    ck_assert_str_eq(dw_csv_field(&t, 1, 2), "3");
    ck_assert_str_eq(dw_csv_field(&t, 2, 0), "x");
    dw_csv_free(&t);
}
END_TEST

START_TEST(matrix_inverse_undoes)
{
    /* invented, but for the published BT.709 matrix: IEC 61966-2-1, four decimals */
    const double m[9] = {0.4124, 0.3576, 0.1805, 0.2126, 0.7152, 0.0722, 0.0193, 0.1192, 0.9505};
    double inverse[9], one[9];
    ck_assert(dw_m3_invert(m, inverse));
    ck_assert_double_eq_tol(inverse[0], 3.2406, 2e-4); /* same source */
    dw_m3_multiply(m, inverse, one);
    for (int i = 0; i < 9; i++)
        ck_assert_double_eq_tol(one[i], i % 4 == 0 ? 1 : 0, 1e-12);
    const double singular[9] = {1, 2, 3, 2, 4, 6, 0, 1, 0};
    ck_assert(!dw_m3_invert(singular, one));
}
END_TEST

/* Values: dense computation published with the robust constants (Huber 1981, Beaton & Tukey 1974);
 * the data are invented. */
START_TEST(robust_statistics_match_the_table)
{
    double v[] = {1.00, 1.10, 0.90, 1.05, 0.95, 1.02, 0.98, 5.00, 1.01, 0.99}, w[10], c[10];
    memcpy(c, v, sizeof v);
    double median = dw_median(c, 10);
    ck_assert_double_eq_tol(median, 1.005, 1e-12);
    ck_assert_double_eq_tol(dw_mad_sigma(v, 10, median, w), 0.051891, 1e-6);
    ck_assert_double_eq(dw_tukey_weight(5, 4.685), 0);
    ck_assert_double_eq(dw_tukey_weight(0, 4.685), 1);
    ck_assert_double_eq_tol(dw_tukey_weight(4.685 / 2, 4.685), 0.5625, 1e-12);
    double odd[] = {3, 1, 2};
    ck_assert_double_eq(dw_median(odd, 3), 2);
    double q[] = {4, 1, 3, 2, 5};
    ck_assert_double_eq_tol(dw_quantile(q, 5, 0.25), 2, 1e-12);
    ck_assert(isnan(dw_median(q, 0)));
}
END_TEST

static int compare_doubles(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* Few values that come often, and many that hardly come twice; the order as it falls, or sorted. */
START_TEST(selection_agrees_with_sorting)
{
    enum { MOST = 400 };
    unsigned seed = 7;
    for (int round = 0; round < 600; round++) {
        size_t n = 1 + (size_t)(rand_r(&seed) % (round % 2 ? MOST : 40));
        double v[MOST], s[MOST];
        for (size_t i = 0; i < n; i++)
            s[i] = v[i] = rand_r(&seed) % (round % 3 ? 10 : 100000);
        qsort(s, n, sizeof *s, compare_doubles);
        size_t k = (size_t)(rand_r(&seed) % (int)n);
        double q = n > 1 ? (double)k / (double)(n - 1) : 0;
        double want = s[k], got = dw_quantile(round % 5 ? v : s, n, q);
        ck_assert_double_eq_tol(got, want, 1e-9);
    }
}
END_TEST

/* What comes of it is not promised, but it must end: pivots are NAN here again and again. */
START_TEST(selection_ends_where_there_is_no_order)
{
    double v[300];
    for (size_t every = 1; every <= 5; every++)
        for (size_t k = 0; k < 300; k += 7) {
            for (size_t i = 0; i < 300; i++)
                v[i] = i % every == 0 ? (double)NAN : (double)(i * 37 % 300);
            dw_quantile(v, 300, (double)k / 299);
        }
}
END_TEST

struct squares {
    int value[500];
    bool last_fails; /* set before the run, only read in it */
};

static enum dw_status square_item(void *ctx, void *state, size_t i, struct dw_error *err)
{
    (void)state;
    struct squares *s = ctx;
    s->value[i] += (int)(i * i);
    if (i == 499 && s->last_fails)
        return dw_fail(err, DW_ERR_IO, "item %zu", i);
    return DW_OK;
}

START_TEST(pool_runs_every_item_once_whatever_the_number_of_workers)
{
    static const int jobs[] = {1, 2, 3, 8, 99};
    for (size_t k = 0; k < 5; k++) {
        static struct squares s;
        memset(&s, 0, sizeof s);
        struct dw_pool_work work = {.item = square_item, .ctx = &s, .stage = "squaring"};
        struct dw_run run = {.jobs = jobs[k]};
        ck_assert_int_eq(dw_pool_run(&work, 500, &run, NULL), DW_OK);
        for (int i = 0; i < 500; i++)
            ck_assert_int_eq(s.value[i], i * i);
    }
}
END_TEST

START_TEST(pool_hands_back_the_failure_and_obeys_the_stop_flag)
{
    static struct squares s;
    memset(&s, 0, sizeof s);
    s.last_fails = true;
    struct dw_pool_work work = {.item = square_item, .ctx = &s, .stage = "squaring"};
    struct dw_run run = {.jobs = 3};
    struct dw_error err = {0};
    ck_assert_int_eq(dw_pool_run(&work, 500, &run, &err), DW_ERR_IO);
    ck_assert_str_eq(err.text, "item 499");
    atomic_int stop = 1;
    run.stop = &stop;
    memset(&s, 0, sizeof s);
    ck_assert_int_eq(dw_pool_run(&work, 500, &run, &err), DW_ERR_INTERRUPTED);
    ck_assert_int_eq(s.value[400], 0);
}
END_TEST

START_TEST(files_appear_whole_or_not_at_all)
{
    char dir[] = "/tmp/dw-test-XXXXXX";
    ck_assert_ptr_nonnull(mkdtemp(dir));
    char *path = dw_join_path(dir, "a.txt");
    struct dw_atomic_file f;
    ck_assert_int_eq(dw_atomic_open(&f, path, true, NULL), DW_OK);
    ck_assert_int_eq(dw_atomic_write(&f, "half", 4, NULL), DW_OK);
    ck_assert_int_ne(access(path, F_OK), 0); /* not yet under its final name */
    dw_atomic_discard(&f);
    ck_assert_int_ne(access(path, F_OK), 0);
    ck_assert_int_eq(dw_write_whole(path, "whole", 5, true, NULL), DW_OK);
    char *data;
    size_t n;
    ck_assert_int_eq(dw_read_whole(path, 100, &data, &n, NULL), DW_OK);
    ck_assert_uint_eq(n, 5);
    ck_assert_str_eq(data, "whole");
    free(data);
    ck_assert_int_eq(dw_read_whole(path, 4, &data, &n, NULL), DW_ERR_FORMAT);
    /* a killed run leaves a hidden temporary; tidying removes that and nothing else */
    ck_assert_int_eq(dw_atomic_open(&f, path, false, NULL), DW_OK);
    ck_assert_int_eq(access(f.temp, F_OK), 0);
    dw_remove_leftovers(dir);
    ck_assert_int_ne(access(f.temp, F_OK), 0);
    ck_assert_int_eq(access(path, F_OK), 0);
    dw_atomic_discard(&f);
    unlink(path);
    struct dw_error err;
    char *bad = dw_join_path("/proc/nowhere", "x");
    ck_assert_int_eq(dw_write_whole(bad, "x", 1, false, &err), DW_ERR_IO);
    ck_assert_ptr_nonnull(strstr(err.text, "/proc/nowhere/x"));
    free(bad);
    free(path);
    rmdir(dir);
}
END_TEST

static int compare_ints(const void *key, const void *item)
{
    int a = *(const int *)key, b = *(const int *)item;
    return (a > b) - (a < b);
}

static int upwards(const void *a, const void *b)
{
    uint32_t p = *(const uint32_t *)a, q = *(const uint32_t *)b;
    return (p > q) - (p < q);
}

START_TEST(numbers_are_sorted_as_by_the_c_library)
{
    enum { N = 3000 };
    static uint32_t v[N], wanted[N], work[N];
    const uint32_t masks[] = {0xffffffffu, 0x00ff00ffu, 0xff000000u, 0x3u, 0};
    uint32_t seed = 1;
    for (size_t m = 0; m < sizeof masks / sizeof *masks; m++)
        for (size_t n = 0; n <= N; n = n < 4 ? n + 1 : n * 5 / 2) {
            for (size_t i = 0; i < n; i++) {
                seed = seed * 1664525u + 1013904223u;
                wanted[i] = v[i] = (seed ^ seed >> 13) & masks[m];
            }
            qsort(wanted, n, sizeof *wanted, upwards);
            dw_sort_numbers(v, n, work);
            ck_assert(n == 0 || memcmp(v, wanted, n * sizeof *v) == 0);
        }
}
END_TEST

START_TEST(the_first_of_equals_is_found)
{
    static const int v[] = {1, 3, 3, 3, 7, 9};
    static const size_t at[] = {0, 0, 1, 1, 4, 4, 4, 4, 5, 5, 6}; /* of 0 to 10: counted by hand */
    for (int key = 0; key <= 10; key++)
        ck_assert_uint_eq(dw_lower_bound(&key, v, 6, sizeof *v, compare_ints), at[key]);
    ck_assert_uint_eq(dw_lower_bound(&at, v, 0, sizeof *v, compare_ints), 0);
}
END_TEST

/* Unix seconds of civil dates: definition of the Unix clock (POSIX 4.16), by hand for 2000-01-01:
 * 30 years with 7 leap days = 10957 days. */
START_TEST(instants_are_iso_8601)
{
    char text[32];
    double back;
    dw_when_utc(10957 * 86400.0, text);
    ck_assert_str_eq(text, "2000-01-01T00:00:00.000Z");
    dw_when_utc(10957 * 86400.0 - 0.0004, text); /* rounds up across the year's end */
    ck_assert_str_eq(text, "2000-01-01T00:00:00.000Z");
    dw_when_utc(10957 * 86400.0 - 0.0006, text);
    ck_assert_str_eq(text, "1999-12-31T23:59:59.999Z");
    dw_when_utc(-0.25, text);
    ck_assert_str_eq(text, "1969-12-31T23:59:59.750Z");
    dw_when_utc((double)NAN, text);
    ck_assert_str_eq(text, "");
    dw_when_local(10957 * 86400.0, -3600, text);
    ck_assert_str_eq(text, "1999-12-31 23:00:00");
    char exif[20];
    ck_assert(dw_when_exif(10957 * 86400.0 - 0.25, 7200, exif)); /* cut, not rounded */
    ck_assert_str_eq(exif, "2000:01:01 01:59:59");
    ck_assert(!dw_when_exif((double)NAN, 0, exif) && exif[0] == '\0');
    ck_assert(!dw_when_exif(1e12, 0, exif) && exif[0] == '\0'); /* the year 33658 */
    ck_assert(dw_when_parse("1999-12-31T23:59:59.750Z", &back));
    ck_assert_double_eq_tol(back, 10957 * 86400.0 - 0.25, 1e-9);
    ck_assert(!dw_when_parse("1999-12-31 23:59:59", &back));
    ck_assert(!dw_when_parse("", &back));
    ck_assert(!dw_when_parse("1999-13-31T23:59:59Z", &back));
}
END_TEST

START_TEST(numbers_have_a_true_minus)
{
    static const struct {
        int decimals;
        double v;
        const char *text;
    } rows[] = {{0, -1.6,
                 "\xe2\x88\x92"
                 "2"},
                {0, -0.4, "0"},
                {1, 43, "43.0"},
                {1, (double)NAN, "?"}};
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        char text[32];
        dw_signed(rows[i].decimals, rows[i].v, text);
        ck_assert_str_eq(text, rows[i].text);
    }
}
END_TEST

int main(void)
{
    Suite *s = suite_create("base");
    TCase *t = tcase_create("base");
    tcase_add_test(t, hash_gives_the_published_vectors);
    tcase_add_test(t, text_from_outside_is_made_printable);
    tcase_add_test(t, a_name_told_already_is_taken_off);
    tcase_add_test(t, primaries_give_the_published_matrices);
    tcase_add_test(t, distance_counts_single_edits);
    tcase_add_test(t, csv_survives_a_round_trip);
    tcase_add_test(t, csv_fills_short_lines_and_cuts_long_ones);
    tcase_add_test(t, matrix_inverse_undoes);
    tcase_add_test(t, robust_statistics_match_the_table);
    tcase_add_test(t, selection_agrees_with_sorting);
    tcase_add_test(t, selection_ends_where_there_is_no_order);
    tcase_add_test(t, numbers_are_sorted_as_by_the_c_library);
    tcase_add_test(t, the_first_of_equals_is_found);
    tcase_add_test(t, instants_are_iso_8601);
    tcase_add_test(t, numbers_have_a_true_minus);
    tcase_add_test(t, pool_runs_every_item_once_whatever_the_number_of_workers);
    tcase_add_test(t, pool_hands_back_the_failure_and_obeys_the_stop_flag);
    tcase_add_test(t, files_appear_whole_or_not_at_all);
    suite_add_tcase(s, t);
    return dw_check_main(s);
}
