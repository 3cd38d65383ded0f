/* test_lock.c: one process at a time in an output folder. */
#include "check_main.h"
#include "output_shoot.h"

#include <signal.h>
#include <sys/wait.h>

static char dir[64];

static void setup(void)
{
    strcpy(dir, "/tmp/dw-lock-XXXXXX");
    ck_assert_ptr_nonnull(mkdtemp(dir));
}

static void teardown(void)
{
    shoot_remove(dir);
}

/* A child that holds the folder until it is told to end; returns when it has it. */
static pid_t holder(int *stop)
{
    int ready[2], go[2];
    ck_assert_int_eq(pipe(ready) | pipe(go), 0);
    pid_t pid = fork();
    if (pid == 0) {
        struct dw_lock *lock;
        char c = dw_lock_folder(dir, &lock, NULL) == DW_OK;
        close(go[1]);
        if (write(ready[1], &c, 1) == 1 && read(go[0], &c, 1) >= 0)
            dw_unlock_folder(lock);
        _exit(0);
    }
    char c = 0;
    ck_assert_int_eq(read(ready[0], &c, 1), 1);
    ck_assert_int_eq(c, 1);
    close(ready[0]), close(ready[1]), close(go[0]);
    *stop = go[1];
    return pid;
}

START_TEST(a_second_process_is_told_who_holds_it)
{
    int stop;
    pid_t pid = holder(&stop);
    struct dw_lock *lock;
    struct dw_error err = {0};
    char number[32];
    ck_assert_int_eq(dw_lock_folder(dir, &lock, &err), DW_ERR_BUSY);
    ck_assert_ptr_null(lock);
    snprintf(number, sizeof number, "process %ld ", (long)pid);
    ck_assert_msg(strstr(err.text, number) != NULL, "%s", err.text);
    ck_assert_ptr_nonnull(strstr(err.text, dir));
    close(stop);
    waitpid(pid, NULL, 0);
    ck_assert_int_eq(dw_lock_folder(dir, &lock, &err), DW_OK);
    dw_unlock_folder(lock);
}
END_TEST

START_TEST(a_killed_holder_locks_nobody_out)
{
    int stop;
    pid_t pid = holder(&stop);
    kill(pid, SIGKILL);
    waitpid(pid, NULL, 0);
    close(stop);
    struct dw_lock *lock;
    ck_assert_int_eq(dw_lock_folder(dir, &lock, NULL), DW_OK);
    dw_unlock_folder(lock);
}
END_TEST

START_TEST(nothing_is_left_behind)
{
    struct dw_lock *lock;
    ck_assert_int_eq(dw_lock_folder(dir, &lock, NULL), DW_OK);
    dw_unlock_folder(lock);
    ck_assert_int_eq(rmdir(dir), 0); /* only an empty folder can be removed */
    ck_assert_int_eq(dw_lock_folder(dir, &lock, NULL), DW_OK); /* made if missing */
    dw_unlock_folder(lock);
    dw_unlock_folder(NULL);
}
END_TEST

/* Many processes take turns; never are two inside. */
START_TEST(never_two_at_once)
{
    char inside[96];
    snprintf(inside, sizeof inside, "%s/inside", dir);
    pid_t pid[4];
    for (int k = 0; k < 4; k++) {
        pid[k] = fork();
        if (pid[k] != 0)
            continue;
        int won = 0;
        while (won < 50) {
            struct dw_lock *lock;
            enum dw_status st = dw_lock_folder(dir, &lock, NULL);
            if (st == DW_ERR_BUSY) {
                usleep(50);
                continue;
            }
            if (st != DW_OK || mkdir(inside, 0777) != 0)
                _exit(1); /* somebody else is inside */
            usleep(50);
            rmdir(inside);
            dw_unlock_folder(lock);
            won++;
        }
        _exit(0);
    }
    for (int k = 0; k < 4; k++) {
        int status;
        waitpid(pid[k], &status, 0);
        ck_assert(WIFEXITED(status) && WEXITSTATUS(status) == 0);
    }
}
END_TEST

START_TEST(a_folder_that_cannot_be_written_is_an_error)
{
    struct dw_lock *lock;
    struct dw_error err = {0};
    ck_assert_int_eq(dw_lock_folder("/proc/nowhere", &lock, &err), DW_ERR_IO);
    ck_assert_ptr_nonnull(strstr(err.text, "/proc/nowhere"));
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("lock");
    TCase *c = tcase_create("lock");
    tcase_add_checked_fixture(c, setup, teardown);
    tcase_add_test(c, a_second_process_is_told_who_holds_it);
    tcase_add_test(c, a_killed_holder_locks_nobody_out);
    tcase_add_test(c, nothing_is_left_behind);
    tcase_add_test(c, never_two_at_once);
    tcase_add_test(c, a_folder_that_cannot_be_written_is_an_error);
    suite_add_tcase(suite, c);
    return dw_check_main(suite);
}
