/* check_main.h: the one main() that all suites share. */
#ifndef DW_TESTS_CHECK_MAIN_H
#define DW_TESTS_CHECK_MAIN_H

#include <check.h>
#include <stdlib.h>

/* Runs a suite and reports in TAP (the environment says where). */
static inline int dw_check_main(Suite *suite)
{
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}

#endif
