/* demosaic_oracles.h: plain demosaicing to compare with, one pixel at a time and in double. */
#ifndef DW_TESTS_DEMOSAIC_ORACLES_H
#define DW_TESTS_DEMOSAIC_ORACLES_H

#include <math.h>
#include <stdint.h>
#include <stdlib.h>

/* A mosaic that is mirrored at its edges. */
struct mosaic {
    int w, h;
    uint8_t pattern[4];
    float *px;
};

static inline int mirrored(int i, int n)
{
    while (i < 0 || i >= n)
        i = i < 0 ? -i : 2 * (n - 1) - i;
    return i;
}

static inline double at(const struct mosaic *m, int y, int x)
{
    return (double)m->px[(size_t)mirrored(y, m->h) * (size_t)m->w + (size_t)mirrored(x, m->w)];
}

static inline int colour_at(const struct mosaic *m, int y, int x)
{
    return m->pattern[(y & 1) * 2 + (x & 1)];
}

typedef double oracle(const struct mosaic *m, int y, int x, int colour);

/* Mean of the nearest samples: 4 for green, 2 or 4 for the others. */
static inline double bilinear(const struct mosaic *m, int y, int x, int colour)
{
    if (colour_at(m, y, x) == colour)
        return at(m, y, x);
    double cross = 0, corner = 0;
    int n_cross = 0, n_corner = 0;
    for (int v = -1; v <= 1; v++)
        for (int u = -1; u <= 1; u++) {
            if (colour_at(m, y + v, x + u) != colour)
                continue;
            if (u == 0 || v == 0) {
                cross += at(m, y + v, x + u);
                n_cross++;
            } else {
                corner += at(m, y + v, x + u);
                n_corner++;
            }
        }
    return n_cross ? cross / n_cross : corner / n_corner;
}

/* Malvar, He & Cutler, ICASSP 2004: 5x5 filters, in eighths. For reference only. */
static inline double malvar(const struct mosaic *m, int y, int x, int colour)
{
    static const double green_at_site[25] = {0, 0,  -1, 0, 0, 0, 0, 2, 0, 0,  -1, 2, 4,
                                             2, -1, 0,  0, 2, 0, 0, 0, 0, -1, 0,  0};
    static const double along_row[25] = {0, 0,  0.5, 0,  0, 0,  -1, 0, -1, 0,   -1, 4, 5,
                                         4, -1, 0,   -1, 0, -1, 0,  0, 0,  0.5, 0,  0};
    static const double corner[25] = {0, 0,    -1.5, 0, 0, 0, 2, 0, 2, 0,    -1.5, 0, 6,
                                      0, -1.5, 0,    2, 0, 2, 0, 0, 0, -1.5, 0,    0};
    int own = colour_at(m, y, x);
    if (own == colour)
        return at(m, y, x);
    const double *filter = corner;
    int turned = 0;
    if (colour == 1) {
        filter = green_at_site;
    } else if (own == 1) {
        filter = along_row;
        turned = colour_at(m, y, x + 1) != colour;
    }
    double sum = 0;
    for (int v = -2; v <= 2; v++)
        for (int u = -2; u <= 2; u++)
            sum += filter[turned ? (u + 2) * 5 + v + 2 : (v + 2) * 5 + u + 2] * at(m, y + v, x + u);
    return sum / 8;
}

/* The method of render/mosaic/demosaic.c written down as directly as it can be, without rows or
 * windows.
 * Slow: each value is computed again wherever it is needed. */
static inline double difference_change(const struct mosaic *m, int y, int x, int dy, int dx)
{
#define STEP(k) (at(m, y + (k)*dy, x + (k)*dx) - at(m, y - (k)*dy, x - (k)*dx))
    return fabs(2 * STEP(2) - STEP(1) - STEP(3));
#undef STEP
}

struct site_fit {
    double green, slope, residual, share, colour;
};

/* No further below the lowest of four samples than half of that. */
static inline double lifted(double v, double a, double b, double c, double d)
{
    double low = fmin(fmin(a, b), fmin(c, d));
    return fmax(v, low - 0.5 * fabs(low));
}

