/* colour.c: white balance and matrix, once for the whole shoot: daylight (D65) is neutral, or the
 * light that a person names. */
#include "decide/colour/colour.h"
#include "decide/steps.h"
#include "base/matrix3.h"
#include "base/primaries.h"
#include "base/robust.h"
#include "base/white.h"

#include <math.h>
#include <string.h>

bool dw_camera_balance(const double cam_xyz[9], const double white[3], double mul[3])
{
    double neutral[3];
    dw_m3_apply(cam_xyz, white, neutral);
    for (int c = 0; c < 3; c++) {
        if (!(neutral[c] > 1e-6))
            return false;
        mul[c] = neutral[1] / neutral[c];
    }
    return true;
}

bool dw_camera_to_rgb(const double cam_xyz[9], const double rgb_to_xyz[9], double out[9])
{
    double m[9];
    dw_m3_multiply(cam_xyz, rgb_to_xyz, m);
    for (int row = 0; row < 3; row++) {
        double sum = m[3 * row] + m[3 * row + 1] + m[3 * row + 2];
        if (!(fabs(sum) > 1e-6))
            return false;
        for (int c = 0; c < 3; c++)
            m[3 * row + c] /= sum;
    }
    return dw_m3_invert(m, out);
}

/* Multipliers for a camera without a matrix: its own daylight ones, else grey on average over
 * the brightest third of the shoot (the grey-world assumption, common practice). */
static void guess_balance(const struct dw_work *w, const struct dw_facts *facts, double *work,
                          double mul[3])
{
    mul[0] = mul[1] = mul[2] = 1;
    for (size_t i = 0; i < w->n; i++) {
        const float *d = w->shots->shot[i].daylight_mul;
        if (d[0] > 0 && d[1] > 0 && d[2] > 0) {
            for (int c = 0; c < 3; c++)
                mul[c] = (double)(d[c] / d[1]);
            return;
        }
    }
    size_t n = 0;
    for (size_t i = 0; i < w->n; i++)
        if (w->usable[i])
            work[n++] = w->line[i];
    double limit = dw_quantile(work, n, 0.67), sum[3] = {0, 0, 0};
    for (size_t i = 0; i < w->n; i++) {
        if (!w->usable[i] || w->line[i] < limit)
            continue;
        const struct dw_levels *l = dw_facts_levels(facts, &w->shots->shot[i]);
        for (int k = 0; k < w->tiles; k++) {
            const struct dw_tile *t = &w->survey->measure[i].tile[k];
            double level[3];
            bool good = t->clipped < 1e-3f;
            for (int c = 0; c < 3; c++) {
                level[c] = (double)(t->mean[c] - l->black[c]);
                good = good && level[c] > 0;
            }
            for (int c = 0; good && c < 3; c++)
                sum[c] += level[c] / (double)(l->white - l->black[c]);
        }
    }
    for (int c = 0; c < 3; c++)
        if (sum[0] > 0 && sum[1] > 0 && sum[2] > 0)
            mul[c] = fmax(0.25, fmin(4, sum[1] / sum[c]));
}

/* A light so strange that a channel would need more than this is a mistake, and render refuses it.
 */
#define MOST_MUL 16.0

/* Balance and matrix of a camera that tells its matrix. False if that makes no sense. */
static bool known_colour(const struct dw_shot *shot, const double white[3], double mul[3],
                         double wide[9])
{
    double cam[9], rgb_to_xyz[9], d65[3], adapt[9];
    for (int k = 0; k < 9; k++)
        cam[k] = (double)shot->cam_xyz[k];
    /* Linear BT.2020 as it would look the same under this white. */
    dw_d65_xyz(d65);
    dw_bradford(d65, white, adapt);
    dw_primaries_to_xyz(&dw_primaries_bt2020, rgb_to_xyz);
    dw_m3_multiply(adapt, rgb_to_xyz, rgb_to_xyz);
    return dw_camera_balance(cam, white, mul) && dw_camera_to_rgb(cam, rgb_to_xyz, wide);
}

static enum dw_status check_named_white(const struct dw_decide_params *p, bool known,
                                        const double mul[3], struct dw_error *err)
{
    bool good = known;
    for (int c = 0; c < 3 && known; c++)
        good = good && mul[c] <= MOST_MUL && mul[c] >= 1 / MOST_MUL;
    if (good)
        return DW_OK;
    return dw_fail(err, DW_ERR_USAGE,
                   "white of %g K with a tint of %g: this camera sees too little of one colour of "
                   "such a light to make it white; expected a light nearer to daylight",
                   p->white_k, p->white_tint);
}

enum dw_status dw_colour(struct dw_work *w, struct dw_facts *facts, struct dw_error *err)
{
    double *work = DW_TAKE(&w->arena, w->n, double);
    if (!work)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for the colour facts");
    const struct dw_shot *shot = NULL;
    for (size_t i = 0; i < w->n && !shot; i++)
        if (w->survey->measure[i].usable && w->shots->shot[i].has_cam_xyz)
            shot = &w->shots->shot[i];
    double mul[3], wide[9] = {1, 0, 0, 0, 1, 0, 0, 0, 1}, white[3];
    const struct dw_decide_params *p = w->params;
    if (p->has_white)
        dw_white_xyz(p->white_k, p->white_tint, white);
    else
        dw_d65_xyz(white);
    bool known = shot && known_colour(shot, white, mul, wide);
    if (shot && p->has_white) {
        enum dw_status s = check_named_white(p, known, mul, err);
        if (s < 0)
            return s;
    }
    if (!known) {
        guess_balance(w, facts, work, mul);
        memcpy(wide, (double[9]){1, 0, 0, 0, 1, 0, 0, 0, 1}, sizeof wide);
        if (w->shots->n && w->shots->shot[0].cfa != DW_CFA_MONO)
            dw_say(w->run, DW_WARNING,
                   "the frames hold no colour matrix: colours are balanced to grey and kept as the "
                   "camera sees them%s",
                   p->has_white ? ", and the white that was asked for cannot be reckoned" : "");
    }
    for (int c = 0; c < 3; c++)
        facts->white_mul[c] = (float)mul[c];
    for (int k = 0; k < 9; k++)
        facts->cam_to_wide[k] = (float)wide[k];
    return DW_OK;
}
