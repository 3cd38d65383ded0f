/* jpeg.c: see encode.h. Encoded to memory: on a full disk libjpeg's own writer would end the
 * process, and a file must not appear in halves. The memory is ours rather than the library's,
 * whose jpeg_mem_dest leaves a stale pointer behind when an encode fails half-way. */
#include "output/formats/encode.h"

#include <setjmp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <jpeglib.h>

struct failure {
    struct jpeg_error_mgr base; /* first: libjpeg hands back a pointer to it */
    jmp_buf jump;
    char text[JMSG_LENGTH_MAX];
};

static void on_error(j_common_ptr c)
{
    struct failure *f = (struct failure *)c->err;
    f->base.format_message(c, f->text);
    longjmp(f->jump, 1);
}

static void on_message(j_common_ptr c)
{
    (void)c; /* warnings of an encoder concern the caller's arguments, which we check */
}

/* Where the bytes go. */
struct memory {
    struct jpeg_destination_mgr base; /* first, likewise */
    unsigned char *data;
    size_t room, n;
};

static void start_memory(j_compress_ptr c)
{
    struct memory *m = (struct memory *)c->dest;
    m->base.next_output_byte = m->data;
    m->base.free_in_buffer = m->room;
}

static boolean grow_memory(j_compress_ptr c)
{
    struct memory *m = (struct memory *)c->dest;
    unsigned char *data = realloc(m->data, 2 * m->room);
    if (!data) {
        snprintf(((struct failure *)c->err)->text, JMSG_LENGTH_MAX, "no memory");
        longjmp(((struct failure *)c->err)->jump, 1);
    }
    m->data = data;
    m->base.next_output_byte = data + m->room; /* it was full: libjpeg calls only then */
    m->base.free_in_buffer = m->room;
    m->room *= 2;
    return TRUE;
}

static void end_memory(j_compress_ptr c)
{
    struct memory *m = (struct memory *)c->dest;
    m->n = m->room - m->base.free_in_buffer;
}

/* Steps of the finest detail, codes, of light and of colour in finished pictures. The standard's
 * tables go to 16 and 19 at quality 92, as the eye is least sensitive there in pictures at large;
 * but a faint star is nothing but fine detail: they drop it, or leave ripples of a brighter one
 * about it. Finer colour would double the files. */
static const UINT16 coarsest[2] = {4, 8};

/* Everything that may jump, apart from the caller's variables, so that none is clobbered. */
static bool compress(struct jpeg_compress_struct *c, struct failure *f, struct memory *m,
                     const struct dw_image *image, int quality, const struct dw_buffer *app1,
                     const struct dw_profile *profile, bool small)
{
    if (setjmp(f->jump))
        return false;
    jpeg_create_compress(c);
    c->dest = &m->base;
    c->image_width = (JDIMENSION)image->width;
    c->image_height = (JDIMENSION)image->height;
    c->input_components = 3;
    c->in_color_space = JCS_RGB;
    jpeg_set_defaults(c);
    jpeg_set_quality(c, quality, TRUE);
    for (int t = 0; t < 2 && !small; t++)
        for (int i = 0; i < DCTSIZE2; i++)
            if (c->quant_tbl_ptrs[t]->quantval[i] > coarsest[t])
                c->quant_tbl_ptrs[t]->quantval[i] = coarsest[t];
    /* Colour at full resolution: halved, a one-pixel star loses most of its colour. */
    for (int i = 0; i < 3; i++)
        c->comp_info[i].h_samp_factor = c->comp_info[i].v_samp_factor = i == 0 && small ? 2 : 1;
    c->optimize_coding = small; /* tables of its own are shorter than the standard's */
    /* Exif wants its segment right behind the start; JFIF's would stand in the way. */
    c->write_JFIF_header = app1->n == 0;
    jpeg_start_compress(c, TRUE);
    if (app1->n > 0)
        jpeg_write_marker(c, JPEG_APP0 + 1, (const JOCTET *)app1->data, (unsigned)app1->n);
    if (profile && profile->n > 0)
        jpeg_write_icc_profile(c, profile->data, (unsigned)profile->n);
    while (c->next_scanline < c->image_height) {
        JSAMPROW row = image->px8 + (size_t)c->next_scanline * c->image_width * 3;
        jpeg_write_scanlines(c, &row, 1);
    }
    jpeg_finish_compress(c);
    return true;
}

static enum dw_status encode(const struct dw_image *image, int quality, const struct dw_tags *tags,
                             const struct dw_profile *profile, bool small, unsigned char **data,
                             size_t *n, struct dw_error *err)
{
    *data = NULL;
    *n = 0;
    if (image->bits != 8 || !image->px8 || image->width < 1 || image->height < 1 ||
        image->width > JPEG_MAX_DIMENSION || image->height > JPEG_MAX_DIMENSION)
        return dw_fail(err, DW_ERR_USAGE,
                       "a JPEG file holds 8-bit pictures of 1 to %d pixels a side, not %d-bit of "
                       "%d x %d; choose another size or TIFF",
                       (int)JPEG_MAX_DIMENSION, image->bits, image->width, image->height);
    struct dw_buffer app1 = {0};
    if (tags)
        dw_tags_app1(tags, &app1);
    struct failure f = {.text = "no memory"};
    struct memory m = {.base = {.init_destination = start_memory,
                                .empty_output_buffer = grow_memory,
                                .term_destination = end_memory}};
    /* A quarter of the pixels' bytes holds nearly every frame at quality 92. */
    m.room = (size_t)image->width * (size_t)image->height * 3 / 4 + 65536;
    m.data = malloc(m.room);
    struct jpeg_compress_struct c = {0};
    c.err = jpeg_std_error(&f.base);
    f.base.error_exit = on_error;
    f.base.output_message = on_message;
    bool ok = m.data && !app1.failed && compress(&c, &f, &m, image, quality, &app1, profile, small);
    jpeg_destroy_compress(&c);
    dw_buffer_free(&app1);
    if (!ok) {
        free(m.data);
        return dw_fail(err, DW_ERR_MEMORY, "the JPEG file could not be encoded: %s", f.text);
    }
    *data = m.data;
    *n = m.n;
    return DW_OK;
}

enum dw_status dw_encode_jpeg(const struct dw_image *image, int quality, const struct dw_tags *tags,
                              const struct dw_profile *profile, unsigned char **data, size_t *n,
                              struct dw_error *err)
{
    return encode(image, quality, tags, profile, false, data, n, err);
}

enum dw_status dw_encode_small_jpeg(const struct dw_image *image, int quality, unsigned char **data,
                                    size_t *n, struct dw_error *err)
{
    return encode(image, quality, NULL, NULL, true, data, n, err);
}
