/* benchmark.c: what a run costs, against what decoding alone costs, side by side in one run.
 * Prints a table and asserts nothing.
 *   daywheel-benchmark BUILD FOLDER [BIG-FRAMES [SMALL-FRAMES]]
 * BUILD is a release build, FOLDER an empty place with room (about 60 MB a big frame). */
#include "measure.h"

#include <dirent.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <sys/stat.h>

enum { MOST_ARGS = 4096 };

struct places {
    char render[600], invent[600], unpack[600];
    const char *folder;
};

static void show(const char *what, const struct cost *c, double ratio)
{
    printf("%-44s %8.2f %8.2f %8.0f", what, c->wall_s, c->cpu_s, c->peak_mb);
    if (ratio > 0)
        printf("   %.2f", ratio);
    if (c->status != 0 && c->status != 3)
        printf("   FAILED with status %d", c->status);
    printf("\n");
    fflush(stdout);
}

static void remove_tree(const char *folder, const char *name)
{
    char path[1200];
    snprintf(path, sizeof path, "%s/%s", folder, name);
    const char *argv[] = {"/bin/rm", "-rf", path, NULL};
    measure(argv);
}

static struct cost invent(const struct places *p, const char *name, const char *frames,
                          const char *size, const char *compress)
{
    char out[1200];
    snprintf(out, sizeof out, "%s/%s", p->folder, name);
    const char *argv[] = {p->invent, "--scene",    "clear",  "--frames", frames, "--size",
                          size,      "--compress", compress, "--out",    out,    NULL};
    struct stat st;
    if (stat(out, &st) == 0)
        return (struct cost){0};
    return measure(argv);
}

/* Decodes all files of a shoot; files are read once before, so that both sides find them in
 * the page cache alike. */
static struct cost unpack(const struct places *p, const char *name, const char *jobs)
{
    static const char *argv[MOST_ARGS];
    char folder[1200];
    snprintf(folder, sizeof folder, "%s/%s", p->folder, name);
    int n = 0;
    argv[n++] = p->unpack;
    argv[n++] = jobs;
    DIR *d = opendir(folder);
    for (struct dirent *e; d && (e = readdir(d)) != NULL && n < MOST_ARGS - 1;) {
        size_t length = strlen(e->d_name);
        if (length < 4 || strcasecmp(e->d_name + length - 4, ".dng") != 0)
            continue;
        char *path = malloc(strlen(folder) + length + 2);
        if (!path)
            break;
        sprintf(path, "%s/%s", folder, e->d_name);
        argv[n++] = path;
    }
    if (d)
        closedir(d);
    argv[n] = NULL;
    struct cost c = measure(argv);
    while (n > 2)
        free((char *)argv[--n]);
    return c;
}

static struct cost render(const struct places *p, const char *shoot, const char *out,
                          const char *jobs, const char *twilight)
{
    char in[1200], to[1200];
    snprintf(in, sizeof in, "%s/%s", p->folder, shoot);
    snprintf(to, sizeof to, "%s/%s", p->folder, out);
    const char *argv[] = {p->render, "render",         in,  "-o", to, "--jobs", jobs, "--twilight",
                          twilight,  "--keep-scratch", NULL};
    return measure(argv);
}

int main(int argc, char **argv)
{
    if (argc < 3) {
        fprintf(stderr, "usage: daywheel-benchmark BUILD FOLDER [BIG-FRAMES [SMALL-FRAMES]]\n");
        return 2;
    }
    const char *big = argc > 3 ? argv[3] : "24", *small = argc > 4 ? argv[4] : "781";
    struct places p = {.folder = argv[2]};
    snprintf(p.render, sizeof p.render, "%s/src/cli/daywheel", argv[1]);
    snprintf(p.invent, sizeof p.invent, "%s/tools/invent/daywheel-invent", argv[1]);
    snprintf(p.unpack, sizeof p.unpack, "%s/tools/benchmark/daywheel-unpack", argv[1]);

    printf("%-44s %8s %8s %8s   %s\n", "", "wall s", "cpu s", "peak MB", "ratio");
    char label[100];
    struct cost c = invent(&p, "small", small, "900x600", "none");
    snprintf(label, sizeof label, "invent %s frames 900x600", small);
    show(label, &c, 0);
    remove_tree(p.folder, "out-small");
    c = render(&p, "small", "out-small", "2", "-12,-3");
    snprintf(label, sizeof label, "render %s frames 900x600, 2 jobs", small);
    show(label, &c, 0);

    c = invent(&p, "big", big, "6000x4000", "ljpeg");
    snprintf(label, sizeof label, "invent %s frames 24 MP, lossless JPEG", big);
    show(label, &c, 0);
    unpack(&p, "big", "2"); /* warms the page cache */
    struct cost decode = unpack(&p, "big", "2");
    show("LibRaw open and unpack, 2 workers", &decode, 1);
    remove_tree(p.folder, "out-big");
    c = render(&p, "big", "out-big", "2", "-12,-3");
    show("first render at half, 2 jobs  (ratio to it)", &c, c.wall_s / decode.wall_s);
    double two = c.wall_s;
    c = render(&p, "big", "out-big", "2", "-11,-4");
    show("second render, another look, scratch kept", &c, c.wall_s / decode.wall_s);
    remove_tree(p.folder, "out-big");
    c = render(&p, "big", "out-big", "1", "-12,-3");
    show("first render at half, 1 job  (1 job : 2 jobs)", &c, c.wall_s / two);
    return 0;
}