static inline struct site_fit fit_at(const struct mosaic *m, int y, int x)
{
    double across = 0, down = 0, of_green = 0, of_own = 0, c = at(m, y, x);
    for (int v = -2; v <= 2; v++)
        for (int u = -2; u <= 2; u++) {
            across += difference_change(m, y + v, x + u, 0, 1);
            down += difference_change(m, y + v, x + u, 1, 0);
            int t = y + 2 * v, s = x + 2 * u;
            of_green += 2 * fabs(at(m, t, s - 1) - at(m, t, s + 1)) +
                        2 * fabs(at(m, t - 1, s) - at(m, t + 1, s));
            of_own += fabs(at(m, t, s) - at(m, t, s - 2)) + fabs(at(m, t, s) - at(m, t, s + 2)) +
                      fabs(at(m, t, s) - at(m, t - 2, s)) + fabs(at(m, t, s) - at(m, t + 2, s));
        }
    double share = (down * down + 1e-12) / (across * across + down * down + 2e-12);
    double caution = 0.3 * (of_green + of_own) + 1e-12;
    double slope = (of_own + caution) / (of_green + caution);
    double smooth[2], bend[2];
    for (int i = 0; i < 2; i++) {
        int dy = i, dx = 1 - i;
        smooth[i] = 7.0 / 16 * (at(m, y - dy, x - dx) + at(m, y + dy, x + dx)) +
                    1.0 / 16 * (at(m, y - 3 * dy, x - 3 * dx) + at(m, y + 3 * dy, x + 3 * dx));
        bend[i] = (2 * c - at(m, y - 2 * dy, x - 2 * dx) - at(m, y + 2 * dy, x + 2 * dx)) / 4;
    }
    double green =
        share * (smooth[0] + bend[0] / slope) + (1 - share) * (smooth[1] + bend[1] / slope);
    double low =
        fmin(fmin(at(m, y, x - 1), at(m, y, x + 1)), fmin(at(m, y - 1, x), at(m, y + 1, x)));
    double high =
        fmax(fmax(at(m, y, x - 1), at(m, y, x + 1)), fmax(at(m, y - 1, x), at(m, y + 1, x)));
    green = fmax(green, low - fmin(high - low, 0.5 * fabs(low)));
    green = fmin(green, 2 * high - low);
    return (struct site_fit){green, slope, c - slope * green, share, c};
}

static inline struct site_fit diagonal_fit(const struct mosaic *m, int y, int x)
{
    double g = fit_at(m, y, x).green;
    struct site_fit a = fit_at(m, y - 1, x - 1), b = fit_at(m, y + 1, x + 1);
    struct site_fit c = fit_at(m, y - 1, x + 1), d = fit_at(m, y + 1, x - 1);
    double falling = fabs(a.residual - b.residual) + fabs(2 * g - a.green - b.green) + 1e-12;
    double rising = fabs(c.residual - d.residual) + fabs(2 * g - c.green - d.green) + 1e-12;
    double p = rising / (falling + rising) / 2, q = falling / (falling + rising) / 2;
    double slope = p * (a.slope + b.slope) + q * (c.slope + d.slope);
    double residual = p * (a.residual + b.residual) + q * (c.residual + d.residual);
    double colour = lifted(residual + slope * g, a.colour, b.colour, c.colour, d.colour);
    return (struct site_fit){g, slope, colour - slope * g, 0, colour};
}

static inline double direct(const struct mosaic *m, int y, int x, int colour)
{
    int own = colour_at(m, y, x);
    if (own == colour)
        return at(m, y, x);
    if (colour == 1)
        return fit_at(m, y, x).green;
    if (own != 1) {
        struct site_fit f = diagonal_fit(m, y, x);
        return f.residual + f.slope * f.green;
    }
    static const int dy[4] = {0, 0, -1, 1}, dx[4] = {-1, 1, 0, 0};
    double share = 0, slope[4], residual[4], near[4];
    for (int i = 0; i < 4; i++) {
        int v = y + dy[i], u = x + dx[i];
        struct site_fit f = fit_at(m, v, u);
        share += f.share / 4;
        if (colour_at(m, v, u) != colour)
            f = diagonal_fit(m, v, u);
        slope[i] = f.slope;
        residual[i] = f.residual;
        near[i] = f.colour;
    }
    double p = share / 2, q = (1 - share) / 2;
    double r = p * (residual[0] + residual[1]) + q * (residual[2] + residual[3]);
    double b = p * (slope[0] + slope[1]) + q * (slope[2] + slope[3]);
    return lifted(r + b * at(m, y, x), near[0], near[1], near[2], near[3]);
}

#endif
