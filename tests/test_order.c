/* test_order.c: the order of capture. The frames are invented (tiny_dng.h). */
#include "check_main.h"

#include "scan_fixture.h"
#include "shot/sequence.h"

START_TEST(time_with_its_fraction_decides)
{
    put_frame("A_0003.DNG", 0.25);
    put_frame("A_0001.DNG", 0.75);
    put_frame("A_0002.DNG", 0.05);
    put_frame("Z_0000.DNG", -30);
    struct dw_shots s = scan();
    /* four numbers of one counter: the clock runs back twice, far too often for the numbers to be
     * the order, so that time decides */
    expect_order(&s, "Z_0000 A_0002 A_0003 A_0001");
    ck_assert_double_eq_tol(s.shot[1].clock_s, START_CLOCK + 0.05, 1e-6);
    ck_assert_double_eq_tol(s.shot[0].clock_s, START_CLOCK - 30, 1e-6);
    ck_assert_uint_eq(s.counts.frames, 4);
    dw_shots_free(&s);
}
END_TEST

START_TEST(numbers_decide_within_one_second_across_two_cards_and_a_wrap)
{
    folder("card1");
    folder("card2");
    struct tiny_dng t = TINY_DNG; /* no fraction: all in one second */
    static const char *const names[] = {"card2/DSC_0001.DNG", "card1/DSC_9998.DNG",
                                        "card2/DSC_0002.DNG", "card1/DSC_9999.DNG"};
    for (uint32_t i = 0; i < 4; i++) {
        t.seed = i;
        tiny_write(in_dir(names[i]), &t);
    }
    struct dw_shots s = scan();
    expect_order(&s, "DSC_9998 DSC_9999 DSC_0001 DSC_0002");
    dw_shots_free(&s);
}
END_TEST

START_TEST(the_order_of_a_long_shoot_over_the_wrap)
{
    folder("101");
    folder("102");
    char name[64];
    for (int i = 0; i < 30; i++) {
        int number = 9985 + i;
        snprintf(name, sizeof name, number < 10000 ? "101/I_%04d.DNG" : "102/I_%04d.DNG",
                 number < 10000 ? number : number - 9999);
        put_frame(name, 20.0 * i);
    }
    struct dw_shots s = scan();
    ck_assert_uint_eq(s.n, 30);
    for (size_t i = 0; i < s.n; i++)
        ck_assert_double_eq_tol(s.shot[i].clock_s, START_CLOCK + 20.0 * (double)i, 1e-6);
    ck_assert_str_eq(s.shot[14].name, "I_9999.DNG");
    ck_assert_str_eq(s.shot[15].name, "I_0001.DNG");
    ck_assert_int_eq(heard.warnings, 0);
    dw_shots_free(&s);
}
END_TEST

/* A clock that someone (or the camera) puts back or forward by an hour in the middle. */
static void jump_of(double jump, const char *saying)
{
    char name[64];
    for (int i = 0; i < 40; i++) {
        snprintf(name, sizeof name, "I_%04d.DNG", 100 + i);
        put_frame(name, 20.0 * i + (i >= 17 ? jump : 0));
    }
    struct dw_shots s = scan();
    for (size_t i = 0; i < s.n; i++) {
        ck_assert_int_eq((int)s.shot[i].file_number, 100 + (int)i);
        ck_assert_msg(fabs(s.shot[i].clock_s - START_CLOCK - 20.0 * (double)i) < 0.51,
                      "frame %zu at %.2f", i, s.shot[i].clock_s - START_CLOCK);
    }
    ck_assert_int_eq(heard.warnings, 1);
    ck_assert_ptr_nonnull(strstr(heard.text, "I_0117.DNG"));
    ck_assert_ptr_nonnull(strstr(heard.text, saying));
    dw_shots_free(&s);
}
START_TEST(an_hour_back_is_put_right)
{
    jump_of(-3600, "jumps by -1 h");
}
END_TEST
START_TEST(an_hour_forward_is_put_right)
{
    jump_of(3600, "jumps by +1 h");
}
END_TEST
START_TEST(a_clock_set_back_by_minutes_keeps_the_spacing)
{
    jump_of(-437, "falls back by 417 s");
}
END_TEST

START_TEST(a_real_pause_stays)
{
    char name[64];
    for (int i = 0; i < 40; i++) { /* 50 minutes to change a battery */
        snprintf(name, sizeof name, "I_%04d.DNG", 100 + i);
        put_frame(name, 20.0 * i + (i >= 17 ? 3000 : 0));
    }
    struct dw_shots s = scan();
    ck_assert_double_eq_tol(s.shot[17].clock_s - s.shot[16].clock_s, 3020, 1e-6);
    ck_assert_int_eq(heard.warnings, 0);
    dw_shots_free(&s);
}
END_TEST

START_TEST(offsets_that_change_with_the_clock_need_no_help)
{
    char name[64];
    for (int i = 0; i < 20; i++) {
        snprintf(name, sizeof name, "I_%04d.DNG", 100 + i);
        struct tiny_dng t = frame_at(20.0 * i + (i >= 9 ? 3600 : 0));
        t.offset_original = i >= 9 ? "+02:00" : "+01:00";
        tiny_write(in_dir(name), &t);
    }
    struct dw_shots s = scan();
    for (size_t i = 0; i < s.n; i++) {
        ck_assert(s.shot[i].has_offset);
        ck_assert_double_eq_tol(s.shot[i].clock_s - s.shot[i].offset_s,
                                START_CLOCK - 3600 + 20.0 * (double)i, 1e-6);
    }
    ck_assert_int_eq(heard.warnings, 0);
    dw_shots_free(&s);
}
END_TEST

