/*
 * optics.c - see optics.h.
 */
#include "optics.h"

#include <math.h>
#include <stdlib.h>

/* Running mean of width 2 r + 1 (r may be a fraction: the outer two weigh less) over n values
 * lying stride apart, edges repeated. */
static void run(float *v, int n, long stride, double r, float *tmp)
{
    int k = (int)r;
    float edge = (float)(r - k), norm = (float)(1 / (2 * r + 1));
    double sum = 0;
    for (int i = 0; i < n; i++)
        tmp[i] = v[i * stride];
    for (int i = -k; i <= k; i++)
        sum += (double)tmp[i < 0 ? 0 : i >= n ? n - 1 : i];
    for (int i = 0; i < n; i++) {
        int a = i - k - 1, b = i + k + 1;
        float lo = tmp[a < 0 ? 0 : a], hi = tmp[b >= n ? n - 1 : b];
        v[i * stride] = ((float)sum + edge * (lo + hi)) * norm;
        sum += (double)hi - (double)tmp[i - k < 0 ? 0 : i - k];
    }
}

int dwi_blur(float *light, int width, int height, double sigma_px)
{
    /* three means of half width r on the cell lattice: variance 3 ((2r+1)^2 - 1)/12 = (s/2)^2 */
    double s = sigma_px / 2, r = (sqrt(4 * s * s + 1) - 1) / 2;
    float *tmp = malloc((size_t)(width > height ? width : height) * sizeof *tmp);
    if (!tmp)
        return -1;
    for (int pass = 0; pass < 3; pass++) {
        for (int y = 0; y < height; y++)
            for (int x = 0; x < 2; x++)
                run(light + (long)y * width + x, width / 2, 2, r, tmp);
        for (int x = 0; x < width; x++)
            for (int y = 0; y < 2; y++)
                run(light + (long)y * width + x, height / 2, 2L * width, r, tmp);
    }
    free(tmp);
    return 0;
}

/* One dimension of dwi_lens_blur, n values lying stride apart, edges repeated. */
static void smear(float *v, int n, long stride, const float *weight, int reach, float *tmp)
{
    for (int i = 0; i < n; i++)
        tmp[i] = v[i * stride];
    for (int i = 0; i < n; i++) {
        float sum = 0;
        for (int k = -reach; k <= reach; k++) {
            int at = i - k;
            sum += weight[k + reach] * tmp[at < 0 ? 0 : at >= n ? n - 1 : at];
        }
        v[i * stride] = sum;
    }
}

int dwi_lens_blur(float *light, int width, int height, double sigma, double right, double down)
{
    enum { MOST = 32 };
    float weight[2 * MOST + 1],
        *tmp = malloc((size_t)(width > height ? width : height) * sizeof *tmp);
    int reach = (int)fmin(MOST, ceil(5 * sigma) + 1);
    if (!tmp)
        return -1;
    for (int axis = 0; axis < 2; axis++) {
        double sum = 0, by = axis ? down : right;
        for (int k = -reach; k <= reach; k++)
            sum += exp(-(k - by) * (k - by) / (2 * sigma * sigma));
        for (int k = -reach; k <= reach; k++)
            weight[k + reach] = (float)(exp(-(k - by) * (k - by) / (2 * sigma * sigma)) / sum);
        for (int i = 0; i < (axis ? width : height); i++)
            smear(light + (axis ? i : (long)i * width), axis ? height : width, axis ? width : 1,
                  weight, reach, tmp);
    }
    free(tmp);
    return 0;
}
