/* measure.c: see measure.h. */
#include "measure.h"

#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

struct cost measure(const char *const argv[])
{
    struct cost c = {.status = -1};
    struct timespec a, b;
    fflush(stdout);
    clock_gettime(CLOCK_MONOTONIC, &a);
    pid_t pid = fork();
    if (pid == 0) {
        if (!getenv("DAYWHEEL_BENCHMARK_VERBOSE")) {
            int null = open("/dev/null", O_WRONLY);
            dup2(null, 1);
            dup2(null, 2);
        }
        execv(argv[0], (char *const *)argv); /* exec does not write to them */
        _exit(127);
    }
    int status = 0;
    struct rusage u;
    if (pid < 0 || wait4(pid, &status, 0, &u) != pid)
        return c;
    clock_gettime(CLOCK_MONOTONIC, &b);
    c.wall_s = (double)(b.tv_sec - a.tv_sec) + 1e-9 * (double)(b.tv_nsec - a.tv_nsec);
    c.cpu_s = (double)(u.ru_utime.tv_sec + u.ru_stime.tv_sec) +
              1e-6 * (double)(u.ru_utime.tv_usec + u.ru_stime.tv_usec);
    c.peak_mb = (double)u.ru_maxrss / 1024;
    if (WIFEXITED(status))
        c.status = WEXITSTATUS(status);
    return c;
}