START_TEST(two_counters_are_ordered_by_time)
{
    put_frame("I_5000.DNG", 0); /* another counter's numbers are higher but earlier */
    put_frame("I_5001.DNG", 20);
    put_frame("I_0100.DNG", 40);
    put_frame("I_0101.DNG", 60);
    struct dw_shots s = scan();
    expect_order(&s, "I_5000 I_5001 I_0100 I_0101");
    ck_assert_double_eq_tol(s.shot[3].clock_s - s.shot[0].clock_s, 60, 1e-6);
    dw_shots_free(&s);
}
END_TEST

START_TEST(broken_files_stay_where_their_number_puts_them)
{
    char name[64];
    for (int i = 0; i < 12; i++) {
        snprintf(name, sizeof name, "I_%04d.DNG", 100 + i);
        put_frame(name, 20.0 * i);
    }
    put("I_0104.DNG", "");                                     /* empty */
    put("I_0107.DNG", "nonsense instead of it");               /* foreign */
    ck_assert_int_eq(truncate(in_dir("I_0111.DNG"), 9000), 0); /* cut; its record is whole */
    struct dw_shots s = scan();
    ck_assert_uint_eq(s.n, 12);
    ck_assert_uint_eq(s.counts.frames, 9);
    ck_assert_uint_eq(s.counts.unreadable, 3);
    for (size_t i = 0; i < s.n; i++) {
        ck_assert_int_eq((int)s.shot[i].file_number, 100 + (int)i);
        ck_assert_double_eq_tol(s.shot[i].clock_s, START_CLOCK + 20.0 * (double)i, 1e-6);
        ck_assert_int_eq(s.shot[i].clock_guessed, i == 4 || i == 7);
        ck_assert_int_eq(s.shot[i].readable, i != 4 && i != 7 && i != 11);
    }
    ck_assert_ptr_nonnull(strstr(s.shot[4].problem, "empty (0 bytes)"));
    ck_assert_ptr_nonnull(strstr(s.shot[7].problem, "does not begin like a RAW file"));
    ck_assert_ptr_nonnull(strstr(s.shot[11].problem, "cut short"));
    dw_shots_free(&s);
}
END_TEST

START_TEST(frames_without_a_clock_are_placed_and_told)
{
    for (int i = 0; i < 6; i++) {
        char name[64];
        snprintf(name, sizeof name, "I_%04d.DNG", 100 + i);
        struct tiny_dng t = frame_at(20.0 * i);
        if (i == 2)
            t.original = "    :  :     :  :  ";
        tiny_write(in_dir(name), &t);
    }
    struct dw_shots s = scan();
    ck_assert(!s.shot[2].has_clock && s.shot[2].clock_guessed && s.shot[2].readable);
    ck_assert_double_eq_tol(s.shot[2].clock_s, START_CLOCK + 40, 1e-6);
    ck_assert_ptr_nonnull(strstr(heard.text, "1 of 6 frames hold no capture time"));
    dw_shots_free(&s);
}
END_TEST

START_TEST(without_any_clock_the_numbers_order)
{
    struct tiny_dng t = TINY_DNG;
    t.original = NULL;
    static const char *const names[] = {"I_9999.DNG", "I_0002.DNG", "I_0001.DNG"};
    for (uint32_t i = 0; i < 3; i++) {
        t.seed = i;
        tiny_write(in_dir(names[i]), &t);
    }
    struct dw_shots s = scan();
    expect_order(&s, "I_9999 I_0001 I_0002");
    ck_assert(!s.shot[0].has_clock && !s.shot[0].clock_guessed);
    ck_assert_ptr_nonnull(strstr(heard.text, "none of the 3 files holds a capture time"));
    dw_shots_free(&s);
}
END_TEST

START_TEST(counting_numbers)
{
    struct dw_shot s[4] = {
        {.file_number = 9998}, {.file_number = 1}, {.file_number = 9999}, {.file_number = 2}};
    long count[4];
    ck_assert(dw_sequence_count(s, 4, count));
    ck_assert_int_eq((int)count[1], 10001);
    ck_assert_int_eq((int)count[0], 9998);
    s[3].file_number = 9998; /* two files of one number: no single counter */
    ck_assert(!dw_sequence_count(s, 4, count));
    ck_assert_int_eq((int)dw_sequence_distance(9999, 1), 2);
    ck_assert_int_eq((int)dw_sequence_distance(1, 9999), -2);
    ck_assert_int_eq((int)dw_sequence_distance(10, 30), 20);
}
END_TEST

int main(void)
{
    Suite *s = suite_create("order");
    TCase *t = tcase_create("order");
    tcase_add_checked_fixture(t, set_up, tear_down);
    tcase_add_test(t, time_with_its_fraction_decides);
    tcase_add_test(t, numbers_decide_within_one_second_across_two_cards_and_a_wrap);
    tcase_add_test(t, the_order_of_a_long_shoot_over_the_wrap);
    tcase_add_test(t, an_hour_back_is_put_right);
    tcase_add_test(t, an_hour_forward_is_put_right);
    tcase_add_test(t, a_clock_set_back_by_minutes_keeps_the_spacing);
    tcase_add_test(t, a_real_pause_stays);
    tcase_add_test(t, offsets_that_change_with_the_clock_need_no_help);
    tcase_add_test(t, two_counters_are_ordered_by_time);
    tcase_add_test(t, broken_files_stay_where_their_number_puts_them);
    tcase_add_test(t, frames_without_a_clock_are_placed_and_told);
    tcase_add_test(t, without_any_clock_the_numbers_order);
    suite_add_tcase(s, t);
    t = tcase_create("numbers");
    tcase_add_test(t, counting_numbers);
    suite_add_tcase(s, t);
    return dw_check_main(s);
}
