/* decide.c: what a decision costs, on invented surveys with patches and spots, for shoots of
 * growing length: it should stay below a second at 3000 frames, and grow with their number and no
 * faster. Prints a table, with all cores of the machine and with one, and asserts nothing.
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
    double cpu, wall; /* s; each of the better of two rounds */
};

enum { MOST_RUNS = 2 };

/* jobs: how many workers (0: no such run); out: what it costs with so many. */
static void measure(int frames, const char *path, const int jobs[MOST_RUNS],
                    struct cost out[MOST_RUNS])
{
    struct fake_params p = fake_defaults(1);
    p.frames = frames;
    struct fake_shoot shoot = fake_make(&p);
    struct dw_decide_params params = DW_DECIDE_DEFAULTS;
    params.has_site = true;
    params.site = p.site;
    struct dw_error err = {0};
    for (int k = 0; k < MOST_RUNS; k++)
        out[k] = (struct cost){-1, -1};
    if (!made_details_add(&shoot, path, &err)) {
        fprintf(stderr, "daywheel-decide-cost: %s\n", err.text);
        fake_free(&shoot);
        return;
    }
    for (int round = 0; round < 2 * MOST_RUNS; round++) {
        const struct dw_run run = {.jobs = jobs[round % MOST_RUNS]};
        struct cost *best = &out[round % MOST_RUNS];
        struct dw_decision d;
        if (run.jobs == 0)
            continue;
        double cpu = seconds(CLOCK_PROCESS_CPUTIME_ID), wall = seconds(CLOCK_MONOTONIC);
        if (dw_decide(&shoot.shots, &shoot.survey, &params, &run, &d, &err) < 0) {
            fprintf(stderr, "daywheel-decide-cost: %s\n", err.text);
            break;
        }
        cpu = seconds(CLOCK_PROCESS_CPUTIME_ID) - cpu;
        wall = seconds(CLOCK_MONOTONIC) - wall;
        best->cpu = best->cpu < 0 || cpu < best->cpu ? cpu : best->cpu;
        best->wall = best->wall < 0 || wall < best->wall ? wall : best->wall;
        dw_decision_free(&d);
    }
    made_details_remove(&shoot, path);
    fake_free(&shoot);
}

int main(int argc, char **argv)
{
    static const char *const usual[] = {"750", "3000", "20000"};
    int n = argc > 1 ? argc - 1 : 3;
    char path[300];
    const char *dir = getenv("TMPDIR");
    snprintf(path, sizeof path, "%s/daywheel-decide-cost-%ld.dws", dir ? dir : "/tmp",
             (long)getpid());
    long cores = sysconf(_SC_NPROCESSORS_ONLN);
    const int jobs[MOST_RUNS] = {cores > 1 ? (int)cores : 0, 1};
    printf("%-44s %8s   %8s   %s\n", "", "wall s", "cpu s", "cpu ms a frame");
    for (int i = 0; i < n; i++) {
        int frames = atoi(argc > 1 ? argv[i + 1] : usual[i]);
        if (frames < 1) {
            fprintf(stderr, "usage: daywheel-decide-cost [FRAMES...]\n");
            return 2;
        }
        struct cost took[MOST_RUNS];
        measure(frames, path, jobs, took);
        for (int k = 0; k < MOST_RUNS; k++) {
            char label[60];
            if (jobs[k] == 0)
                continue;
            snprintf(label, sizeof label, "decide %d frames, %d core%s", frames, jobs[k],
                     jobs[k] > 1 ? "s" : "");
            printf("%-44s %8.2f   %8.2f   %.3f\n", label, took[k].wall, took[k].cpu,
                   1000 * took[k].cpu / frames);
        }
        fflush(stdout);
    }
    return 0;
}
