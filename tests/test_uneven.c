/* test_uneven.c: colours and shading that change with the camera's settings, on invented surveys
 * (fake_shoot.h): found where they were planted, and nowhere else. */
#include "check_main.h"
#include "fake_shoot.h"

#include <math.h>
#include <stdlib.h>

static struct fake_params uneven(unsigned seed)
{
    struct fake_params p = fake_defaults(seed);
    p.channel_error = 0.01;
    p.stop_down = 2;
    p.shading = 1.5;
    return p;
}

/* What is left of each shot's error of red, blue, and light in the corner, with the frames'
 * corrections (applied = 1) or without. */
static void left(const struct fake_shoot *f, const struct dw_decision *d, int applied,
                 double rms[3])
{
    size_t n = d->n_frames;
    double *x = calloc(n, sizeof *x);
    ck_assert_uint_gt(n, f->shots.n * 9 / 10);
    for (int q = 0; q < 3; q++) {
        for (size_t i = 0; i < n; i++) {
            const struct dw_source *s = &d->frame[i].source[0];
            ck_assert((double)s->chroma[1] == 1);
            double fix[3] = {log2((double)s->chroma[0]), log2((double)s->chroma[2]),
                             s->shade[0] + s->shade[1]};
            x[i] = (q < 2 ? f->colour[s->shot][q] : -f->corner[s->shot]) + applied * fix[q];
        }
        rms[q] = fake_fast_rms(x, n);
    }
    free(x);
}

/* The sunset's own colours (real, and 0.6 stop strong) are in it, and are none of the settings'. */
START_TEST(planted_differences_are_put_right)
{
    struct fake_params p = uneven((unsigned)_i + 3);
    p.glow = 0.6;
    struct fake_shoot f = fake_make(&p);
    struct dw_decision d = fake_decide(&f);
    double before[3], after[3];
    left(&f, &d, 0, before);
    left(&f, &d, 1, after);
    for (int q = 0; q < 3; q++)
        ck_assert_msg(before[q] > 0.0015 && after[q] < 0.12 * before[q], "%d: %g before, %g left",
                      q, before[q], after[q]);
    dw_decision_free(&d);
    fake_free(&f);
}
END_TEST

/* Passing cars turn a tenth of the night's frames red, some of them just where a setting changes.
 */
START_TEST(cars_are_no_settings)
{
    struct fake_params p = uneven((unsigned)_i + 6);
    p.headlights = 0.1;
    p.headlight_colour = 0.3;
    p.veil = 1;
    struct fake_shoot f = fake_make(&p);
    struct dw_decision d = fake_decide(&f);
    double before[3], after[3];
    left(&f, &d, 0, before);
    left(&f, &d, 1, after);
    for (int q = 0; q < 3; q++)
        ck_assert_msg(after[q] < 0.2 * before[q], "%d: %g before, %g left", q, before[q], after[q]);
    dw_decision_free(&d);
    fake_free(&f);
}
END_TEST

/* The standard deviations are true: each setting's error, less what was found. */
START_TEST(planted_differences_lie_within_their_uncertainty)
{
    struct fake_params p = uneven((unsigned)_i + 3);
    struct fake_shoot f = fake_make(&p);
    struct dw_decision d = fake_decide(&f);
    double sum = 0, count = 0;
    for (size_t k = 0; k < d.n_settings; k++) {
        const struct dw_setting_error *s = &d.setting[k];
        for (size_t i = 0; i < f.shots.n && s->kind == DW_SHUTTER; i++) {
            if (fabs(log2(f.shots.shot[i].shutter_s / s->value)) > 0.01)
                continue;
            const double z[2] = {(s->red - f.colour[i][0]) / s->red_sigma,
                                 (s->blue - f.colour[i][1]) / s->blue_sigma};
            ck_assert_double_lt(fmax(fabs(z[0]), fabs(z[1])), 4.5);
            sum += z[0] * z[0] + z[1] * z[1];
            count += 2;
            break;
        }
    }
    ck_assert_double_gt(count, 60);
    ck_assert_msg(sqrt(sum / count) > 0.3 && sqrt(sum / count) < 1.6, "rms of z %g",
                  sqrt(sum / count));
    dw_decision_free(&d);
    fake_free(&f);
}
END_TEST

