/* test_workers.c: many hands make the same: portions of work that are handed out (base/each.h), and
 * decisions that are made with them. Runs with the thread sanitizer as well (tools/test). */
#include "check_main.h"

#include "base/each.h"
#include "fake_shoot.h"

#include <string.h>

/* ---- portions ---- */

struct tally {
    size_t fails_at;
    int seen[100];
};

/* Leaves its mark in the worker's own room, which must not be another's. */
static enum dw_status mark(void *ctx, void *work, size_t from, size_t to, struct dw_error *err)
{
    struct tally *t = ctx;
    size_t *own = work;
    for (size_t i = from; i < to; i++) {
        own[0] = i;
        own[9] = i + 1;
        if (i == t->fails_at || i == t->fails_at + 30)
            return dw_fail(err, DW_ERR_FORMAT, "at %zu", i);
        t->seen[i] += own[0] == i && own[9] == i + 1;
    }
    return DW_OK;
}

#define NOWHERE ((size_t)1000)

START_TEST(each_thing_has_its_turn_once)
{
    static const size_t portion[] = {1, 7, 100, 1000};
    for (int k = 0; k < 4; k++)
        for (size_t n = 0; n <= 100; n += 50) {
            struct tally t = {.fails_at = NOWHERE};
            const struct dw_run run = {.jobs = _i};
            const struct dw_each each = {n, portion[k], 10 * sizeof(size_t), mark, &t};
            ck_assert_int_eq(dw_each(&each, _i ? &run : NULL, NULL), DW_OK);
            for (size_t i = 0; i < 100; i++)
                ck_assert_int_eq(t.seen[i], i < n);
        }
}
END_TEST

/* Of two failures the first in order is told; a run that is stopped does not end well. */
START_TEST(failing_and_stopping_are_told)
{
    struct tally t = {.fails_at = 40};
    const atomic_int stop = 1;
    struct dw_run run = {.jobs = _i};
    const struct dw_each each = {100, 3, 10 * sizeof(size_t), mark, &t};
    struct dw_error err;
    ck_assert_int_eq(dw_each(&each, &run, &err), DW_ERR_FORMAT);
    ck_assert_str_eq(err.text, "at 40");
    t = (struct tally){.fails_at = NOWHERE};
    run.stop = &stop;
    ck_assert_int_eq(dw_each(&each, &run, &err), DW_ERR_INTERRUPTED);
    for (int i = 0; i < 100; i++)
        ck_assert_int_eq(t.seen[i], 0);
}
END_TEST

/* ---- decisions ---- */

static struct dw_decision decide(const struct fake_shoot *f, int jobs)
{
    struct dw_decide_params params = DW_DECIDE_DEFAULTS;
    params.has_site = true;
    params.site = f->params.site;
    const struct dw_run run = {.jobs = jobs};
    struct dw_decision d;
    struct dw_error err = {0};
    ck_assert_msg(dw_decide(&f->shots, &f->survey, &params, &run, &d, &err) >= 0, "%s", err.text);
    return d;
}

static void check_same(const struct dw_decision *a, const struct dw_decision *b)
{
    ck_assert_uint_eq(a->n_shots, b->n_shots);
    ck_assert_uint_eq(a->n_frames, b->n_frames);
    ck_assert_mem_eq(a->ledger, b->ledger, a->n_shots * sizeof *a->ledger);
    ck_assert_mem_eq(a->frame, b->frame, a->n_frames * sizeof *a->frame);
    ck_assert_uint_eq(a->facts.n_levels, b->facts.n_levels);
    ck_assert_mem_eq(a->facts.levels, b->facts.levels, a->facts.n_levels * sizeof *a->facts.levels);
    ck_assert_int_eq(a->facts.law.n, b->facts.law.n);
    ck_assert_mem_eq(a->facts.law.coef, b->facts.law.coef,
                     (size_t)a->facts.law.n * sizeof *a->facts.law.coef);
    ck_assert_mem_eq(a->facts.white_mul, b->facts.white_mul, sizeof a->facts.white_mul);
    ck_assert_mem_eq(a->facts.night_mul, b->facts.night_mul, sizeof a->facts.night_mul);
}

/* Clear with headlights, foliage and settings that err on their own; broken cloud. */
START_TEST(any_number_of_workers_decides_the_same)
{
    struct fake_params p = fake_defaults(7);
    p.frames = 400; /* from day to night: some portions of every step */
    p.headlights = 0.1;
    p.headlight_stops = 2;
    p.cloud = _i ? 0.5 : 0;
    struct fake_shoot f = fake_make(&p);
    struct dw_decision alone = decide(&f, 1);
    for (int jobs = 2; jobs <= 5; jobs++) {
        struct dw_decision d = decide(&f, jobs);
        check_same(&alone, &d);
        dw_decision_free(&d);
    }
    dw_decision_free(&alone);
    fake_free(&f);
}
END_TEST

int main(void)
{
    Suite *s = suite_create("workers");
    TCase *t = tcase_create("all");
    tcase_add_loop_test(t, each_thing_has_its_turn_once, 0, 5);
    tcase_add_loop_test(t, failing_and_stopping_are_told, 1, 4);
    tcase_add_loop_test(t, any_number_of_workers_decides_the_same, 0, 2);
    suite_add_tcase(s, t);
    return dw_check_main(s);
}
