/* test_pick.c: which shots a person means by names and times. Times as people write them: ISO 8601
 * (2004) 4.3.2 for date and time together; the rest are this program's own promises. */
#include "check_main.h"

#include "shot/stretch.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define MIDNIGHT 1774656000.0 /* 2026-03-28T00:00:00, as the clock read */

static struct dw_shots shots;
static enum dw_pick how[64];
static struct dw_error err;

static void add(const char *path, double clock_s)
{
    struct dw_shot *s = &shots.shot[shots.n++];
    s->path = strdup(path);
    s->name = strdup(strrchr(path, '/') + 1);
    s->has_clock = true;
    s->clock_s = clock_s;
}

/* An invented shoot over two nights, a shot every hour from 18:30 on. */
static void setup(void)
{
    char path[64];
    shots = (struct dw_shots){.shot = calloc(64, sizeof *shots.shot)};
    for (int i = 0; i < 40; i++) {
        snprintf(path, sizeof path, "/shoot/card1/INV_%04d.DNG", i + 1);
        add(path, MIDNIGHT + 18.5 * 3600 + 3600 * i);
    }
    shots.shot[1].has_shutter = true;
    shots.shot[1].shutter_s = 32;
}

static void teardown(void)
{
    for (size_t i = 0; i < shots.n; i++) {
        free(shots.shot[i].path);
        free(shots.shot[i].name);
    }
    free(shots.shot);
}

static enum dw_status pick(const char *entry)
{
    memset(&err, 0, sizeof err);
    return dw_pick_shots(&shots, "drop", &entry, 1, how, &err);
}

/* Exactly the shots first..last (from 1) are meant, in that way. */
static void assert_means(const char *entry, size_t first, size_t last, enum dw_pick by)
{
    ck_assert_msg(pick(entry) == DW_OK, "%s: %s", entry, err.text);
    for (size_t i = 0; i < shots.n; i++)
        ck_assert_msg(how[i] == (i + 1 >= first && i + 1 <= last ? by : DW_PICK_NONE),
                      "%s: shot %zu", entry, i + 1);
}

static void assert_refused(const char *entry, const char *said)
{
    ck_assert_msg(pick(entry) == DW_ERR_USAGE, "%s was taken", entry);
    ck_assert_msg(strstr(err.text, "--drop") && strstr(err.text, said), "%s: %s", entry, err.text);
}

START_TEST(names_are_found)
{
    assert_means("INV_0007.DNG", 7, 7, DW_PICK_BY_NAME);
    assert_means("card1/INV_0007.DNG", 7, 7, DW_PICK_BY_NAME);
    assert_means("./INV_0007.DNG", 7, 7, DW_PICK_BY_NAME);
    assert_means("/shoot/card1/INV_0007.DNG", 7, 7, DW_PICK_BY_NAME);
    assert_means("INV\\x5f0007.DNG", 7, 7, DW_PICK_BY_NAME);
    assert_refused("INV_0007.DNF", "did you mean INV_0007.DNG");
    assert_refused("inv_0007.dng", "did you mean INV_0007.DNG");
    assert_refused("holiday.jpg", "INV_0001.DNG to INV_0040.DNG");
    assert_refused("ard1/INV_0007.DNG", "INV_0007.DNG"); /* no part of a folder's name */
    assert_refused("", "no shot");
}
END_TEST

START_TEST(two_cards_want_their_folder)
{
    add("/shoot/card2/INV_0007.DNG", MIDNIGHT + 80 * 3600);
    assert_refused("INV_0007.DNG", "put the folder before it");
    assert_means("card2/INV_0007.DNG", 41, 41, DW_PICK_BY_NAME);
    assert_means("card1/INV_0007.DNG", 7, 7, DW_PICK_BY_NAME);
}
END_TEST

START_TEST(hostile_names_are_only_names)
{
    add("/shoot/card1/03:10-04:40", MIDNIGHT + 80 * 3600); /* looks like a time */
    add("/shoot/card1/a\xff\x01,b;@.DNG", MIDNIGHT + 81 * 3600);
    add("/shoot/card1/%s%n<b>.DNG", MIDNIGHT + 82 * 3600);
    assert_means("03:10-04:40", 41, 41, DW_PICK_BY_NAME);
    assert_means("a\\xff\\x01\\x2cb\\x3b@.DNG", 42, 42, DW_PICK_BY_NAME);
    assert_means("a\xff\x01,b;@.DNG", 42, 42, DW_PICK_BY_NAME);
    assert_means("%s%n<b>.DNG", 43, 43, DW_PICK_BY_NAME);
    assert_refused("%s%s%s%s%s%s", "%s%s");
    char longest[3000];
    memset(longest, 'x', sizeof longest - 1);
    longest[sizeof longest - 1] = '\0';
    assert_refused(longest, "no shot has this name");
}
END_TEST

