/* hold.c: see hold.h and docs/method/look.md. */
#include "render/facts/hold.h"

#include "render/facts/colour.h"
#include "render/kernels/kernels.h"

#include <math.h>

static const struct dw_hold_params HOLD = DW_HOLD_DEFAULTS;
static const float luma[3] = DW_WIDE_LUMA;

/* Stops of key for each stop of light (the line's law, see decide/brightness/line.c). */
#define KEY_SLOPE 0.163
#define FINE 4 /* points a tile: straight lines between them are as good as the spline */

/* With dusk's light d in units of the night's floor, a place shows (d + r) / (d + 1) keys, r =
 * 2^rise, and the key goes with (d + 1)^slope. What is shown of it is least where (1 - share) r = 1
 * + share d. */
double dw_hold_stops(double rise, double above)
{
    double r = exp2(rise), d = exp2(fmax(above, 0) / KEY_SLOPE) - 1;
    double least = ((1 - HOLD.share) * r - 1) / HOLD.share;
    if (!(d < least))
        return 0;
    return log2((d + r) / (least + r)) + (HOLD.share - 1) * log2((d + 1) / (least + 1));
}

/* Weights of a uniform cubic B-spline's four coefficients about u. */
static void spline(double u, double weight[4])
{
    double t = u - floor(u), s = 1 - t;
    weight[0] = s * s * s / 6;
    weight[1] = (4 - 6 * t * t + 3 * t * t * t) / 6;
    weight[2] = (4 - 6 * s * s + 3 * s * s * s) / 6;
    weight[3] = t * t * t / 6;
}

static int within(int i, int n)
{
    return i < 0 ? 0 : i >= n ? n - 1 : i;
}

double dw_hold_rise(const struct dw_facts *facts, double x, double y)
{
    if (!(facts->hold.night_key > 0))
        return 0;
    double u = x * DW_HOLD_COLS - 0.5, v = y * DW_HOLD_ROWS - 0.5, across[4], down[4], sum = 0;
    int col = (int)floor(u) - 1, row = (int)floor(v) - 1;
    spline(u, across);
    spline(v, down);
    for (int j = 0; j < 4; j++)
        for (int i = 0; i < 4; i++)
            sum +=
                across[i] * down[j] *
                (double)
                    facts->hold.rise[within(row + j, DW_HOLD_ROWS)][within(col + i, DW_HOLD_COLS)];
    return sum;
}

/* Where a share of an upright picture's width and height lies on the mosaic. */
static void to_mosaic(const struct dw_hold_view *view, double x, double y, double at[2])
{
    double u = x, v = y;
    switch (view->turn_deg) {
    case 90:
        u = y;
        v = 1 - x;
        break;
    case 180:
        u = 1 - x;
        v = 1 - y;
        break;
    case 270:
        u = 1 - y;
        v = x;
        break;
    default:
        break;
    }
    at[0] = view->left + u * (view->right - view->left);
    at[1] = view->top + v * (view->bottom - view->top);
}

static bool none_held(const struct dw_facts *facts, double above)
{
    float most = 0;
    if (!(facts->hold.night_key > 0))
        return true;
    for (int y = 0; y < DW_HOLD_ROWS; y++)
        for (int x = 0; x < DW_HOLD_COLS; x++)
            most = facts->hold.rise[y][x] > most ? facts->hold.rise[y][x] : most;
    return !(dw_hold_stops((double)most, above) > 0);
}

enum dw_status dw_hold_make(struct dw_hold_map *m, const struct dw_facts *facts,
                            const struct dw_frame *frame, const struct dw_hold_view *view,
                            struct dw_error *err)
{
    bool swap = view->turn_deg == 90 || view->turn_deg == 270;
    double above = 0;
    if (facts->hold.night_key > 0) /* which is the line's, before it gives way to stars */
        above = log2(frame->key / facts->hold.night_key) + dw_star_room(frame->sun_alt_deg);
    m->on = !none_held(facts, above);
    if (!m->on)
        return DW_OK;
    m->cols = FINE * (swap ? DW_HOLD_ROWS : DW_HOLD_COLS) + 1;
    m->rows = FINE * (swap ? DW_HOLD_COLS : DW_HOLD_ROWS) + 1;
    size_t n = (size_t)m->cols * (size_t)m->rows;
    if (!dw_grow(&m->room, 2 * (n + (size_t)m->cols + (size_t)view->width) * sizeof(float)))
        return dw_fail(err, DW_ERR_MEMORY, "no memory for held light at %zu places", n);
    m->inverse = m->room.p;
    m->depth = m->inverse + n;
    m->line = m->depth + n;
    m->row = m->line + 2 * m->cols;
    double d = exp2(fmax(above, 0) / KEY_SLOPE) - 1;
    double s = HOLD.knee * HOLD.whole, share = s * s / (s + 1); /* see kernels/hold.c */
    m->most = (float)s;
    for (int y = 0; y < m->rows; y++)
        for (int x = 0; x < m->cols; x++) {
            double at[2];
            to_mosaic(view, (double)x / (m->cols - 1), (double)y / (m->rows - 1), at);
            double rise = dw_hold_rise(facts, at[0], at[1]);
            size_t k = (size_t)y * (size_t)m->cols + (size_t)x;
            m->inverse[k] = (float)(HOLD.knee * (d + 1) / (d + exp2(rise)));
            m->depth[k] = (float)((exp2(dw_hold_stops(rise, above)) - 1) * (1 + share) / share);
        }
    return DW_OK;
}

void dw_hold_row(const struct dw_hold_map *m, int y, int w, int h, float *const rgb[3])
{
    float v = ((float)y + 0.5f) * (float)(m->rows - 1) / (float)h;
    int row = (int)v < m->rows - 2 ? (int)v : m->rows - 2;
    float part = v - (float)row, *inverse = m->line, *depth = m->line + m->cols;
    const float *a = m->inverse + (size_t)row * (size_t)m->cols, *b = a + m->cols;
    const float *c = m->depth + (size_t)row * (size_t)m->cols, *d = c + m->cols;
    for (int i = 0; i < m->cols; i++) {
        inverse[i] = a[i] + part * (b[i] - a[i]);
        depth[i] = c[i] + part * (d[i] - c[i]);
    }
    const struct dw_kernels *k = dw_kernels_best();
    float scale = (float)(m->cols - 1) / (float)w, *rows[2] = {m->row, m->row + w};
    for (int i = 0, x = 0; i + 1 < m->cols && x < w; i++) {
        /* the first pixel whose middle lies beyond the next point */
        int end = (int)ceilf((float)(i + 1) / scale - 0.5f);
        end = i + 2 == m->cols || end > w ? w : end;
        if (end <= x)
            continue;
        float at = ((float)x + 0.5f) * scale - (float)i;
        for (int which = 0; which < 2; which++) {
            const float *point = m->line + (which ? m->cols : 0) + i;
            float slope = point[1] - point[0];
            k->encode->ramp(point[0] + at * slope, scale * slope, (size_t)(end - x),
                            rows[which] + x);
        }
        x = end;
    }
    k->hold->hold(luma, m->most, rows[0], rows[1], (size_t)w, rgb[0], rgb[1], rgb[2]);
}

void dw_hold_free(struct dw_hold_map *m)
{
    dw_grow_free(&m->room);
    *m = (struct dw_hold_map){0};
}
