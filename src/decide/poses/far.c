/* far.c: see far.h. */
#include "decide/poses/far.h"

#include <math.h>
#include <stdlib.h>

static const struct {
    int width;     /* of the pictures compared, at most: pixels */
    int blur;      /* what is slower than so many pixels to either side is taken off: light */
    double share;  /* of the frame, each way, is tried */
    double alike;  /* correlation at the best place, no less */
    double better; /* and so much more than without a displacement */
    double sigma;  /* pixels: how well the place is known */
} rules = {120, 3, 0.5, 0.5, 0.3, 0.3};

struct small {
    int w, h;
    double cells; /* of 2x2 mosaic pixels to one of its own */
    float *v;
};

/* Green as its root, in which noise is the same everywhere, less its own surroundings. */
static enum dw_status read_small(const struct dw_work *w, size_t shot, struct small *out,
                                 struct dw_error *err)
{
    struct dw_thumb t;
    enum dw_status status = dw_survey_thumb(w->survey, shot, &t, err);
    if (status < 0)
        return status;
    int bin = (t.width + rules.width - 1) / rules.width;
    *out = (struct small){t.width / bin, t.height / bin, bin * t.block / 2.0, NULL};
    size_t n = (size_t)out->w * (size_t)out->h;
    float *root = calloc(n + 1, sizeof *root);
    out->v = calloc(n + 1, sizeof *out->v);
    if (!root || !out->v) {
        free(root);
        free(t.rgb);
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for comparing two shots");
    }
    for (int y = 0; y < out->h * bin; y++)
        for (int x = 0; x < out->w * bin; x++)
            root[y / bin * out->w + x / bin] += t.rgb[3 * (y * t.width + x) + 1];
    for (size_t k = 0; k < n; k++)
        root[k] = sqrtf(fmaxf(root[k], 0));
    for (int y = 0; y < out->h; y++)
        for (int x = 0; x < out->w; x++) {
            float sum = 0;
            int count = 0;
            for (int v = y - rules.blur; v <= y + rules.blur; v++)
                for (int u = x - rules.blur; u <= x + rules.blur; u++)
                    if (u >= 0 && u < out->w && v >= 0 && v < out->h) {
                        sum += root[v * out->w + u];
                        count++;
                    }
            out->v[y * out->w + x] = root[y * out->w + x] - sum / (float)count;
        }
    free(root);
    free(t.rgb);
    return DW_OK;
}

/* Correlation of what both show if b's content lies dx, dy further than a's. */
static double correlation(const struct small *a, const struct small *b, int dx, int dy)
{
    double ab = 0, aa = 0, bb = 0;
    for (int y = dy > 0 ? 0 : -dy; y < a->h && y + dy < a->h; y++)
        for (int x = dx > 0 ? 0 : -dx; x < a->w && x + dx < a->w; x++) {
            double p = (double)a->v[y * a->w + x], q = (double)b->v[(y + dy) * a->w + x + dx];
            ab += p * q;
            aa += p * p;
            bb += q * q;
        }
    return aa > 0 && bb > 0 ? ab / sqrt(aa * bb) : 0;
}

/* Summit of the parabola through three neighbouring values, from the middle one. */
static double summit(double before, double here, double after)
{
    double bend = before - 2 * here + after;
    return bend < 0 ? 0.5 * (before - after) / bend : 0;
}

enum dw_status dw_far_shift(const struct dw_work *w, size_t a, size_t b, struct dw_shift *out,
                            struct dw_error *err)
{
    struct small p = {0}, q = {0};
    *out = (struct dw_shift){.sigma = (double)INFINITY};
    enum dw_status status = read_small(w, a, &p, err);
    if (status >= 0)
        status = read_small(w, b, &q, err);
    if (status >= 0 && p.w == q.w && p.h == q.h) {
        int reach_x = (int)(rules.share * p.w), reach_y = (int)(rules.share * p.h), x = 0, y = 0;
        double still = correlation(&p, &q, 0, 0), best = still;
        for (int dy = -reach_y; dy <= reach_y; dy++)
            for (int dx = -reach_x; dx <= reach_x; dx++) {
                double c = correlation(&p, &q, dx, dy);
                if (c > best) {
                    best = c;
                    x = dx;
                    y = dy;
                }
            }
        if (best > rules.alike && best > still + rules.better) {
            double across =
                       summit(correlation(&p, &q, x - 1, y), best, correlation(&p, &q, x + 1, y)),
                   down =
                       summit(correlation(&p, &q, x, y - 1), best, correlation(&p, &q, x, y + 1));
            *out = (struct dw_shift){.x = (x + across) * p.cells,
                                     .y = (y + down) * p.cells,
                                     .sigma = rules.sigma * p.cells,
                                     .alike = best};
        }
    }
    free(p.v);
    free(q.v);
    return status;
}