START_TEST(times_are_found)
{
    assert_means("2026-03-28T18:30-18:30", 1, 1, DW_PICK_BY_TIME);
    assert_means("2026-03-28T18:30:00-18:30:00", 1, 1, DW_PICK_BY_TIME);
    assert_means("2026-03-28T22:00-2026-03-29T01:00", 5, 7, DW_PICK_BY_TIME);
    assert_means("2026-03-28T22:00-01:00", 5, 7, DW_PICK_BY_TIME); /* over midnight */
    assert_means("2026-03-30T0:00-23:59", 31, 40, DW_PICK_BY_TIME);
    assert_means("11:00-12:00", 18, 18,
                 DW_PICK_BY_TIME); /* the shoot has one such hour: 29 March */
    /* mid-exposure: shot 2 began at 19:30:00 and ran for 32 s */
    assert_means("2026-03-28T19:30:10-19:30:20", 2, 2, DW_PICK_BY_TIME);
    assert_means("2026-03-28T19:00-19:30", 2, 2, DW_PICK_BY_TIME); /* the whole minute 19:30 */
    assert_refused("2026-03-28T19:30:00-19:30:05", "no shot was taken then");
    /* a minute ends when the next begins: shot 1 was taken at 18:30:00, shot 18 at 11:30:00 */
    assert_refused("2026-03-28T18:00-18:29", "no shot was taken then");
    assert_refused("11:00-11:29", "no shot was taken then");
}
END_TEST

/* A stretch over midnight that a shoot of one night has once. */
START_TEST(one_night_needs_no_date)
{
    for (size_t i = 12; i < shots.n; i++) /* after half past five nothing is known */
        shots.shot[i].has_clock = false;
    assert_means("22:00-01:00", 5, 7, DW_PICK_BY_TIME);
}
END_TEST

START_TEST(times_that_mean_nothing_or_too_much)
{
    assert_refused("19:00-20:00", "2026-03-28 and on 2026-03-29");
    assert_refused("19:00-20:00", "such as 2026-03-28T19:00-20:00");
    assert_refused("23:00-01:00", "put the date before it");
    assert_refused("2027-01-01T19:00-20:00", "from 2026-03-28 18:30 to 2026-03-30 09:30");
    assert_refused("25:00-26:00", "no clock shows that time");
    assert_refused("2026-02-30T19:00-20:00", "no clock shows that time");
    assert_refused("19:00-2026-03-29T20:00", "before its beginning");
    assert_refused("2026-03-29T20:00-2026-03-28T20:00", "ends before it begins");
    assert_refused("19:00", "no shot has this name");
    assert_refused("19:00-", "no shot has this name");
    assert_refused("99999999999:00-20:00", "no shot has this name");
    shots.shot[0].has_clock = false; /* a shot whose time nobody knows is meant by no time */
    assert_refused("2026-03-28T18:30-18:30", "no shot was taken then");
}
END_TEST

START_TEST(a_name_says_more_than_a_time)
{
    const char *entry[] = {"INV_0006.DNG", "2026-03-28T22:00-01:00"};
    ck_assert_int_eq(dw_pick_shots(&shots, "keep", entry, 2, how, &err), DW_OK);
    ck_assert_int_eq(how[4], DW_PICK_BY_TIME);
    ck_assert_int_eq(how[5], DW_PICK_BY_NAME);
    ck_assert_int_eq(dw_pick_shots(&shots, "keep", NULL, 0, how, &err), DW_OK);
    ck_assert_int_eq(how[5], DW_PICK_NONE);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("pick");
    TCase *c = tcase_create("pick");
    tcase_add_checked_fixture(c, setup, teardown);
    tcase_add_test(c, names_are_found);
    tcase_add_test(c, two_cards_want_their_folder);
    tcase_add_test(c, hostile_names_are_only_names);
    tcase_add_test(c, times_are_found);
    tcase_add_test(c, one_night_needs_no_date);
    tcase_add_test(c, times_that_mean_nothing_or_too_much);
    tcase_add_test(c, a_name_says_more_than_a_time);
    suite_add_tcase(suite, c);
    return dw_check_main(suite);
}
