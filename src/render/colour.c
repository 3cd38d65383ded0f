/* colour.c: see colour.h. The matrices follow from the chromaticities alone (Lindbloom's or any
 * textbook's derivation): columns are the primaries' XYZ, scaled so that their sum is white. */
#include "render/colour.h"

#include "base/matrix3.h"

/* x, y of red, green, blue */
static const double primaries[3][6] = {
    [DW_SPACE_SRGB] = {0.640, 0.330, 0.300, 0.600, 0.150, 0.060},
    [DW_SPACE_P3] = {0.680, 0.320, 0.265, 0.690, 0.150, 0.060},
    [DW_SPACE_REC2020] = {0.708, 0.292, 0.170, 0.797, 0.131, 0.046},
};

void dw_space_to_xyz(enum dw_space space, double m[9])
{
    const double *p = primaries[space];
    const double white[3] = {0.3127 / 0.3290, 1.0, (1.0 - 0.3127 - 0.3290) / 0.3290};
    for (int c = 0; c < 3; c++) {
        double x = p[2 * c], y = p[2 * c + 1];
        m[c] = x / y;
        m[3 + c] = 1.0;
        m[6 + c] = (1.0 - x - y) / y;
    }
    double inverse[9], scale[3];
    dw_m3_invert(m, inverse); /* primaries that stand in a triangle are never singular */
    dw_m3_apply(inverse, white, scale);
    for (int i = 0; i < 9; i++)
        m[i] *= scale[i % 3];
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
