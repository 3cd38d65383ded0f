/* kernel.h: for the files of this folder only. meson compiles each of them once per variant with
 * DW_KERNEL_VARIANT set to `plain`, `wide` or `widest`. All kernels are static; each file exports
 * one table whose name carries the variant: DW_KERNEL(mosaic) is dw_mosaic_kernels_plain in one
 * object and dw_mosaic_kernels_wide in another. Beside select.c, which puts the tables together, no
 * other name is made by a macro.
 *
 * Rules for a kernel: rows in, rows out, `restrict` on everything, no branch that depends on a
 * pixel (a ?: that picks one of two computed values is fine), no call that leaves the file. Then
 * gcc makes vector code of it by itself, and all variants give the same bits. */
#ifndef DW_RENDER_KERNEL_H
#define DW_RENDER_KERNEL_H

#include "render/kernels/kernels.h"

#define DW_KERNEL_JOIN(name, variant) dw_##name##_kernels_##variant
#define DW_KERNEL_EXPAND(name, variant) DW_KERNEL_JOIN(name, variant)
#define DW_KERNEL(name) DW_KERNEL_EXPAND(name, DW_KERNEL_VARIANT)

extern const struct dw_mosaic_kernels DW_KERNEL(mosaic);
extern const struct dw_tone_kernels DW_KERNEL(tone);
extern const struct dw_encode_kernels DW_KERNEL(encode);
extern const struct dw_demosaic_kernels DW_KERNEL(demosaic);
extern const struct dw_noise_kernels DW_KERNEL(noise);
extern const struct dw_hold_kernels DW_KERNEL(hold);

#endif
