/* mosaics.h: invented mosaics and facts for the tests of rendering. */
#ifndef DW_TESTS_MOSAICS_H
#define DW_TESTS_MOSAICS_H

#include <daywheel/render.h>

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define BLACK 512.0f
#define WHITE 15000.0f

/* One class of levels, a neutral camera, nothing hot. */
static struct dw_levels plain_levels = {100, 1, {BLACK, BLACK, BLACK}, WHITE, 0, 0};
static const struct dw_source plain_source = {.weight = 1, .chroma = {1, 1, 1}};

static inline struct dw_facts plain_facts(int width, int height)
{
    struct dw_facts f = {.mosaic_width = width,
                         .mosaic_height = height,
                         .n_levels = 1,
                         .levels = &plain_levels,
                         .white_mul = {1, 1, 1},
                         .cam_to_wide = {1, 0, 0, 0, 1, 0, 0, 0, 1},
                         .night_mul = {1, 1, 1},
                         .night_sky = {1, 1, 1},
                         .night_sky_keys = 1.55f};
    return f;
}

/* pattern: "RGGB" and so on, "X" for X-Trans, "M" for monochrome, "3" for full colour. */
static inline struct dw_mosaic new_mosaic(int width, int height, const char *pattern)
{
    static const char xtrans[] = "GBGGRGRGRBGBGBGGRGGRGGBGBGBRGRGRGGBG";
    struct dw_mosaic m = {.width = width, .height = height, .white = WHITE, .period = 1};
    m.cfa = pattern[0] == 'X'   ? DW_CFA_XTRANS
            : pattern[0] == 'M' ? DW_CFA_MONO
            : pattern[0] == '3' ? DW_CFA_RGB
                                : DW_CFA_BAYER;
    if (m.cfa == DW_CFA_BAYER || m.cfa == DW_CFA_XTRANS) {
        m.period = m.cfa == DW_CFA_BAYER ? 2 : 6;
        const char *letters = m.cfa == DW_CFA_BAYER ? pattern : xtrans;
        for (int i = 0; i < m.period * m.period; i++)
            m.pattern[i] = (uint8_t)(letters[i] == 'R' ? 0 : letters[i] == 'G' ? 1 : 2);
    }
    for (int c = 0; c < 3; c++)
        m.black[c] = BLACK;
    m.samples = (size_t)width * (size_t)height * (m.cfa == DW_CFA_RGB ? 3 : 1);
    m.px = calloc(m.samples, sizeof *m.px);
    return m;
}

static inline int colour_at(const struct dw_mosaic *m, int x, int y)
{
    return m->period == 1 ? 1 : m->pattern[(y % m->period) * m->period + x % m->period];
}

/* The sample of a level, 1 = saturation. */
static inline uint16_t sample_of(double level)
{
    double v = floor((double)BLACK + level * (double)(WHITE - BLACK) + 0.5);
    return (uint16_t)fmin(fmax(v, 0.0), (double)WHITE);
}

/* Fills from light(x, y, colour), in levels. */
static inline void expose(struct dw_mosaic *m, double (*light)(double x, double y, int colour))
{
    for (int y = 0; y < m->height; y++)
        for (int x = 0; x < m->width; x++) {
            size_t i = (size_t)y * (size_t)m->width + (size_t)x;
            if (m->cfa == DW_CFA_RGB)
                for (int c = 0; c < 3; c++)
                    m->px[3 * i + (size_t)c] = sample_of(light(x, y, c));
            else
                m->px[i] = sample_of(light(x, y, colour_at(m, x, y)));
        }
}

#endif
