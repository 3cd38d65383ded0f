/* register.c: see register.h. */
#include "decide/poses/register.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define SIDE DW_PATCH_SIDE
#define WIDE (2 * SIDE) /* padded with nothing, so that no content wraps round */
#define REACH (SIDE * 5 / 8)
#define STEPS 6

/* An answer near nothing that makes a search farther away idle. */
static const struct {
    double agree, alike; /* at least, of struct dw_shift */
    int voters;
    double near; /* cells */
} rules = {0.95, 0.7, 12, 0.5};

void dw_register_free(struct dw_register *r)
{
    dw_fourier_free(&r->fourier);
    free(r->a);
    *r = (struct dw_register){0};
}

int dw_block_places(const struct dw_patch_place *patch, int n, int width, int height,
                    struct dw_block_place *at)
{
    for (int i = 0; i < n; i++)
        for (int b = 0; b < DW_PATCH_BLOCKS; b++) {
            float x = ((float)(b % DW_BLOCKS_ACROSS) + 0.5f) * DW_BLOCK_SIDE;
            float y = ((float)(b / DW_BLOCKS_ACROSS) + 0.5f) * DW_BLOCK_SIDE;
            *at++ = (struct dw_block_place){x + 0.5f * (float)patch[i].x - 0.25f * (float)width,
                                            y + 0.5f * (float)patch[i].y - 0.25f * (float)height};
        }
    return n * DW_PATCH_BLOCKS;
}

void dw_register_step(const struct dw_view *a, const struct dw_view *b, const float *weight,
                      const struct dw_block_place *at, const struct dw_shift *start,
                      struct dw_block *block)
{
    int n = (a->n < b->n ? a->n : b->n) * DW_PATCH_BLOCKS;
    for (int i = 0; i < n; i++) {
        size_t patch = (size_t)(i / DW_PATCH_BLOCKS) * DW_PATCH_CELLS;
        block[i] = (struct dw_block){.x = start->x, .y = start->y};
        if (weight[i] > 0 && a->structure[i])
            dw_block_step(a->band + patch, b->band + patch, i % DW_PATCH_BLOCKS,
                          dw_shift_x(start, at[i]), dw_shift_y(start, at[i]), &block[i]);
    }
}

/* Ground of patch i as one padded complex picture: a is its real part, b its imaginary one. b is
 * taken whole: what was ground there may have moved into blocks that are none. */
static void lay(const struct dw_view *a, const struct dw_view *b, const float *weight, int i,
                double *z)
{
    const float *from = a->band + (size_t)i * DW_PATCH_CELLS,
                *to = b->band + (size_t)i * DW_PATCH_CELLS;
    double sa = 0, sb = 0;
    memset(z, 0, 2 * (size_t)WIDE * WIDE * sizeof *z);
    for (int y = 2; y < SIDE - 2; y++)
        for (int x = 2; x < SIDE - 2; x++) {
            int block = y / DW_BLOCK_SIDE * DW_BLOCKS_ACROSS + x / DW_BLOCK_SIDE;
            double va = (double)weight[i * DW_PATCH_BLOCKS + block] * (double)from[y * SIDE + x];
            double vb = (double)to[y * SIDE + x];
            double *c = z + 2 * ((size_t)y * WIDE + (size_t)x);
            c[0] = va;
            c[1] = vb;
            sa += va * va;
            sb += vb * vb;
        }
    /* every patch has the same voice, whatever its contrast */
    double ka = sa > 0 ? 1 / sqrt(sa) : 0, kb = sb > 0 ? 1 / sqrt(sb) : 0;
    for (size_t y = 0; y < SIDE; y++)
        for (size_t x = 0; x < SIDE; x++) {
            z[2 * (y * WIDE + x)] *= ka;
            z[2 * (y * WIDE + x) + 1] *= kb;
        }
}

/* sum += conj(A) B, A and B taken apart from the transform of a + ib. Both are of real pictures, so
 * that the lower half mirrors the upper one: it is filled by mirror(). */
static void add_cross_power(const double *z, double *sum)
{
    for (size_t v = 0; v <= WIDE / 2; v++)
        for (size_t u = 0; u < WIDE; u++) {
            size_t k = v * WIDE + u, m = (WIDE - v) % WIDE * WIDE + (WIDE - u) % WIDE;
            double ar = 0.5 * (z[2 * k] + z[2 * m]), ai = 0.5 * (z[2 * k + 1] - z[2 * m + 1]);
            double br = 0.5 * (z[2 * k + 1] + z[2 * m + 1]), bi = -0.5 * (z[2 * k] - z[2 * m]);
            sum[2 * k] += ar * br + ai * bi;
            sum[2 * k + 1] += ar * bi - ai * br;
        }
}

