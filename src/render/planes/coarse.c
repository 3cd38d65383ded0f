/* coarse.c: see coarse.h. */
#include "render/planes/coarse.h"

#include "render/kernels/kernels.h"

enum { AT_A_TIME = 16 }; /* numbers of the longest vector */

int dw_coarse_tiles(int pixels, int tile)
{
    int n = (pixels + tile / 2) / tile;
    return n < 1 ? 1 : n;
}

int dw_coarse_between(float at, int tiles, float *share)
{
    int i = at < 0 ? 0 : (int)at;
    if (i > tiles - 2)
        i = tiles - 2 < 0 ? 0 : tiles - 2;
    float s = at - (float)i;
    *share = s < 0 ? 0 : s > 1 ? 1 : s;
    return i;
}

void dw_coarse_row(const float *level, int cols, int rows, int y, int width, int height,
                   float *line, float *out)
{
    float share;
    int row =
        dw_coarse_between(((float)y + 0.5f) / (float)height * (float)rows - 0.5f, rows, &share);
    const float *up = level + (size_t)row * (size_t)cols;
    const float *down = row + 1 < rows ? up + cols : up;
    for (int c = 0; c < cols; c++)
        line[c] = up[c] + share * (down[c] - up[c]);
    void (*ramp)(float, float, size_t, float *) = dw_kernels_best()->encode->ramp;
    /* Straight pieces between the tiles' centres; level before the first and after the last. */
    double pitch = (double)width / cols;
    int x = 0;
    for (int c = -1; c < cols; c++) {
        float from = line[c < 0 ? 0 : c], to = line[c + 1 < cols ? c + 1 : c];
        float start = (float)((c + 0.5) * pitch - 0.5), slope = (to - from) / (float)pitch;
        int end = c + 1 < cols ? (int)((c + 1.5) * pitch - 0.5) + 1 : width;
        end = end < width ? end : width;
        if (end > x) { /* whole vectors: what lies beyond the end is of the next piece yet */
            int n = (end - x + AT_A_TIME - 1) / AT_A_TIME * AT_A_TIME;
            n = n < width - x ? n : width - x;
            ramp(from + ((float)x - start) * slope, slope, (size_t)n, out + x);
            x = end;
        }
    }
}
