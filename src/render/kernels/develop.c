/* develop.c: from a sensor's colours to scene-linear light, with what it could not hold rebuilt. */
#include "render/kernels/kernel.h"

#include "render/kernels/fastmath.h"

#include <math.h>

static inline float share_clipped(float level, float start, float scale)
{
    float t = dwk_min(dwk_max((level - start) * scale, 0.0f), 1.0f);
    return t * t * (3.0f - 2.0f * t);
}

static bool any_above(const float *restrict v, size_t n, float limit)
{
    int any = 0;
    for (size_t i = 0; i < n; i++)
        any |= v[i] > limit;
    return any != 0;
}

static void balance(const struct dw_develop *d, size_t n, float *restrict r, float *restrict g,
                    float *restrict b)
{
    const struct dw_develop p = *d;
    for (size_t i = 0; i < n; i++) {
        r[i] *= p.mul[0];
        g[i] *= p.mul[1];
        b[i] *= p.mul[2];
    }
}

/* At the edge of light far beyond the range the three colours of a cell see different shares of it,
 * and one leaks where the others are dark: a lit pane in the night gets a rim of crimson, cyan and
 * black. There red and blue may differ from what the light about them has to its green by so much,
 * the surer the nearer that light has come to losing all three; and red and blue that reach far
 * over a dark green at once. */
#define MOST_OFF 1.3f

static inline float at_least(float level, float told)
{
    return dwk_max(level, told * (1.0f / MOST_OFF));
}

static inline float at_most(float level, float told)
{
    return dwk_min(level, dwk_max(told, 0.0f) * MOST_OFF);
}

static inline float nearly(float level, float start)
{
    const float from = 0.6f;
    return share_clipped(level, from * start, 1.0f / ((1.0f - from) * start));
}

/* Light that ends at an edge, a lamp, a lit pane or a lit room by night, is as a rule far beyond
 * the range once all of it is lost; until then its weakest channel tells how far it has come. On
 * that way, which for a lamp's orange is two stops of light, it goes evenly from what is measured
 * to a warm white, as most lamps are, and to `far` times more than saturation: were either done at
 * its end only, it would snap from orange to white as the camera opens to the dusk. */
#define WAY_FROM 0.2f /* share of where saturation begins */
/* By day a burnt-out patch is as white as it looks, and measured to its end: what of it is measured
 * stays, and only what is lost wholly is so much stronger than saturation. */
#define BY_DAY 3.0f

static inline float part_way(float level, float start)
{
    float t = (level / start - WAY_FROM) * (1.0f / (1.0f - WAY_FROM));
    return dwk_min(dwk_max(t, 0.0f), 1.0f);
}

static inline float way(const struct dw_develop *p, float x, float peak, float z)
{
    return part_way(x, p->clip_start[0]) * part_way(peak, p->clip_start[1]) *
           part_way(z, p->clip_start[2]);
}

/* Green saturates first in ordinary light, and red and blue go on rising for a stop or so: what is
 * lost is rebuilt from what is not, or a blown sky would turn magenta. The light is taken to have
 * the colour of what lies about it: `scale` is how strong that colour must be for the channels
 * that still measure, and at least as strong as each saturated one tells. So colour holds as long
 * as anything is measured, and beyond that a sunset's heart is of the sunset's colour. No channel
 * becomes lower than it was measured: a lamp of one pure colour keeps it. Green comes last, and
 * lies between red and blue, as they are then, where it does about it: were it told by the
 * surroundings alone, a lamp's orange wall beside an evening sky would turn yellow-green as soon as
 * red is lost, while so it keeps its hue and pales, as blue rises to meet red. But never so far
 * that the picture would show it as blue: light that has lost its red is white there at most. Under
 * the night's balance, which turns a town's orange sky grey, its heart would come out in vivid blue
 * if it were a little paler than the sky is. */
