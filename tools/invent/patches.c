/*
 * patches.c - rectangles of still ground and clear sky, and what truly came from them.
 */
#include "truth.h"

#include "target.h"
#include "weather.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Is the rectangle all sky (want 255) or all ground of a still material (want 0)? */
static int pure(const struct dwi_stage *st, const struct dwi_patch *q, int want)
{
    const struct dwi_world *w = &st->world;
    for (int y = q->y; y < q->y + q->h; y++)
        for (int x = q->x; x < q->x + q->w; x++) {
            size_t at = (size_t)(y + DWI_MARGIN) * (size_t)w->w + (size_t)(x + DWI_MARGIN);
            int m = w->material[at];
            if (w->cover[at] != want)
                return 0;
            if (!want && (m == DWI_PANE || m == DWI_TREE || m == DWI_FOREST || m == DWI_MEADOW ||
                          m >= DWI_PATCH0 || w->shadow[at] > 60))
                return 0;
        }
    return 1;
}

/* Do the house's lamps add more than a thousandth to the light of night there? */
static int lamplit(const struct dwi_stage *st, const struct dwi_patch *q)
{
    for (int k = 0; k < 4 && st->p->lamps; k++) { /* corners */
        double d[3];
        dwi_lens_direction(&st->lens, q->x + (k & 1) * q->w, q->y + (k >> 1) * q->h, d);
        if (dwi_lamp_pool(st, d) * DWI_LAMP_LUX * st->world.lamps > 5e-4 * st->p->night_lx)
            return 1;
    }
    return 0;
}

int dwi_patches_choose(const struct dwi_stage *st, struct dwi_patch *patch)
{
    const struct dwi_params *p = st->p;
    int n = 0, side = (p->width / 30) & ~1;
    if (side < 4)
        side = 4;
    /* ground from below upwards, sky from above downwards: at most 8 of each, spread */
    for (int want = 0; want <= 255; want += 255) {
        int got = 0;
        for (int j = 0; j < 40 && got < 8; j++)
            for (int i = 0; i < 4 && got < 8; i++) {
                struct dwi_patch q = {.w = side, .h = side};
                q.x = (int)((i + 0.25 + 0.13 * (j % 4)) / 4 * (p->width - side)) & ~1;
                q.y = (int)((j + 0.5) / 40 * (p->height - side)) & ~1;
                int apart = 1;
                for (int k = 0; k < n; k++)
                    if (abs(patch[k].x - q.x) < 2 * side && abs(patch[k].y - q.y) < 2 * side)
                        apart = 0;
                if (!apart || !pure(st, &q, want))
                    continue;
                snprintf(q.kind, sizeof q.kind, "%s",
                         want              ? "sky"
                         : lamplit(st, &q) ? "lamplit"
                                           : "ground");
                patch[n++] = q;
                got++;
            }
    }
    for (int i = 0; p->view == DWI_TARGET && i < 24; i++) {
        int r[4];
        dwi_target_place(p, i, r);
        patch[n] = (struct dwi_patch){.x = r[0], .y = r[1], .w = r[2], .h = r[3]};
        snprintf(patch[n++].kind, sizeof patch[0].kind, "target-%d", i + 1);
    }
    return n;
}

void dwi_patches_measure(const struct dwi_stage *st, const struct dwi_sensor *sensor,
                         const struct dwi_shot *shot, const float *light,
                         const struct dwi_patch *patch, int n, struct dwi_patch_truth *out)
{
    const struct dwi_params *p = st->p;
    double gain = dwi_sensor_gain(p, shot), per = dwi_sensor_electrons(p, shot);
    double read = dwi_sensor_read_dn(p, shot), dark = p->dark_e * shot->time_s;
    const struct dwi_answer answer = dwi_sensor_answer(p, shot);
    for (int k = 0; k < n; k++) {
        const struct dwi_patch *q = &patch[k];
        double sum[4] = {0}, weight[4] = {0}, dn[4] = {0}, var[4] = {0}, count[4] = {0};
        double clipped = 0;
        for (int y = q->y; y < q->y + q->h; y++)
            for (int x = q->x; x < q->x + q->w; x++) {
                /* the patch is part of the scene: it moves with the picture */
                int px = x + shot->shift_x, py = y + shot->shift_y;
                if (px < 0 || py < 0 || px >= p->width || py >= p->height)
                    continue;
                size_t at = (size_t)py * (size_t)p->width + (size_t)px;
                int c = dwi_colour_at(st, px, py);
                double flat = (double)dwi_sensor_flat(sensor, &answer, at, c);
                double e = (double)light[at] * flat * per + dark;
                if (c == 2)
                    c = 3;
                else if (c == 1 && dwi_colour_at(st, px ^ 1, py) == 2)
                    c = 2;
                sum[c] += (double)light[at] * flat;
                weight[c] += flat;
                dn[c] += gain * e + shot->black_shift + (double)sensor->column[px];
                var[c] += gain * gain * e + read * read + 1.0 / 12;
                clipped += gain * e + shot->black_shift > p->white - p->black;
                count[c]++;
            }
        double all = count[0] + count[1] + count[2] + count[3];
        for (int c = 0; c < 4; c++) {
            double m = count[c] > 0 ? count[c] : 1;
            out[k].light[c] = (float)(weight[c] > 0 ? sum[c] / weight[c] : 0);
            out[k].dn[c] = (float)(dn[c] / m);
            out[k].variance[c] = (float)(var[c] / (m * m));
        }
        out[k].clipped = (float)(all > 0 ? clipped / all : 0);
    }
}
