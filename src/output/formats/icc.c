/* icc.c: see icc.h. Source of the layout: ICC.1:2022; the profile itself is made by lcms2. */
#include "output/formats/icc.h"

#include "render/facts/colour.h"

#include <lcms2.h>

#include <stdlib.h>
#include <string.h>

static const char *const names[] = {
    [DW_SPACE_SRGB] = "sRGB",
    [DW_SPACE_P3] = "Display P3",
    [DW_SPACE_REC2020] = "Rec. 2020 primaries, sRGB curve",
};

static cmsCIExyYTRIPLE primaries_of(enum dw_space space)
{
    const struct dw_primaries *p = dw_space_primaries(space);
    return (cmsCIExyYTRIPLE){{p->xy[0][0], p->xy[0][1], 1},
                             {p->xy[1][0], p->xy[1][1], 1},
                             {p->xy[2][0], p->xy[2][1], 1}};
}

static bool set_text(cmsContext ctx, cmsHPROFILE profile, cmsTagSignature tag, const char *text)
{
    cmsMLU *mlu = cmsMLUalloc(ctx, 1);
    bool ok = mlu && cmsMLUsetASCII(mlu, "en", "US", text) && cmsWriteTag(profile, tag, mlu);
    cmsMLUfree(mlu);
    return ok;
}

/* lcms2 puts the time of making into the header (bytes 24 to 35, six big-endian numbers); a fixed
 * date keeps the pictures' bytes equal from run to run. */
static void fix_date(unsigned char *header)
{
    static const unsigned char date[12] = {0x07, 0xea, 0, 1, 0, 1}; /* 1 January 2026, midnight */
    memcpy(header + 24, date, sizeof date);
}

enum dw_status dw_icc_profile(enum dw_space space, unsigned char **data, size_t *n,
                              struct dw_error *err)
{
    *data = NULL;
    *n = 0;
    if ((size_t)space >= sizeof names / sizeof *names)
        return dw_fail(err, DW_ERR_USAGE, "colour space %d is not known", (int)space);
    enum dw_status status = DW_ERR_MEMORY;
    cmsToneCurve *curve = NULL;
    cmsHPROFILE profile = NULL;
    unsigned char *bytes = NULL;
    /* A context of our own: lcms2's shared one would be global state. */
    cmsContext ctx = cmsCreateContext(NULL, NULL);
    if (!ctx)
        goto out;
    const cmsCIExyY d65 = {DW_D65_X, DW_D65_Y, 1};
    const cmsCIExyYTRIPLE primaries = primaries_of(space);
    /* IEC 61966-2-1 decoding: ((V + 0.055) / 1.055)^2.4 from 0.04045, V / 12.92 below. */
    const cmsFloat64Number srgb[5] = {2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045};
    curve = cmsBuildParametricToneCurve(ctx, 4, srgb);
    cmsToneCurve *const three[3] = {curve, curve, curve};
    if (curve)
        profile = cmsCreateRGBProfileTHR(ctx, &d65, &primaries, three);
    if (!profile || !set_text(ctx, profile, cmsSigProfileDescriptionTag, names[space]) ||
        !set_text(ctx, profile, cmsSigCopyrightTag, "No copyright, use freely"))
        goto out;
    cmsSetHeaderRenderingIntent(profile, INTENT_RELATIVE_COLORIMETRIC);
    cmsUInt32Number size = 0;
    if (!cmsSaveProfileToMem(profile, NULL, &size) || size < 128)
        goto out;
    bytes = malloc(size);
    if (!bytes || !cmsSaveProfileToMem(profile, bytes, &size))
        goto out;
    fix_date(bytes);
    *data = bytes;
    *n = size;
    bytes = NULL;
    status = DW_OK;
out:
    free(bytes);
    if (profile)
        cmsCloseProfile(profile);
    if (curve)
        cmsFreeToneCurve(curve);
    if (ctx)
        cmsDeleteContext(ctx);
    if (status < 0)
        dw_fail(err, status, "the colour profile \"%s\" could not be made", names[space]);
    return status;
}
