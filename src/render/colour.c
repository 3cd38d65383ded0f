/* colour.c: see colour.h. */
#include "render/colour.h"

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
