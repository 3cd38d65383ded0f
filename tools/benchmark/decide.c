/* decide.c: what a decision costs, on invented surveys without pictures, for shoots of growing
 * length: it should stay below a second at 3000 frames, and grow with their number and no faster.
 * Prints a table and asserts nothing.
 *   daywheel-decide-cost [FRAMES...]      (default 750 3000 20000; 20000 need 1.5 GB) */
#include "fake_shoot.h"

#include <stdio.h>
#include <stdlib.h>
#include <time.h>

static double seconds(void)
{
    struct timespec t;
    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

static double cost(int frames)
{
    struct fake_params p = fake_defaults(1);
    p.frames = frames;
    struct fake_shoot shoot = fake_make(&p);
    struct dw_decide_params params = DW_DECIDE_DEFAULTS;
    params.has_site = true;
    params.site = p.site;
    double best = -1;
    for (int round = 0; round < 2; round++) {
        struct dw_decision d;
        struct dw_error err;
        double start = seconds();
        if (dw_decide(&shoot.shots, &shoot.survey, &params, NULL, &d, &err) < 0) {
            fprintf(stderr, "daywheel-decide-cost: %s\n", err.text);
            break;
        }
        double took = seconds() - start;
        best = best < 0 || took < best ? took : best;
        dw_decision_free(&d);
    }
    fake_free(&shoot);
    return best;
}

int main(int argc, char **argv)
{
    static const char *const usual[] = {"750", "3000", "20000"};
    int n = argc > 1 ? argc - 1 : 3;
    printf("%-44s %8s   %s\n", "", "cpu s", "ms a frame");
    for (int i = 0; i < n; i++) {
        int frames = atoi(argc > 1 ? argv[i + 1] : usual[i]);
        if (frames < 1) {
            fprintf(stderr, "usage: daywheel-decide-cost [FRAMES...]\n");
            return 2;
        }
        char label[60];
        snprintf(label, sizeof label, "decide %d frames, one core", frames);
        double took = cost(frames);
        printf("%-44s %8.2f   %.3f\n", label, took, 1000 * took / frames);
        fflush(stdout);
    }
    return 0;
}
