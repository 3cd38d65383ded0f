/* raw_colour.c: the camera's colours as LibRaw or the DNG states them. */
#include "shot/raw_private.h"

#include "base/primaries.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/* How far a DNG illuminant (Exif LightSource code) is from D65: the smallest wins. */
static int distance_from_d65(int illuminant)
{
    static const struct {
        unsigned char code, distance;
    } known[] = {{21, 0}, {10, 1}, {22, 2}, {20, 2}, {1, 3},  {9, 3},  {11, 3},
                 {4, 4},  {12, 4}, {23, 4}, {13, 5}, {14, 6}, {15, 7}, {18, 6},
                 {19, 6}, {2, 7},  {24, 8}, {3, 9},  {17, 9}};
    for (size_t i = 0; i < sizeof known / sizeof *known; i++)
        if (known[i].code == illuminant)
            return known[i].distance;
    return 8; /* unknown or 0: worse than any kind of daylight */
}

static bool usable(const float m[4][3])
{
    for (int i = 0; i < 3; i++) {
        float row = 0;
        for (int j = 0; j < 3; j++) {
            if (!isfinite(m[i][j]) || fabsf(m[i][j]) > 100)
                return false;
            row += fabsf(m[i][j]);
        }
        if (row < 1e-3f)
            return false;
    }
    return true;
}

/* AnalogBalance * CameraCalibration * ColorMatrix (DNG 1.4, chapter 6); the diagonal of the
 * calibration is all that converters write, and LibRaw leaves 0 where the tag is missing. */
static void take_dng_matrix(const libraw_colordata_t *c, const libraw_dng_color_t *d, float out[9])
{
    for (int i = 0; i < 3; i++) {
        float balance = c->dng_levels.analogbalance[i];
        float own = d->calibration[i][i];
        float gain = (balance > 0 ? balance : 1) * (own > 0 ? own : 1);
        for (int j = 0; j < 3; j++)
            out[3 * i + j] = d->colormatrix[i][j] * gain;
    }
}

/* Samples that the camera has balanced already: small RAW formats, which LibRaw flags; and the
 * Nikon D1 (of 1999), which it does not. Seen on a frame of the latter: grey paving came out pink,
 * and the maker note's multipliers of 1.98 for red and 1.29 for blue stand beside an as-shot
 * balance of 1. */
static bool is_balanced(const libraw_data_t *lr)
{
    return lr->color.as_shot_wb_applied != 0 ||
           (strcmp(lr->idata.make, "Nikon") == 0 && strcmp(lr->idata.model, "D1") == 0);
}

/* The matrix is for samples as they left the sensor. What the camera called white is equal in all
 * colours of balanced ones; it is taken for daylight. */
static void balance_matrix(float m[9])
{
    double d65[3], level[3];
    dw_d65_xyz(d65);
    for (int row = 0; row < 3; row++) {
        level[row] = 0;
        for (int c = 0; c < 3; c++)
            level[row] += (double)m[3 * row + c] * d65[c];
    }
    for (int row = 0; row < 3; row++)
        for (int c = 0; c < 3 && level[0] > 0 && level[1] > 0 && level[2] > 0; c++)
            m[3 * row + c] = (float)((double)m[3 * row + c] * level[1] / level[row]);
}

void dw_raw_take_colour(const struct dw_raw *r, struct dw_raw_record *rec)
{
    const libraw_colordata_t *c = &r->lr->color;
    const libraw_dng_color_t *best = NULL;
    if (r->lr->idata.dng_version != 0)
        for (int i = 0; i < 2; i++) {
            const libraw_dng_color_t *d = &c->dng_color[i];
            if (usable(d->colormatrix) &&
                (!best || distance_from_d65(d->illuminant) < distance_from_d65(best->illuminant)))
                best = d;
        }
    if (best) {
        take_dng_matrix(c, best, rec->cam_xyz);
        rec->has_cam_xyz = true;
    } else if (usable(c->cam_xyz)) {
        for (int i = 0; i < 9; i++)
            rec->cam_xyz[i] = c->cam_xyz[i / 3][i % 3];
        rec->has_cam_xyz = true;
    }
    if (rec->has_cam_xyz && is_balanced(r->lr))
        balance_matrix(rec->cam_xyz);
    const int *day = c->WB_Coeffs[LIBRAW_WBI_Daylight];
    if (day[0] > 0 && day[1] > 0 && day[2] > 0)
        for (int i = 0; i < 3; i++)
            rec->daylight_mul[i] = (float)day[i] / (float)day[1];
}

static int colour_at(const struct dw_raw *r, int row, int col)
{
    int c = libraw_COLOR(r->lr, row, col);
    return c == 3 ? 1 : c; /* the second green */
}

bool dw_raw_take_pattern(const struct dw_raw *r, enum dw_cfa *cfa, int *period, uint8_t pattern[36],
                         char *why, size_t why_size)
{
    const libraw_iparams_t *p = &r->lr->idata;
    memset(pattern, 0, 36);
    *period = 1;
    if (p->filters == 0) {
        *cfa = p->colors == 1 ? DW_CFA_MONO : DW_CFA_RGB;
        if (p->colors == 1 || (p->colors == 3 && !p->is_foveon))
            return true;
        snprintf(why, why_size, "has a sensor of %d colours (%s), which this program cannot use",
                 p->colors, p->cdesc);
        return false;
    }
    *cfa = p->filters == 9 ? DW_CFA_XTRANS : DW_CFA_BAYER;
    *period = p->filters == 9 ? 6 : 2;
    if (p->filters == 1 || p->colors != 3 || strncmp(p->cdesc, "RGB", 3) != 0) {
        snprintf(why, why_size,
                 "has a sensor with a pattern of %d colours (%s); expected red, green and blue",
                 p->colors, p->cdesc);
        return false;
    }
    int seen[3] = {0};
    for (int y = 0; y < *period; y++)
        for (int x = 0; x < *period; x++) {
            int c = colour_at(r, y, x);
            if (c < 0 || c > 2)
                c = 1;
            pattern[y * *period + x] = (uint8_t)c;
            seen[c]++;
        }
    for (int y = 0; *period == 2 && y < 8; y++) /* some old sensors repeat after 8 rows only */
        for (int x = 0; x < 2; x++)
            if (colour_at(r, y, x) != pattern[y % 2 * 2 + x])
                seen[0] = 0;
    bool diagonal = *period != 2 || (pattern[0] == 1) == (pattern[3] == 1);
    if (seen[0] == 0 || seen[1] == 0 || seen[2] == 0 || !diagonal) {
        snprintf(why, why_size,
                 "has a colour pattern that is neither Bayer nor 6x6 (a sensor turned by 45 "
                 "degrees?)");
        return false;
    }
    return true;
}