static void mirror(double *sum)
{
    for (size_t v = WIDE / 2 + 1; v < WIDE; v++)
        for (size_t u = 0; u < WIDE; u++) {
            size_t k = v * WIDE + u, m = (WIDE - v) * WIDE + (WIDE - u) % WIDE;
            sum[2 * k] = sum[2 * m];
            sum[2 * k + 1] = -sum[2 * m + 1];
        }
}

/* Whether a patch shows ground in a, and anything in b: noise must have no voice. */
static bool tells(const struct dw_view *a, const struct dw_view *b, const float *weight, int patch)
{
    bool ground = false, any = false;
    for (int k = patch * DW_PATCH_BLOCKS; k < (patch + 1) * DW_PATCH_BLOCKS; k++) {
        ground |= weight[k] > 0 && a->structure[k];
        any |= b->structure[k];
    }
    return ground && any;
}

/* The whole displacement at which ground correlates best; far ones are seen by fewer cells. */
static void best_place(const double *sum, struct dw_shift *out)
{
    double best = 0;
    for (int y = -REACH; y <= REACH; y++)
        for (int x = -REACH; x <= REACH; x++) {
            size_t k = (size_t)((y + WIDE) % WIDE) * WIDE + (size_t)((x + WIDE) % WIDE);
            double seen = (double)(SIDE - abs(x)) * (SIDE - abs(y)) / (SIDE * SIDE);
            double v = sum[2 * k] / sqrt(seen);
            if (v > best) {
                best = v;
                out->x = x;
                out->y = y;
            }
        }
}

static enum dw_status look_far(struct dw_register *r, const struct dw_view *a,
                               const struct dw_view *b, const float *weight, struct dw_shift *out,
                               struct dw_error *err)
{
    const size_t room = 2 * (size_t)WIDE * WIDE;
    if (!r->a && dw_fourier_make(&r->fourier, WIDE)) {
        r->a = malloc(2 * room * sizeof *r->a);
        r->sum = r->a + room;
    }
    if (!r->a)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for comparing two shots");
    memset(r->sum, 0, room * sizeof *r->sum);
    for (int i = 0; i < a->n && i < b->n; i++) {
        if (!tells(a, b, weight, i))
            continue;
        lay(a, b, weight, i, r->a);
        dw_fourier_picture(&r->fourier, r->a, false);
        add_cross_power(r->a, r->sum);
    }
    mirror(r->sum);
    dw_fourier_picture(&r->fourier, r->sum, true);
    best_place(r->sum, out);
    return DW_OK;
}

static void refine(const struct dw_view *a, const struct dw_view *b, const float *weight,
                   const struct dw_block_place *at, struct dw_shift *s)
{
    struct dw_block block[DW_MAX_BLOCKS];
    int n = (a->n < b->n ? a->n : b->n) * DW_PATCH_BLOCKS;
    for (int step = 0; step < STEPS; step++) {
        struct dw_shift from = *s;
        dw_register_step(a, b, weight, at, &from, block);
        dw_vote(block, weight, at, n, step > 1, &from, s);
        if (!isfinite(s->sigma))
            return;
    }
}

/* The same place all over the picture, to a part of a cell: no other could look more alike. */
static bool plain(const struct dw_shift *s)
{
    return s->agree >= rules.agree && s->alike >= rules.alike && s->voters >= rules.voters &&
           hypot(s->x, s->y) < rules.near;
}

enum dw_status dw_register(struct dw_register *r, const struct dw_view *a, const struct dw_view *b,
                           const float *weight, const struct dw_block_place *at,
                           struct dw_shift *out, struct dw_error *err)
{
    struct dw_shift near = {0}, far = {0};
    refine(a, b, weight, at, &near);
    *out = near;
    if (plain(&near))
        return DW_OK;
    enum dw_status status = look_far(r, a, b, weight, &far, err);
    if (status < 0)
        return status;
    bool other = far.x != 0 || far.y != 0;
    if (!other)
        return DW_OK;
    refine(a, b, weight, at, &far);
    if (isfinite(far.sigma) && (!isfinite(near.sigma) || far.alike > near.alike))
        *out = far;
    return DW_OK;
}
