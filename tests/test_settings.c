/* test_settings.c: colours and shading that change with the camera's settings, on whole invented
 * shoots with truth, from their files on. The generator's sensor and lens are none of ours. */
#include "check_main.h"
#include "fake_shoot.h"
#include "invented.h"

#include <math.h>

enum { FRAMES = 100 };
#define DUSK "--seed %d --size 600x400 --frames 100 --start 2025-03-28T16:20:00Z --jobs 2"

/* From an hour and a half before sunset into the night nearly every shot has another setting. */
START_TEST(differences_are_put_right_over_dusk)
{
    static const char *const column[3] = {"red_error", "blue_error", "vignetting"};
    char options[200];
    struct invented v;
    snprintf(options, sizeof options, "--scene uneven-settings " DUSK, _i + 1);
    invented_make(&v, options);
    struct dw_csv t = invented_table(&v, "truth/shots.csv");
    ck_assert_uint_eq(t.rows, FRAMES);
    ck_assert_uint_eq(v.decision.n_frames, FRAMES);
    ck_assert_uint_gt(v.decision.n_settings, 20);
    for (int q = 0; q < 3; q++) {
        double before[FRAMES], after[FRAMES];
        int at = dw_csv_column(&t, column[q]);
        for (size_t i = 0; i < FRAMES; i++) {
            const struct dw_source *s = &v.decision.frame[i].source[0];
            const double fix[3] = {log2((double)s->chroma[0]), log2((double)s->chroma[2]),
                                   s->shade[0] + s->shade[1]};
            before[i] = (q == 2 ? -1 : 1) * strtod(dw_csv_field(&t, i, at), NULL);
            after[i] = before[i] + fix[q];
        }
        double was = fake_fast_rms(before, FRAMES), is = fake_fast_rms(after, FRAMES);
        /* colours have 0.0002 stop of each exposure's own besides */
        ck_assert_msg(was > 0.002 && is < 0.1 * was, "%s: %.5f before, %.5f left", column[q], was,
                      is);
    }
    dw_csv_free(&t);
    invented_free(&v);
}
END_TEST

/* The same dusk with a camera that has nothing of the kind. */
START_TEST(an_even_camera_is_let_be)
{
    char options[200];
    struct invented v;
    snprintf(options, sizeof options, "--scene clear --stop-down 3 --vignetting 0 " DUSK, _i + 1);
    invented_make(&v, options);
    ck_assert_uint_eq(v.decision.n_frames, FRAMES);
    ck_assert_uint_eq(v.decision.n_settings, 0);
    for (size_t i = 0; i < FRAMES; i++) {
        const struct dw_source *s = &v.decision.frame[i].source[0];
        ck_assert(s->shade[0] == 0 && s->shade[1] == 0 && (double)s->chroma[0] == 1 &&
                  (double)s->chroma[1] == 1 && (double)s->chroma[2] == 1);
    }
    invented_free(&v);
}
END_TEST

/* Two hours over dawn with a fault of each kind: every setting is there but once or twice, and fog,
 * which bleaches colours as it comes, passes for what they do. */
START_TEST(fog_is_no_setting)
{
    struct invented v;
    invented_make(&v, "--scene faults --seed 1 --jobs 2");
    ck_assert_uint_eq(v.decision.n_settings, 0);
    invented_free(&v);
}
END_TEST

int main(void)
{
    Suite *s = suite_create("settings");
    TCase *t = tcase_create("settings");
    tcase_add_loop_test(t, differences_are_put_right_over_dusk, 0, 2);
    tcase_add_loop_test(t, an_even_camera_is_let_be, 0, 2);
    tcase_add_test(t, fog_is_no_setting);
    suite_add_tcase(s, t);
    return dw_check_main(s);
}
