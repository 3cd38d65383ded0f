/* select.c: which compilations of the kernels run on this machine. */
#include "render/kernels/kernels.h"

#define TABLES(variant)                                                                            \
    extern const struct dw_mosaic_kernels dw_mosaic_kernels_##variant;                             \
    extern const struct dw_develop_kernels dw_develop_kernels_##variant;                           \
    extern const struct dw_tone_kernels dw_tone_kernels_##variant;                                 \
    extern const struct dw_sky_kernels dw_sky_kernels_##variant;                                   \
    extern const struct dw_lift_kernels dw_lift_kernels_##variant;                                 \
    extern const struct dw_gamut_kernels dw_gamut_kernels_##variant;                               \
    extern const struct dw_encode_kernels dw_encode_kernels_##variant;                             \
    extern const struct dw_demosaic_kernels dw_demosaic_kernels_##variant;                         \
    extern const struct dw_noise_kernels dw_noise_kernels_##variant;                               \
    extern const struct dw_hold_kernels dw_hold_kernels_##variant;                                 \
    static const struct dw_kernels variant = {#variant,                                            \
                                              &dw_mosaic_kernels_##variant,                        \
                                              &dw_develop_kernels_##variant,                       \
                                              &dw_tone_kernels_##variant,                          \
                                              &dw_sky_kernels_##variant,                           \
                                              &dw_lift_kernels_##variant,                          \
                                              &dw_gamut_kernels_##variant,                         \
                                              &dw_encode_kernels_##variant,                        \
                                              &dw_demosaic_kernels_##variant,                      \
                                              &dw_noise_kernels_##variant,                         \
                                              &dw_hold_kernels_##variant}

TABLES(plain);

#ifdef DW_HAVE_WIDE_KERNELS
TABLES(wide);
TABLES(widest);

/* What x86-64-v3 adds to v2, as far as gcc may use it in these files. */
static bool runs_wide(void)
{
    return __builtin_cpu_supports("avx2") && __builtin_cpu_supports("bmi2") &&
           __builtin_cpu_supports("fma");
}

/* What x86-64-v4 adds to v3. */
static bool runs_widest(void)
{
    return runs_wide() && __builtin_cpu_supports("avx512f") && __builtin_cpu_supports("avx512bw") &&
           __builtin_cpu_supports("avx512cd") && __builtin_cpu_supports("avx512dq") &&
           __builtin_cpu_supports("avx512vl");
}
#endif

int dw_kernels_count(void)
{
#ifdef DW_HAVE_WIDE_KERNELS
    return runs_widest() ? 3 : runs_wide() ? 2 : 1;
#else
    return 1;
#endif
}

const struct dw_kernels *dw_kernels_number(int i)
{
#ifdef DW_HAVE_WIDE_KERNELS
    static const struct dw_kernels *const all[] = {&plain, &wide, &widest};
#else
    static const struct dw_kernels *const all[] = {&plain};
#endif
    return i >= 0 && i < dw_kernels_count() ? all[i] : NULL;
}

const struct dw_kernels *dw_kernels_plain(void)
{
    return dw_kernels_number(0);
}

const struct dw_kernels *dw_kernels_best(void)
{
    return dw_kernels_number(dw_kernels_count() - 1);
}
