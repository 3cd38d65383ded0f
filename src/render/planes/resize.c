/* resize.c: see resize.h. */
#include "render/planes/resize.h"

#include <math.h>
#include <stdlib.h>

#define PI 3.14159265358979323846

/* Weights of one output sample, centred in input samples at `centre`; they sum to 1. */
static void fill_weights(int in, double centre, double reach, int taps, int *start, float *weight)
{
    int first = (int)ceil(centre - reach);
    if (first > in - taps)
        first = in - taps;
    if (first < 0)
        first = 0;
    double sum = 0;
    for (int k = 0; k < taps; k++) {
        double d = fabs(first + k - centre) / reach;
        sum += d < 1 ? 1 + cos(PI * d) : 0;
    }
    for (int k = 0; k < taps; k++) {
        double d = fabs(first + k - centre) / reach;
        weight[k] = (float)((d < 1 ? 1 + cos(PI * d) : 0) / sum);
    }
    *start = first;
}

enum dw_status dw_reduction_make(int in, int out, struct dw_reduction *r, struct dw_error *err)
{
    double step = (double)in / out;
    int taps = (int)ceil(2 * step) + 1;
    if (taps > in)
        taps = in;
    *r = (struct dw_reduction){.in = in, .out = out, .taps = taps};
    r->start = malloc((size_t)out * sizeof *r->start);
    r->weight = malloc((size_t)out * (size_t)taps * sizeof *r->weight);
    if (!r->start || !r->weight) {
        dw_reduction_free(r);
        return dw_fail(err, DW_ERR_MEMORY, "no memory to reduce %d pixels to %d", in, out);
    }
    for (int i = 0; i < out; i++)
        fill_weights(in, (i + 0.5) * step - 0.5, step, taps, &r->start[i],
                     r->weight + (size_t)i * (size_t)taps);
    return DW_OK;
}

void dw_reduction_free(struct dw_reduction *r)
{
    free(r->start);
    free(r->weight);
    *r = (struct dw_reduction){0};
}

void dw_reduce_row(const struct dw_reduction *r, const float *in, float *out)
{
    const float *w = r->weight;
    for (int i = 0; i < r->out; i++, w += r->taps) {
        const float *v = in + r->start[i];
        float sum = 0;
        for (int k = 0; k < r->taps; k++)
            sum += w[k] * v[k];
        out[i] = sum;
    }
}
