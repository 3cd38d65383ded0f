/* image.c: room for a finished picture's pixels. */
#include "render/look/look.h"

#include <stdlib.h>

enum dw_status dw_image_room(struct dw_image *image, int width, int height, struct dw_error *err)
{
    if (image->bits != 8 && image->bits != 16)
        return dw_fail(err, DW_ERR_USAGE, "%d bits a sample: expected 8 or 16", image->bits);
    bool has = image->bits == 8 ? image->px8 != NULL : image->px16 != NULL;
    if (has && image->width == width && image->height == height)
        return DW_OK;
    free(image->px8);
    free(image->px16);
    image->px8 = NULL;
    image->px16 = NULL;
    size_t n = (size_t)width * (size_t)height * 3;
    if (image->bits == 8)
        image->px8 = malloc(n);
    else
        image->px16 = malloc(n * sizeof *image->px16);
    if (!image->px8 && !image->px16)
        return dw_fail(err, DW_ERR_MEMORY, "no memory for a picture of %dx%d pixels", width,
                       height);
    image->width = width;
    image->height = height;
    return DW_OK;
}

void dw_image_free(struct dw_image *image)
{
    free(image->px8);
    free(image->px16);
    image->px8 = NULL;
    image->px16 = NULL;
}
