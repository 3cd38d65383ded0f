/* select.c: which compilation of the kernels runs on this machine. */
#include "render/kernels/kernels.h"

extern const struct dw_mosaic_kernels dw_mosaic_kernels_plain;
extern const struct dw_tone_kernels dw_tone_kernels_plain;
extern const struct dw_encode_kernels dw_encode_kernels_plain;
extern const struct dw_demosaic_kernels dw_demosaic_kernels_plain;
extern const struct dw_noise_kernels dw_noise_kernels_plain;

const struct dw_kernels *dw_kernels_plain(void)
{
    static const struct dw_kernels plain = {"plain", &dw_mosaic_kernels_plain,
                                            &dw_tone_kernels_plain, &dw_encode_kernels_plain,
                                            &dw_demosaic_kernels_plain, &dw_noise_kernels_plain};
    return &plain;
}

#ifdef DW_HAVE_WIDE_KERNELS
extern const struct dw_mosaic_kernels dw_mosaic_kernels_wide;
extern const struct dw_tone_kernels dw_tone_kernels_wide;
extern const struct dw_encode_kernels dw_encode_kernels_wide;
extern const struct dw_demosaic_kernels dw_demosaic_kernels_wide;
extern const struct dw_noise_kernels dw_noise_kernels_wide;

const struct dw_kernels *dw_kernels_best(void)
{
    static const struct dw_kernels wide = {"wide", &dw_mosaic_kernels_wide, &dw_tone_kernels_wide,
                                           &dw_encode_kernels_wide, &dw_demosaic_kernels_wide,
                                           &dw_noise_kernels_wide};
    /* What x86-64-v3 adds to v2, as far as gcc may use it in these files. */
    if (__builtin_cpu_supports("avx2") && __builtin_cpu_supports("bmi2") &&
        __builtin_cpu_supports("fma"))
        return &wide;
    return dw_kernels_plain();
}
#else
const struct dw_kernels *dw_kernels_best(void)
{
    return dw_kernels_plain();
}
#endif
