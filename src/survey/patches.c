/* patches.c: see patches.h. */
#include "survey/patches.h"

#include <math.h>

#define ACROSS 4
#define DOWN 4

int dw_patch_places(int width, int height, struct dw_patch_place *at)
{
    const int side = 2 * DW_PATCH_SIDE;
    int across = width / side, down = height / side, n = 0;
    across = across > ACROSS ? ACROSS : across;
    down = down > DOWN ? DOWN : down;
    for (int r = 0; r < down; r++)
        for (int c = 0; c < across; c++) {
            /* the middle of an even share of the frame; even, so that cells hold whole patterns */
            int x = ((2 * c + 1) * width / across - side) / 2;
            int y = ((2 * r + 1) * height / down - side) / 2;
            at[n++] = (struct dw_patch_place){(uint16_t)(x - x % 2), (uint16_t)(y - y % 2)};
        }
    return n;
}

uint16_t dw_patch_code(float dn_above_black)
{
    float v = fmaxf(dn_above_black + DW_PATCH_LIFT, 0.0f);
    return (uint16_t)lrintf(fminf(DW_PATCH_SCALE * sqrtf(v), DW_PATCH_MOST));
}

/* Mean of the greens of the cell whose upper left pixel is (x, y). */
static float green_of(const struct dw_layout *l, const struct dw_mosaic *m, int x, int y)
{
    int sum = 0, n = 0;
    for (int v = y; v < y + 2; v++)
        for (int u = x; u < x + 2; u++) {
            const uint16_t *px = m->px + (size_t)v * (size_t)l->stride;
            bool green = l->spp == 3 || l->colour[v % l->vp][u % l->hp] == 1;
            sum += green ? px[l->spp == 3 ? 3 * u + 1 : u] : 0;
            n += green;
        }
    return n ? (float)sum / (float)n : 0;
}

int dw_patches_take(const struct dw_layout *l, const struct dw_mosaic *m, uint16_t *code)
{
    struct dw_patch_place at[DW_PATCHES];
    int n = dw_patch_places(m->width, m->height, at);
    for (int i = 0; i < n; i++)
        for (int y = 0; y < DW_PATCH_SIDE; y++)
            for (int x = 0; x < DW_PATCH_SIDE; x++)
                *code++ =
                    dw_patch_code(green_of(l, m, at[i].x + 2 * x, at[i].y + 2 * y) - m->black[1]);
    return n;
}
