/* lost.c: see lost.h. */
#include "render/clipped/lost.h"

#include "base/matrix3.h"

#include <math.h>

#define FAINTEST 0.05f   /* lowest channel of a white that is believed */
#define MOST_BEYOND 8.0f /* times saturation that a lamp is taken for at most */
/* What a lamp's light pales to beside white: most lamps are warmer (common practice, no source). */
#define PALE                                                                                       \
    {                                                                                              \
        1.0f, 0.92f, 0.78f                                                                         \
    }

/* By how many times more than saturation light is so many keys strong: 0 if saturation is far more;
 * smooth between. full: keys at which its strongest channel saturates. */
static float beyond(float keys, float full)
{
    float r = keys / full;
    r = r < MOST_BEYOND ? r * r : MOST_BEYOND * MOST_BEYOND;
    return sqrtf(sqrtf(1 + r * r)) - 1;
}

/* Balanced, the largest 1; returns by how much that is less than `wide` asks for. */
static float white_of(const float cam_to_wide[9], const float wide[3], float out[3])
{
    double back[9], v[3], most = 0;
    for (int i = 0; i < 9; i++)
        back[i] = (double)cam_to_wide[i];
    for (int c = 0; c < 3; c++)
        v[c] = (double)wide[c];
    if (dw_m3_invert(back, back))
        dw_m3_apply(back, v, v);
    for (int c = 0; c < 3; c++)
        most = v[c] > most ? v[c] : most;
    for (int c = 0; c < 3; c++)
        out[c] = most > 0 && v[c] > (double)FAINTEST * most ? (float)(v[c] / most) : FAINTEST;
    return (float)most;
}

void dw_lost_show(struct dw_develop *d, const float cam_to_wide[9], float gain,
                  const struct dw_shown *shown)
{
    const float pale[3] = PALE;
    float less = white_of(cam_to_wide, shown->white, d->white), full = 0;
    for (int c = 0; c < 3; c++) {
        d->pale[c] = d->white[c] * (1 - d->lamps * (1 - pale[c]));
        float at = d->mul[c] / d->pale[c];
        full = at > full ? at : full;
    }
    d->far = beyond(shown->keys * less, gain * full);
}
