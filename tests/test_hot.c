/* test_hot.c: the map of hot pixels against the invented sensor's own list. */
#include "check_main.h"
#include "invented.h"

static bool listed(const struct dw_facts *f, int x, int y)
{
    for (size_t i = 0; i < f->n_hot; i++)
        if (f->hot[i].x == x && f->hot[i].y == y)
            return true;
    return false;
}

/* How many of the facts' pixels are hot in truth, and how many of the truly hot ones, from so many
 * electrons a second on, are in the facts. */
static void compare(const struct invented *v, double from, size_t *bright, size_t *found,
                    size_t *right)
{
    struct dw_csv t = invented_table(v, "truth/hot.csv");
    int x = dw_csv_column(&t, "x"), y = dw_csv_column(&t, "y"),
        glow = dw_csv_column(&t, "electrons_per_s");
    *bright = *found = *right = 0;
    for (size_t i = 0; i < t.rows; i++) {
        bool known = listed(&v->decision.facts, atoi(dw_csv_field(&t, i, x)),
                            atoi(dw_csv_field(&t, i, y)));
        *right += known;
        if (strtod(dw_csv_field(&t, i, glow), NULL) < from)
            continue;
        (*bright)++;
        *found += known;
    }
    dw_csv_free(&t);
}

/* With a pole in the picture, a house with lamps, a catalogue of stars: all of these stand or
 * shine as well, and must not be taken for hot pixels. */
START_TEST(hot_pixels_are_found_and_stars_are_not)
{
    struct invented v;
    invented_make(&v, "--scene clear --seed 2 --interval 1200 --frames 78");
    size_t bright, found, right;
    compare(&v, 10, &bright, &found, &right);
    printf("# %zu of %zu bright hot pixels found, %zu others\n", found, bright,
           v.decision.facts.n_hot - right);
    ck_assert_uint_gt(bright, 50);
    ck_assert_uint_ge(found * 100, bright * 95);
    ck_assert_uint_le((v.decision.facts.n_hot - right) * 50, bright);
    for (size_t i = 1; i < v.decision.facts.n_hot; i++) { /* sorted by y, then x, none twice */
        const struct dw_hot *a = &v.decision.facts.hot[i - 1], *b = a + 1;
        ck_assert(a->y < b->y || (a->y == b->y && a->x < b->x));
    }
    invented_free(&v);
}
END_TEST

START_TEST(a_shoot_by_day_alone_teaches_no_hot_pixel)
{
    struct invented v;
    invented_make(&v, "--scene clear --seed 2 --interval 300 --frames 24");
    ck_assert_uint_eq(v.decision.facts.n_hot, 0);
    invented_free(&v);
}
END_TEST

int main(void)
{
    Suite *s = suite_create("hot");
    TCase *t = tcase_create("hot");
    tcase_add_test(t, hot_pixels_are_found_and_stars_are_not);
    tcase_add_test(t, a_shoot_by_day_alone_teaches_no_hot_pixel);
    suite_add_tcase(s, t);
    return dw_check_main(s);
}