static void balance_clipped(const struct dw_develop *d, const float *restrict peak,
                            const float *restrict red_near, const float *restrict green_near,
                            const float *restrict blue_near, const float *restrict ends,
                            const float *restrict lost, size_t n, float *restrict r,
                            float *restrict g, float *restrict b)
{
    const struct dw_develop p = *d;
    const float most_green = p.white[1] / p.white[0], most_blue = p.white[2] / p.white[0];
    for (size_t i = 0; i < n; i++) {
        float x = r[i] * p.mul[0], y = g[i] * p.mul[1], z = b[i] * p.mul[2];
        float u = red_near[i] + ends[i] * (p.pale[0] - red_near[i]);
        float v = green_near[i] + ends[i] * (p.pale[1] - green_near[i]);
        float w = blue_near[i] + ends[i] * (p.pale[2] - blue_near[i]);
        float red = share_clipped(x, p.clip_start[0], p.clip_scale[0]);
        v += red * (dwk_min(v, u * most_green) - v);
        w += red * (dwk_min(w, u * most_blue) - w);
        float green = share_clipped(peak[i], p.clip_start[1], p.clip_scale[1]);
        /* green that is saturated tells the least that red and blue are, not the most */
        float dark = lost[i] > 0 ? ends[i] * (1.0f - nearly(peak[i], p.clip_start[1])) : 0.0f;
        float most = dwk_max(lost[i], dark) * (1.0f - green);
        x += lost[i] * (at_least(x, y * u / v) - x);
        z += lost[i] * (at_least(z, y * w / v) - z);
        x += most * (at_most(x, y * u / v) - x);
        z += most * (at_most(z, y * w / v) - z);
        red = share_clipped(x, p.clip_start[0], p.clip_scale[0]);
        float blue = share_clipped(z, p.clip_start[2], p.clip_scale[2]);
        float any = ends[i] * dwk_max(green, dwk_max(red, blue));
        /* a cell at such an edge that is saturated at all: its other samples lie beyond the edge */
        float told = dwk_max(dwk_max(x / u, peak[i] * p.mul[1] / v), z / w);
        float rim =
            any * dwk_max(2.0f * lost[i] - 1.0f, 0.0f) * (1.0f - p.lamps * way(&p, x, peak[i], z));
        x += rim * (at_least(x, told * u) - x);
        y += rim * (at_least(y, told * v) - y);
        z += rim * (at_least(z, told * w) - z);
        red = share_clipped(x, p.clip_start[0], p.clip_scale[0]);
        blue = share_clipped(z, p.clip_start[2], p.clip_scale[2]);
        /* each channel to where it would be at the way's end, when the strongest one is full */
        float gone = any * way(&p, x, peak[i], z), far = p.lamps * gone;
        float by_day = any * nearly(x, p.clip_start[0]) * nearly(peak[i], p.clip_start[1]) *
                       nearly(z, p.clip_start[2]);
        float full = dwk_max(dwk_max(p.clip_start[0] / u, p.clip_start[1] * p.mul[1] / v),
                             p.clip_start[2] / w);
        x *= 1.0f + far * dwk_max(full * u / p.clip_start[0] - 1.0f, 0.0f);
        z *= 1.0f + far * dwk_max(full * w / p.clip_start[2] - 1.0f, 0.0f);
        float known = (1.0f - red) * x + (1.0f - green) * y + (1.0f - blue) * z;
        float parts = (1.0f - red) * u + (1.0f - green) * v + (1.0f - blue) * w;
        float least = dwk_max(dwk_max(red * x / u, green * y / v), blue * z / w);
        float scale = dwk_max(known / dwk_max(parts, 1e-3f), least);
        x += red * dwk_max(scale * u - x, 0.0f);
        z += blue * dwk_max(scale * w - z, 0.0f);
        y += green * dwk_max(sqrtf(dwk_max(x * z, 0.0f) / (u * w)) * v - y, 0.0f);
        far = far * gone * p.far + (1.0f - p.lamps) * by_day * BY_DAY;
        r[i] = x + far * x;
        g[i] = y + far * y;
        b[i] = z + far * z;
    }
}

static void to_wide(const struct dw_develop *d, size_t n, float *restrict r, float *restrict g,
                    float *restrict b)
{
    const struct dw_develop p = *d;
    for (size_t i = 0; i < n; i++) {
        float x = r[i], y = g[i], z = b[i];
        r[i] = p.matrix[0] * x + p.matrix[1] * y + p.matrix[2] * z;
        g[i] = p.matrix[3] * x + p.matrix[4] * y + p.matrix[5] * z;
        b[i] = p.matrix[6] * x + p.matrix[7] * y + p.matrix[8] * z;
    }
}

#define BLOCK 512 /* pixels; most blocks of most pictures hold nothing saturated */

static void develop(const struct dw_develop *d, const float *restrict peak,
                    const float *const around[5], size_t n, float *restrict r, float *restrict g,
                    float *restrict b)
{
    float neutral[BLOCK], none[BLOCK];
    for (size_t i = 0; i < BLOCK && !around; i++) {
        neutral[i] = 1.0f;
        none[i] = 0.0f;
    }
    for (size_t i = 0; i < n; i += BLOCK) {
        size_t m = n - i < BLOCK ? n - i : BLOCK;
        if (!any_above(peak + i, m, d->clip_start[1]) &&
            !(around && any_above(around[4] + i, m, 0)))
            balance(d, m, r + i, g + i, b + i);
        else if (around)
            balance_clipped(d, peak + i, around[0] + i, around[1] + i, around[2] + i, around[3] + i,
                            around[4] + i, m, r + i, g + i, b + i);
        else
            balance_clipped(d, peak + i, neutral, neutral, neutral, none, none, m, r + i, g + i,
                            b + i);
        to_wide(d, m, r + i, g + i, b + i);
    }
}

/* Light beside saturated light that is darker by more than this in any channel, or brighter, as a
 * share of saturation, may be another thing; by 1 / scale more, and it is for sure. */
#define DARKER_FROM 0.3f
#define BRIGHTER_FROM 0.2f
#define OTHER_SCALE (1.0f / 0.2f)

static inline float share_from(float x, float from)
{
    return dwk_min(dwk_max((x - from) * OTHER_SCALE, 0.0f), 1.0f);
}

static void rims(const float *a, const float *b, size_t apart, size_t n, float *restrict edge,
                 float *restrict smooth, float *restrict dark)
{
    const float *restrict r = a, *restrict g = a + apart, *restrict u = a + 2 * apart;
    const float *restrict s = b, *restrict h = b + apart, *restrict v = b + 2 * apart;
    for (size_t i = 0; i < n; i++) {
        float x = dwk_min(s[i], 1.0f) - dwk_min(r[i], 1.0f);
        float y = dwk_min(h[i], 1.0f) - dwk_min(g[i], 1.0f);
        float z = dwk_min(v[i], 1.0f) - dwk_min(u[i], 1.0f);
        float darker = share_from(-dwk_min(dwk_min(x, y), z), DARKER_FROM);
        float brighter = share_from(dwk_max(dwk_max(x, y), z), BRIGHTER_FROM);
        float most = dwk_max(dwk_max(s[i], h[i]), v[i]);
        float open = most >= DW_LOST_FROM ? 0.0f : 1.0f;
        float e = dwk_max(darker, open * brighter);
        edge[i] += e;
        smooth[i] += open * (1.0f - e);
        dark[i] = dwk_max(dark[i], open * e);
    }
}

const struct dw_develop_kernels DW_KERNEL(develop) = {develop, rims};
