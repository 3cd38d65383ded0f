/* look.c: what the look alone costs: scene-linear light of 6 MP to finished 8-bit pixels, by night,
 * with and without a map of 6000 stars, while crossing over (before the night's balance comes in,
 * and after it) and by day, with every compilation of the kernels but the plain one that this
 * machine runs. The least of several passes of this thread's own time, so that other work on the
 * machine counts little. daywheel-look [PASSES] */
#include "render/look/lift.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

enum { WIDTH = 3000, HEIGHT = 2000, ROWS = 7 };

static double now_ms(void)
{
    struct timespec t;
    clock_gettime(CLOCK_THREAD_CPUTIME_ID, &t);
    return (double)t.tv_sec * 1e3 + (double)t.tv_nsec / 1e6;
}

/* What reading the clock adds to every time that is taken, ms. */
static double clock_cost(void)
{
    double least = 1;
    for (int i = 0; i < 1000; i++) {
        double start = now_ms(), took = now_ms() - start;
        least = took < least ? took : least;
    }
    return least;
}

/* A sky that darkens upwards, with noise and stars. */
static void fill(float *rgb[3], int y)
{
    uint32_t h = (uint32_t)y * 2654435761u;
    for (int x = 0; x < WIDTH; x++) {
        h = h * 1664525u + 1013904223u;
        float v = 0.3f + 1.5f * (float)y / HEIGHT + (float)(h >> 8) * 0x1p-26f;
        v *= h < 2000000u ? 30.0f : 1.0f;
        for (int c = 0; c < 3; c++)
            rgb[c][x] = v * (0.9f + 0.1f * (float)c);
    }
}

/* Along a row, where a map would have stars: 6000 in all, 5 pixels wide. */
static void mark(float *known, int y)
{
    uint32_t h = (uint32_t)y * 2654435761u;
    memset(known, 0, WIDTH * sizeof *known);
    for (int i = 0; i < 6000 * 5 / HEIGHT; i++) {
        h = h * 1664525u + 1013904223u;
        for (uint32_t x = h % (WIDTH - 5), end = x + 5; x < end; x++)
            known[x] = 1;
    }
}

/* One picture; returns its time without that of making light. rows: light, a level, and what a map
 * tells. */
static double picture(const struct dw_look_plan *p, bool map, float *const rows[ROWS],
                      struct dw_lift_memory *memory, uint8_t *out)
{
    double took = 0, clock = clock_cost();
    struct dw_background b = {0};
    float *light[3] = {rows[0], rows[1], rows[2]};
    const float *known[DW_KNOWN_ROWS] = {rows[4], rows[4], rows[5], rows[6], rows[6], rows[6]};
    if (p->lifts && dw_background_begin(&b, WIDTH, HEIGHT, NULL) == DW_OK) {
        for (int y = 0; y < HEIGHT; y++) {
            if (!dw_background_wants(&b, y))
                continue;
            fill(light, y);
            double start = now_ms();
            dw_look_level(p, WIDTH, rows, rows[3]);
            dw_background_add(&b, y, rows, rows[3]);
            took += now_ms() - start - clock;
        }
        dw_background_end(&b, &(struct dw_sky_wanted){p->lift.floor, 1, 0});
    }
    for (int y = 0; y < HEIGHT + (p->near ? 1 : 0); y++) {
        if (y < HEIGHT)
            fill(light, y);
        if (map && y > 0)
            mark(rows[4], y - 1);
        double start = now_ms();
        if (!p->near)
            dw_look_row(p, WIDTH, y, 8, (const float *const *)light, out + (size_t)y * WIDTH * 3);
        if (p->near && y < HEIGHT)
            dw_lift_take(p, memory, y, (const float *const *)light);
        if (p->near && y > 0)
            dw_lift_row(p, p->lifts ? &b : NULL, memory, map ? known : NULL, y - 1, 8,
                        out + (size_t)(y - 1) * WIDTH * 3);
        took += now_ms() - start - clock;
    }
    dw_background_free(&b);
    return took;
}

int main(int argc, char **argv)
{
    int passes = argc > 1 ? atoi(argv[1]) : 7;
    const struct dw_look_params look = DW_LOOK_DEFAULTS;
    const struct {
        const char *name;
        double day, balance, stars, key;
        bool map;
    } at[] = {{"night", 0, 0, 1, 0.02, false},
              {"night, with a map of stars", 0, 0, 1, 0.02, true},
              {"night, no stars lifted", 0, 1, 0, 0.02, false},
              {"crossing over", 0.5, 1, 0, 0.06, false},
              {"crossing over, night's balance begins", 0.5, 0.9, 0, 0.06, false},
              {"day", 1, 1, 0, 0.2, false}};
    struct dw_facts facts = {.night_mul = {0.9f, 1.0f, 1.6f}, .night_sky_keys = 1.0};
    struct dw_space_kept room = {0};
    float *rows[ROWS];
    uint8_t *out = malloc((size_t)WIDTH * HEIGHT * 3);
    struct dw_lift_memory memory = {0};
    if (!out || !dw_grow(&room, ROWS * dw_row_stride(WIDTH) * sizeof(float)) ||
        dw_lift_memory_open(&memory, WIDTH, HEIGHT, NULL) < 0)
        return 1;
    for (size_t i = 0; i < ROWS; i++)
        rows[i] = (float *)room.p + i * dw_row_stride(WIDTH);
    for (int x = 0; x < WIDTH; x++) {
        rows[5][x] = 0;
        rows[6][x] = 1;
    }
    int kinds = dw_kernels_count(), first = kinds > 1 ? 1 : 0;
    printf("look of 6 MP, ms on one core, least of %d  ", passes);
    for (int kind = first; kind < kinds; kind++)
        printf("%8s", dw_kernels_number(kind)->name);
    printf("\n");
    for (size_t i = 0; i < sizeof at / sizeof *at; i++) {
        struct dw_frame frame = {.number = 1,
                                 .key = at[i].key,
                                 .day = at[i].day,
                                 .balance = at[i].balance,
                                 .stars = at[i].stars};
        struct dw_look_plan plan;
        if (dw_look_plan_make(&frame, &facts, &look, DW_SPACE_SRGB, &plan, NULL) < 0)
            return 1;
        if (at[i].map)
            dw_look_know_stars(&plan, &look);
        printf("  %-42s", at[i].name);
        for (int kind = first; kind < kinds; kind++) {
            plan.k = dw_kernels_number(kind);
            double best = 1e9;
            for (int k = 0; k < passes; k++) {
                double took = picture(&plan, at[i].map, rows, &memory, out);
                best = took < best ? took : best;
            }
            printf("%8.1f", best);
        }
        printf("\n");
    }
    dw_lift_memory_free(&memory);
    dw_grow_free(&room);
    free(out);
    return 0;
}
