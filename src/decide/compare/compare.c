/* compare.c: which build of a comparison's loops this machine runs. Compiled twice, as they are. */
#include "decide/compare/compare.h"

#ifdef DW_WIDE
extern const struct dw_compare_kernels dw_compare_kernels_wide;
const struct dw_compare_kernels dw_compare_kernels_wide = {
    dw_pair_look, dw_pair_compare, dw_own_first_drift, dw_own_drift, dw_own_noise};
#else
#ifdef DW_HAVE_WIDE
extern const struct dw_compare_kernels dw_compare_kernels_wide;
#endif

static const struct dw_compare_kernels plain = {dw_pair_look, dw_pair_compare, dw_own_first_drift,
                                                dw_own_drift, dw_own_noise};

const struct dw_compare_kernels *dw_compare_kernels_plain(void)
{
    return &plain;
}

const struct dw_compare_kernels *dw_compare_kernels_best(void)
{
#ifdef DW_HAVE_WIDE
    if (__builtin_cpu_supports("avx2"))
        return &dw_compare_kernels_wide;
#endif
    return &plain;
}
#endif
