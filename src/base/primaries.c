/* primaries.c: see primaries.h. The matrices follow from the chromaticities alone (Lindbloom's or
 * any textbook's derivation): columns are the primaries' XYZ, scaled so that their sum is white. */
#include "base/primaries.h"

#include "base/matrix3.h"

const struct dw_primaries dw_primaries_srgb = {{{0.640, 0.330}, {0.300, 0.600}, {0.150, 0.060}}};
const struct dw_primaries dw_primaries_p3 = {{{0.680, 0.320}, {0.265, 0.690}, {0.150, 0.060}}};
const struct dw_primaries dw_primaries_bt2020 = {{{0.708, 0.292}, {0.170, 0.797}, {0.131, 0.046}}};

void dw_d65_xyz(double xyz[3])
{
    xyz[0] = DW_D65_X / DW_D65_Y;
    xyz[1] = 1.0;
    xyz[2] = (1.0 - DW_D65_X - DW_D65_Y) / DW_D65_Y;
}

void dw_primaries_to_xyz(const struct dw_primaries *p, double m[9])
{
    for (int c = 0; c < 3; c++) {
        double x = p->xy[c][0], y = p->xy[c][1];
        m[c] = x / y;
        m[3 + c] = 1.0;
        m[6 + c] = (1.0 - x - y) / y;
    }
    double inverse[9], scale[3];
    dw_d65_xyz(scale);
    dw_m3_invert(m, inverse); /* primaries that stand in a triangle are never singular */
    dw_m3_apply(inverse, scale, scale);
    for (int i = 0; i < 9; i++)
        m[i] *= scale[i % 3];
}
