/* ramp.h: a share that grows evenly. */
#ifndef DW_RENDER_RAMP_H
#define DW_RENDER_RAMP_H

/* 0 up to `from`, 1 from `from` + 1 / scale on. */
static inline float dw_ramp(float x, float from, float scale)
{
    float t = (x - from) * scale;
    return t < 0 ? 0 : t > 1 ? 1 : t;
}

#endif
