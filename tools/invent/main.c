/*
 * main.c - daywheel-invent: an invented shoot with exactly known truth.
 */
#include "frame.h"
#include "light.h"
#include "params.h"
#include "run.h"

#include <stdio.h>
#include <string.h>

static int complain(const char *what)
{
    fprintf(stderr, "daywheel-invent: %s\n", what);
    return 2;
}

/* Options are name and value, "--name value" or "--name=value"; the scene goes first whatever its
 * place on the line, so that options given beside it win. */
static int read_options(int argc, char **argv, struct dwi_params *p, char *err, int n)
{
    for (int pass = 0; pass < 2; pass++)
        for (int i = 1; i < argc; i++) {
            char name[64];
            const char *a = argv[i], *eq = strchr(a, '='), *value;
            if (strncmp(a, "--", 2)) {
                snprintf(err, (size_t)n, "'%s' is not an option; --help lists them", a);
                return -1;
            }
            snprintf(name, sizeof name, "%.*s", eq ? (int)(eq - a - 2) : 60, a + 2);
            value = eq ? eq + 1 : ++i < argc ? argv[i] : NULL;
            if (!value) {
                snprintf(err, (size_t)n, "option %s needs a value", a);
                return -1;
            }
            if (!strcmp(name, "scene") ? !pass && dwi_params_scene(p, value, err, n)
                                       : pass && dwi_params_set(p, name, value, err, n))
                return -1;
        }
    return 0;
}

int main(int argc, char **argv)
{
    struct dwi_params p;
    char err[400];
    for (int i = 1; i < argc; i++)
        if (!strcmp(argv[i], "--help")) {
            dwi_params_help();
            return 0;
        }
    dwi_params_default(&p);
    if (read_options(argc, argv, &p, err, sizeof err))
        return complain(err);
    if (!p.out[0])
        return complain("no --out FOLDER given; --help lists all options");
    if (p.width % 2 || p.height % 2)
        return complain("option size: width and height must be even");
    if (p.white <= p.black || p.white >= 1 << p.bits)
        return complain("option white: must lie between black and 2^bits");
    if (dwi_run(&p, err, sizeof err)) {
        fprintf(stderr, "daywheel-invent: %s\n", err);
        return 1;
    }
    return 0;
}
