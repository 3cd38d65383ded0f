/* decide.c: what a decision costs, on invented surveys with patches and spots, for shoots of
 * growing length: it should stay below a second at 3000 frames, and grow with their number and no
 * faster. Prints a table and asserts nothing.
 *   daywheel-decide-cost [FRAMES...]      (default 750 3000 20000; 20000 need 1.5 GB, and 2 GB of
 *                                          room in the folder for temporary files) */
#include "made_details.h"

#include <stdio.h>
#include <stdlib.h>
#include <time.h>
#include <unistd.h>

static double seconds(clockid_t clock)
{
    struct timespec t;
    clock_gettime(clock, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

struct cost {
    double cpu, wall; /* s; of the better of two rounds */
};

static struct cost cost(int frames, const char *path)
{
    struct fake_params p = fake_defaults(1);
    p.frames = frames;
    struct fake_shoot shoot = fake_make(&p);
    struct dw_decide_params params = DW_DECIDE_DEFAULTS;
    params.has_site = true;
    params.site = p.site;
    struct cost best = {-1, -1};
    struct dw_error err = {0};
    if (!made_details_add(&shoot, path, &err)) {
        fprintf(stderr, "daywheel-decide-cost: %s\n", err.text);
        fake_free(&shoot);
        return best;
    }
    for (int round = 0; round < 2; round++) {
        struct dw_decision d;
        double cpu = seconds(CLOCK_PROCESS_CPUTIME_ID), wall = seconds(CLOCK_MONOTONIC);
        if (dw_decide(&shoot.shots, &shoot.survey, &params, NULL, &d, &err) < 0) {
            fprintf(stderr, "daywheel-decide-cost: %s\n", err.text);
            break;
        }
        cpu = seconds(CLOCK_PROCESS_CPUTIME_ID) - cpu;
        wall = seconds(CLOCK_MONOTONIC) - wall;
        best.cpu = best.cpu < 0 || cpu < best.cpu ? cpu : best.cpu;
        best.wall = best.wall < 0 || wall < best.wall ? wall : best.wall;
        dw_decision_free(&d);
    }
    made_details_remove(&shoot, path);
    fake_free(&shoot);
    return best;
}

int main(int argc, char **argv)
{
    static const char *const usual[] = {"750", "3000", "20000"};
    int n = argc > 1 ? argc - 1 : 3;
    char path[300];
    const char *dir = getenv("TMPDIR");
    snprintf(path, sizeof path, "%s/daywheel-decide-cost-%ld.dws", dir ? dir : "/tmp",
             (long)getpid());
    printf("%-44s %8s   %8s   %s\n", "", "cpu s", "wall s", "cpu ms a frame");
    for (int i = 0; i < n; i++) {
        int frames = atoi(argc > 1 ? argv[i + 1] : usual[i]);
        if (frames < 1) {
            fprintf(stderr, "usage: daywheel-decide-cost [FRAMES...]\n");
            return 2;
        }
        char label[60];
        snprintf(label, sizeof label, "decide %d frames", frames);
        struct cost took = cost(frames, path);
        printf("%-44s %8.2f   %8.2f   %.3f\n", label, took.cpu, took.wall,
               1000 * took.cpu / frames);
        fflush(stdout);
    }
    return 0;
}
