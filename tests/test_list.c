/* test_list.c: options whose value is a list, with the files that --drop @FILE reads. */
#include "check_main.h"

#include "cli/arguments.h"
#include "cli/list.h"
#include "cli/options.h"
#include "cli/settings_file.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static struct dw_strings list;
static struct dw_error err;
static char dir[32];

static void setup(void)
{
    list = (struct dw_strings){0};
    strcpy(dir, "/tmp/dw-list-XXXXXX");
    ck_assert_ptr_nonnull(mkdtemp(dir));
    ck_assert_int_eq(chdir(dir), 0);
}

static void teardown(void)
{
    dw_strings_free(&list);
    unlink("a.txt");
    unlink("pipe");
    unlink("settings.ini");
    rmdir("folder");
    ck_assert_int_eq(chdir("/"), 0);
    rmdir(dir);
}

static void put(const char *data, size_t n)
{
    FILE *f = fopen("a.txt", "wb");
    fwrite(data, 1, n, f);
    fclose(f);
}

static enum dw_status add(const char *value)
{
    memset(&err, 0, sizeof err);
    return dw_list_add(&list, "--drop", value, &err);
}

static void assert_refused(const char *value, const char *said)
{
    ck_assert_msg(add(value) == DW_ERR_USAGE, "%s was taken", value);
    ck_assert_msg(strstr(err.text, "--drop") && strstr(err.text, said), "%s", err.text);
}

START_TEST(commas_part_and_doubles_count_once)
{
    ck_assert_int_eq(add("A.DNG,B.DNG"), DW_OK);
    ck_assert_int_eq(add(" A.DNG , 03:10-04:40"), DW_OK);
    ck_assert_uint_eq(list.n, 3);
    ck_assert_str_eq(list.v[0], "A.DNG");
    ck_assert_str_eq(list.v[2], "03:10-04:40");
    char text[40];
    ck_assert(dw_list_show(&list, text, sizeof text));
    ck_assert_str_eq(text, "A.DNG,B.DNG,03:10-04:40");
    ck_assert(!dw_list_show(&list, text, 20));
    assert_refused("", "empty entry");
    assert_refused("A.DNG,,B.DNG", "empty entry");
}
END_TEST

START_TEST(files_hold_one_entry_a_line)
{
    static const char text[] = "\xEF\xBB\xBF# from a page\r\n\r\nA.DNG\r\n  card1/B.DNG\t\n"
                               "with, comma; and more.DNG\n@at.DNG\nbytes \xff.DNG\n\nC.DNG";
    put(text, sizeof text - 1);
    ck_assert_msg(add("Z.DNG,@a.txt") == DW_OK, "%s", err.text);
    static const char *const wanted[] = {
        "Z.DNG",       "A.DNG",           "card1/B.DNG", "with\\x2c comma\\x3b and more.DNG",
        "\\x40at.DNG", "bytes \\xff.DNG", "C.DNG"};
    ck_assert_uint_eq(list.n, 7);
    for (size_t i = 0; i < 7; i++)
        ck_assert_str_eq(list.v[i], wanted[i]);
    put("# nothing marked\n", 17);
    ck_assert_int_eq(add("@a.txt"), DW_OK); /* an empty list is one, too */
    ck_assert_uint_eq(list.n, 7);
}
END_TEST

START_TEST(hostile_files_are_refused)
{
    assert_refused("@a.txt", "a.txt");
    put("A.DNG\nB\0.DNG\n", 13);
    assert_refused("@a.txt", "a.txt:2: holds binary data");
    char *big = malloc(3 << 20);
    memset(big, 'x', 3 << 20);
    put(big, 2000);
    assert_refused("@a.txt", "a.txt:1: is longer than any file name");
    put(big, 3 << 20);
    assert_refused("@a.txt", "a.txt");
    for (size_t i = 0, n = 0; i < 6000; i++)
        n += (size_t)sprintf(big + n, "%zu.DNG\n", i);
    put(big, strlen(big));
    assert_refused("@a.txt", "more than 5000");
    free(big);
    ck_assert_int_eq(mkdir("folder", 0700), 0);
    assert_refused("@folder", "folder");
    ck_assert_int_eq(mkfifo("pipe", 0600), 0); /* nobody writes: must not wait */
    assert_refused("@pipe", "ordinary file");
    assert_refused("@/dev/zero", "ordinary file");
    assert_refused("@", "");
}
END_TEST

/* settings.ini holds the entries themselves, so that it repeats a run whose list file is gone; and
 * the command line wins as a whole. */
START_TEST(settings_repeat_the_list)
{
    struct dw_settings s, again;
    const double site[2] = {46.4, 8.1};
    const struct dw_option *drop = dw_option_named("drop", 4);
    char a[4000], b[4000];
    put("with, comma; and # more.DNG\n@at.DNG\n# comment\n03:10-04:40\n--help\n", 63);
    dw_settings_default(&s);
    ck_assert_int_eq(dw_option_set(drop, "--drop", "@a.txt,#1.DNG", &s, &err), DW_OK);
    ck_assert_int_eq(dw_settings_file_write(".", &s, site, 0, &err), DW_OK);
    unlink("a.txt");
    dw_settings_default(&again);
    ck_assert_msg(dw_settings_file_read("settings.ini", &again, &err) == DW_OK, "%s", err.text);
    ck_assert(dw_option_show(drop, &s, a, sizeof a) && dw_option_show(drop, &again, b, sizeof b));
    ck_assert_str_eq(a, b);
    ck_assert_uint_eq(again.drop.n, 5);
    ck_assert_uint_eq(again.keep.n, 0);
    dw_settings_free(&again);
    char *argv[] = {(char *)"--drop=X.DNG", (char *)"--settings=settings.ini",
                    (char *)"--drop",       (char *)"Y.DNG",
                    (char *)"shoot",        (char *)"-oout"};
    const char **input;
    size_t n;
    ck_assert_int_eq(dw_arguments_read(6, argv, DW_CMD_RENDER, &again, &input, &n, &err), DW_OK);
    ck_assert_uint_eq(again.drop.n, 2);
    ck_assert_str_eq(again.drop.v[1], "Y.DNG");
    free(input);
    dw_settings_free(&again);
    dw_settings_free(&s);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("list");
    TCase *c = tcase_create("list");
    tcase_add_checked_fixture(c, setup, teardown);
    tcase_add_test(c, commas_part_and_doubles_count_once);
    tcase_add_test(c, files_hold_one_entry_a_line);
    tcase_add_test(c, hostile_files_are_refused);
    tcase_add_test(c, settings_repeat_the_list);
    suite_add_tcase(suite, c);
    return dw_check_main(suite);
}