/* Nothing planted, nothing corrected: not even by a little. */
START_TEST(an_even_camera_is_let_be)
{
    struct fake_params p = fake_defaults((unsigned)_i + 20);
    p.stop_down = 2; /* of a lens that has no shading to lose */
    switch (_i) {
    case 0:
        p.glow = 0.6;
        break;
    case 1:
        p.headlights = 0.1;
        p.headlight_colour = 0.3;
        p.veil = 1;
        p.lamps_utc = p.start_utc + 6 * 3600;
        break;
    case 2:
        p.foliage = 0.1;
        p.black_drift = 1.5;
        break;
    case 3:
        p.cloud = 0.45;
        break;
    case 4:
        p.moonrise_utc = p.start_utc + 9 * 3600;
        p.dark_dn = 0.5;
        break;
    default:
        break;
    }
    struct fake_shoot f = fake_make(&p);
    struct dw_decision d = fake_decide(&f);
    ck_assert_uint_eq(d.n_settings, 0);
    for (size_t i = 0; i < d.n_frames; i++)
        for (int k = 0; k < d.frame[i].n_sources; k++) {
            const struct dw_source *s = &d.frame[i].source[k];
            ck_assert(s->shade[0] == 0 && s->shade[1] == 0 && (double)s->chroma[0] == 1 &&
                      (double)s->chroma[1] == 1 && (double)s->chroma[2] == 1);
        }
    dw_decision_free(&d);
    fake_free(&f);
}
END_TEST

/* The same shoot told from its end has the same settings. */
START_TEST(the_order_of_time_does_not_matter)
{
    struct fake_params p = uneven(8);
    p.frames = 300;
    p.start_utc += 4 * 3600; /* over dusk */
    struct fake_shoot f = fake_make(&p), r = fake_reversed(&f);
    struct dw_decision a = fake_decide(&f), b = fake_decide(&r);
    ck_assert_uint_gt(a.n_settings, 20);
    ck_assert_uint_eq(a.n_settings, b.n_settings);
    size_t same = 0;
    for (size_t i = 0; i < a.n_settings; i++)
        for (size_t k = 0; k < b.n_settings; k++) {
            const struct dw_setting_error *s = &a.setting[i], *t = &b.setting[k];
            if (s->kind != t->kind || fabs(log2(s->value / t->value)) > 0.01)
                continue;
            ck_assert_double_eq_tol(s->red, t->red, 1e-4);
            ck_assert_double_eq_tol(s->blue, t->blue, 1e-4);
            ck_assert_double_eq_tol(s->corner, t->corner, 1e-4);
            same++;
        }
    ck_assert_uint_eq(same, a.n_settings);
    dw_decision_free(&a);
    dw_decision_free(&b);
    fake_free(&f);
    fake_free(&r);
}
END_TEST

/* A camera that never changes a setting, and shoots of a few frames, have nothing to compare. */
START_TEST(one_setting_tells_nothing)
{
    const int frames[] = {120, 1, 3, 4, 11};
    struct fake_params p = uneven(5);
    p.flat = _i == 0;
    p.frames = frames[_i];
    struct fake_shoot f = fake_make(&p);
    struct dw_decision d = fake_decide(&f);
    ck_assert_uint_eq(d.n_settings, 0);
    dw_decision_free(&d);
    fake_free(&f);
}
END_TEST

int main(void)
{
    Suite *s = suite_create("uneven");
    TCase *t = tcase_create("uneven");
    tcase_set_timeout(t, 120);
    tcase_add_loop_test(t, planted_differences_are_put_right, 0, 3);
    tcase_add_loop_test(t, planted_differences_lie_within_their_uncertainty, 0, 3);
    tcase_add_loop_test(t, cars_are_no_settings, 0, 3);
    tcase_add_loop_test(t, an_even_camera_is_let_be, 0, 6);
    tcase_add_test(t, the_order_of_time_does_not_matter);
    tcase_add_loop_test(t, one_setting_tells_nothing, 0, 5);
    suite_add_tcase(s, t);
    return dw_check_main(s);
}
