/* test_arena.c: room for a decision's arrays. Values are invented. */
#include "check_main.h"

#include "decide/arena.h"

#include <stdint.h>
#include <string.h>

static bool all_zero(const unsigned char *p, size_t n)
{
    for (size_t i = 0; i < n; i++)
        if (p[i])
            return false;
    return true;
}

/* Blocks are zero, apart from each other and on cache lines of their own, also those that were
 * used and given back before, in whatever sizes. */
START_TEST(room_is_zero_and_ones_own)
{
    enum { BLOCKS = 60 };
    struct dw_arena arena = {0};
    unsigned char *block[BLOCKS];
    size_t size[BLOCKS];
    ck_assert_ptr_nonnull(DW_TAKE(&arena, 3, double));
    size_t mark = arena.n;
    for (unsigned round = 0; round < 4; round++) {
        for (unsigned i = 0; i < BLOCKS; i++) { /* to 2 MB: more than one piece holds */
            size[i] = (size_t)(i * i + round * 37) * (600 + 20 * round) + i;
            block[i] = DW_TAKE(&arena, size[i], unsigned char);
            ck_assert_ptr_nonnull(block[i]);
            ck_assert_uint_eq((uintptr_t)block[i] % 64, 0);
            ck_assert(all_zero(block[i], size[i]));
            memset(block[i], (int)i + 1, size[i]);
        }
        for (unsigned i = 0; i < BLOCKS; i++)
            for (size_t k = 0; k < size[i]; k++)
                if (block[i][k] != i + 1)
                    ck_abort_msg("block %u was written to by another", i);
        dw_arena_free_to(&arena, round % 2 ? mark : mark + BLOCKS / 2);
        for (unsigned i = 0; i < BLOCKS / 2 && round % 2 == 0; i++)
            ck_assert_uint_eq(block[i][size[i] / 2], size[i] ? i + 1 : block[i][0]);
        dw_arena_free_to(&arena, mark);
    }
    dw_arena_free_to(&arena, 0);
    ck_assert_uint_eq(arena.n, 0);
    ck_assert_ptr_null(arena.block);
}
END_TEST

/* What was given back is used again: rounds of the same steps need no more memory than one. */
START_TEST(room_is_used_again)
{
    struct dw_arena arena = {0};
    size_t pieces = 0;
    for (int round = 0; round < 50; round++) {
        size_t mark = arena.n;
        ck_assert_ptr_nonnull(DW_TAKE(&arena, 1, char)); /* mark 0 would give all back */
        size_t inner = arena.n;
        for (int i = 0; i < 5; i++)
            ck_assert_ptr_nonnull(DW_TAKE(&arena, 10 << 20, char));
        dw_arena_free_to(&arena, inner);
        pieces = round ? pieces : arena.pieces;
        ck_assert_uint_eq(arena.pieces, pieces);
        ck_assert_uint_eq(arena.n, mark + 1);
    }
    dw_arena_free_to(&arena, 0);
}
END_TEST

START_TEST(too_much_is_refused)
{
    struct dw_arena arena = {0};
    ck_assert_ptr_null(DW_TAKE(&arena, SIZE_MAX / 4, double)); /* the product overflows */
    ck_assert_ptr_null(DW_TAKE(&arena, SIZE_MAX / 16, char));  /* no machine has so much */
    double *none = DW_TAKE(&arena, 0, double);
    ck_assert_ptr_nonnull(none);
    ck_assert_double_eq(none[0], 0);
    dw_arena_free_to(&arena, 0);
}
END_TEST

int main(void)
{
    Suite *s = suite_create("arena");
    TCase *t = tcase_create("arena");
    tcase_add_test(t, room_is_zero_and_ones_own);
    tcase_add_test(t, room_is_used_again);
    tcase_add_test(t, too_much_is_refused);
    suite_add_tcase(s, t);
    return dw_check_main(s);
}
