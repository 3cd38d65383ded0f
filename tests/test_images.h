/* test_images.h: open test images, those of scikit-image: Debian's python3-skimage holds them, or
 * the folder that DAYWHEEL_TEST_IMAGES names. Tests that need one are skipped without, and say so.
 */
#ifndef DW_TESTS_TEST_IMAGES_H
#define DW_TESTS_TEST_IMAGES_H

#include <cairo.h>
#include <check.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Interleaved R, G, B, 0 to 255, malloc'd; NULL if the image is not there. */
static inline float *test_image(const char *name, int *width, int *height)
{
    const char *dir = getenv("DAYWHEEL_TEST_IMAGES");
    char path[1024];
    snprintf(path, sizeof path, "%s/%s.png",
             dir && *dir ? dir : "/usr/lib/python3/dist-packages/skimage/data", name);
    cairo_surface_t *s = cairo_image_surface_create_from_png(path);
    if (cairo_surface_status(s) != CAIRO_STATUS_SUCCESS) {
        fprintf(stderr,
                "# skipped, no %s: install Debian's python3-skimage, or name a folder "
                "with its images in DAYWHEEL_TEST_IMAGES\n",
                path);
        cairo_surface_destroy(s);
        return NULL;
    }
    *width = cairo_image_surface_get_width(s);
    *height = cairo_image_surface_get_height(s);
    float *out = malloc((size_t)*width * (size_t)*height * 3 * sizeof *out), *p = out;
    ck_assert_ptr_nonnull(out);
    const unsigned char *px = cairo_image_surface_get_data(s);
    for (int y = 0; y < *height; y++)
        for (int x = 0; x < *width; x++) {
            uint32_t v;
            memcpy(&v, px + y * cairo_image_surface_get_stride(s) + 4 * x, sizeof v);
            for (int c = 0; c < 3; c++)
                *p++ = (float)(v >> (16 - 8 * c) & 255);
        }
    cairo_surface_destroy(s);
    return out;
}

#endif
