/* colour.c: see colour.h. */
#include "render/facts/colour.h"

#include "base/matrix3.h"

const struct dw_primaries *dw_space_primaries(enum dw_space space)
{
    switch (space) {
    case DW_SPACE_P3:
        return &dw_primaries_p3;
    case DW_SPACE_REC2020:
        return &dw_primaries_bt2020;
    case DW_SPACE_SRGB:
    default:
        return &dw_primaries_srgb;
    }
}

void dw_space_to_xyz(enum dw_space space, double m[9])
{
    dw_primaries_to_xyz(dw_space_primaries(space), m);
}

void dw_wide_to_space(enum dw_space space, double m[9])
{
    if (space == DW_SPACE_REC2020) { /* exactly nothing, rather than nearly nothing */
        for (int i = 0; i < 9; i++)
            m[i] = i % 4 == 0;
        return;
    }
    double wide[9], to[9];
    dw_space_to_xyz(DW_SPACE_REC2020, wide);
    dw_space_to_xyz(space, to);
    dw_m3_invert(to, to);
    dw_m3_multiply(to, wide, m);
}

/* B. Ottosson, A perceptual color space for image processing, 2020, as W3C's CSS Color Module Level
 * 4 has it: CIE XYZ to cones (from memory). */
void dw_space_to_cones(enum dw_space space, float to[9], float from[9])
{
    static const double cones[9] = {0.8190224379967030, 0.3619062600528904, -0.1288737815209879,
                                    0.0329836539323885, 0.9292868615863434, 0.0361446663506424,
                                    0.0481771893596242, 0.2642395317527308, 0.6335478284694309};
    double m[9], inverse[9];
    dw_space_to_xyz(space, m);
    dw_m3_multiply(cones, m, m);
    for (int i = 0; i < 3; i++) { /* white to exactly 1 */
        double white = m[3 * i] + m[3 * i + 1] + m[3 * i + 2];
        for (int k = 0; k < 3; k++)
            m[3 * i + k] /= white;
    }
    dw_m3_invert(m, inverse);
    for (int i = 0; i < 9; i++) {
        to[i] = (float)m[i];
        from[i] = (float)inverse[i];
    }
}
