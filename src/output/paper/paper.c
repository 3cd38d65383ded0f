/* paper.c: see paper.h. */
#include "output/paper/paper.h"

#include "base/atomic_file.h"
#include "base/hash.h"
#include "base/text.h"
#include "output/formats/encode.h"
#include "output/formats/icc.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define LARGEST_SIDE 32000 /* cairo's pictures end at 32767 */
#define LONGEST_TEXT 1024
#define SHEET_QUALITY 90

static void choose_font(struct dw_paper *p, const struct dw_letters *l)
{
    cairo_select_font_face(p->c, "sans-serif", CAIRO_FONT_SLANT_NORMAL,
                           l->bold ? CAIRO_FONT_WEIGHT_BOLD : CAIRO_FONT_WEIGHT_NORMAL);
    cairo_set_font_size(p->c, l->size);
}

enum dw_status dw_paper_new(int width, int height, struct dw_ink ground, struct dw_paper *out,
                            struct dw_error *err)
{
    *out = (struct dw_paper){.width = width, .height = height};
    if (width < 1 || height < 1 || width > LARGEST_SIDE || height > LARGEST_SIDE)
        return dw_fail(err, DW_ERR_USAGE, "a page of %d x %d pixels cannot be drawn (1 to %d)",
                       width, height, LARGEST_SIDE);
    enum dw_status s = dw_paper_on(cairo_image_surface_create(CAIRO_FORMAT_RGB24, width, height),
                                   width, height, 1, out, err);
    if (s >= 0)
        dw_paper_box(out, 0, 0, width, height, ground);
    return s;
}

enum dw_status dw_paper_on(cairo_surface_t *surface, int width, int height, double scale,
                           struct dw_paper *out, struct dw_error *err)
{
    *out = (struct dw_paper){.surface = surface, .width = width, .height = height};
    out->c = cairo_create(surface);
    if (cairo_status(out->c) != CAIRO_STATUS_SUCCESS) {
        dw_paper_free(out);
        return dw_fail(err, DW_ERR_MEMORY, "no memory for a page of %d x %d pixels", width, height);
    }
    out->prints = cairo_surface_get_type(surface) == CAIRO_SURFACE_TYPE_PDF;
    cairo_scale(out->c, scale, scale);
    /* Hinting depends on the machine's settings; grey, unhinted letters look the same on all. */
    cairo_font_options_t *options = cairo_font_options_create();
    cairo_font_options_set_antialias(options, CAIRO_ANTIALIAS_GRAY);
    cairo_font_options_set_hint_style(options, CAIRO_HINT_STYLE_NONE);
    cairo_font_options_set_hint_metrics(options, CAIRO_HINT_METRICS_OFF);
    cairo_set_font_options(out->c, options);
    cairo_font_options_destroy(options);
    /* Without any font cairo falls back to one of its own, of type "user", and reports success. */
    choose_font(out, &(struct dw_letters){.size = 20});
    out->plain = cairo_scaled_font_get_type(cairo_get_scaled_font(out->c)) == CAIRO_FONT_TYPE_USER;
    return DW_OK;
}

void dw_paper_free(struct dw_paper *p)
{
    if (p->c)
        cairo_destroy(p->c);
    if (p->surface)
        cairo_surface_destroy(p->surface);
    *p = (struct dw_paper){0};
}

static void set_ink(struct dw_paper *p, struct dw_ink ink)
{
    cairo_set_source_rgb(p->c, ink.r, ink.g, ink.b);
}

void dw_paper_box(struct dw_paper *p, double x, double y, double w, double h, struct dw_ink ink)
{
    set_ink(p, ink);
    cairo_rectangle(p->c, x, y, w, h);
    cairo_fill(p->c);
}

void dw_paper_curve(struct dw_paper *p, const double *x, const double *y, size_t n, double width,
                    bool dashed, struct dw_ink ink)
{
    const double dash[] = {7, 6};
    cairo_save(p->c);
    set_ink(p, ink);
    cairo_set_line_width(p->c, width);
    cairo_set_line_join(p->c, CAIRO_LINE_JOIN_ROUND);
    cairo_set_dash(p->c, dash, dashed ? 2 : 0, 0);
    for (size_t i = 0; i < n; i++)
        cairo_line_to(p->c, x[i], y[i]);
    cairo_stroke(p->c);
    cairo_restore(p->c);
}

void dw_paper_outline(struct dw_paper *p, double x, double y, double w, double h, struct dw_ink ink)
{
    const double dash[] = {9, 6};
    cairo_save(p->c);
    set_ink(p, ink);
    cairo_set_line_width(p->c, 3);
    cairo_set_dash(p->c, dash, 2, 0);
    cairo_rectangle(p->c, x + 1.5, y + 1.5, w - 3, h - 3);
    cairo_stroke(p->c);
    cairo_restore(p->c);
}

void dw_paper_hatch(struct dw_paper *p, double x, double y, double w, double h,
                    struct dw_ink ground, struct dw_ink line)
{
    dw_paper_box(p, x, y, w, h, ground);
    cairo_save(p->c);
    cairo_rectangle(p->c, x, y, w, h);
    cairo_clip(p->c);
    set_ink(p, line);
    cairo_set_line_width(p->c, 1.5);
    int lines = (int)((w + h) / 14);
    for (int i = 0; i <= lines; i++) {
        double at = 14.0 * i - h;
        cairo_move_to(p->c, x + at, y + h);
        cairo_line_to(p->c, x + at + h, y);
    }
    cairo_stroke(p->c);
    cairo_restore(p->c);
}

/* A cairo picture with the image's pixels; NULL without memory. */
static cairo_surface_t *as_surface(const struct dw_image *m)
{
    cairo_surface_t *s = cairo_image_surface_create(CAIRO_FORMAT_RGB24, m->width, m->height);
    if (cairo_surface_status(s) != CAIRO_STATUS_SUCCESS) {
        cairo_surface_destroy(s);
        return NULL;
    }
    unsigned char *data = cairo_image_surface_get_data(s);
    size_t stride = (size_t)cairo_image_surface_get_stride(s);
    for (int y = 0; y < m->height; y++) {
        uint32_t *to = (uint32_t *)(void *)(data + (size_t)y * stride);
        size_t row = (size_t)y * (size_t)m->width * 3;
        for (size_t x = 0; x < (size_t)m->width; x++) {
            uint32_t c[3];
            for (size_t k = 0; k < 3; k++)
                c[k] = m->bits == 16 ? (m->px16[row + 3 * x + k] * 255u + 32767) / 65535
                                     : m->px8[row + 3 * x + k];
            to[x] = c[0] << 16 | c[1] << 8 | c[2];
        }
    }
    cairo_surface_mark_dirty(s);
    return s;
}

/* Lets a PDF take the picture as JPEG, which is a tenth of what it would make of it. */
static void attach_jpeg(cairo_surface_t *s, const struct dw_image *image)
{
    unsigned char *data;
    size_t n;
    struct dw_error err;
    if (image->bits != 8 || dw_encode_jpeg(image, SHEET_QUALITY, NULL, NULL, &data, &n, &err) < 0)
        return;
    if (cairo_surface_set_mime_data(s, CAIRO_MIME_TYPE_JPEG, data, n, free, data) !=
        CAIRO_STATUS_SUCCESS)
        free(data);
}

void dw_paper_picture(struct dw_paper *p, double x, double y, double w, double h,
                      const struct dw_image *image, struct dw_ink ground)
{
    dw_paper_box(p, x, y, w, h, ground);
    cairo_surface_t *s = as_surface(image);
    if (!s)
        return; /* the empty box stays: a sheet lacks one picture rather than failing a run */
    if (p->prints)
        attach_jpeg(s, image);
    double scale = w / image->width < h / image->height ? w / image->width : h / image->height;
    double pw = scale * image->width, ph = scale * image->height;
    cairo_save(p->c);
    cairo_rectangle(p->c, x + (w - pw) / 2, y + (h - ph) / 2, pw, ph);
    cairo_clip(p->c);
    cairo_translate(p->c, x + (w - pw) / 2, y + (h - ph) / 2);
    cairo_scale(p->c, scale, scale);
    cairo_set_source_surface(p->c, s, 0, 0);
    cairo_pattern_set_filter(cairo_get_source(p->c), CAIRO_FILTER_GOOD);
    if (!p->prints)
        cairo_pattern_set_extend(cairo_get_source(p->c), CAIRO_EXTEND_PAD);
    cairo_paint(p->c);
    cairo_restore(p->c);
    cairo_surface_destroy(s);
}

/* Other letters than ASCII become their nearest where the only "font" is cairo's strokes. */
static void to_ascii(char *text)
{
    static const char *const pairs[][2] = {{"\xe2\x88\x92", "-"},   {"\xe2\x80\x93", "-"},
                                           {"\xc2\xb0", " deg"},    {"\xc2\xb7", "-"},
                                           {"\xe2\x80\xa6", "..."}, {"\xc3\x97", "x"}};
    char out[LONGEST_TEXT];
    size_t n = 0;
    for (const char *c = text; *c && n + 8 < sizeof out;) {
        if ((unsigned char)*c < 0x80) {
            out[n++] = *c++;
            continue;
        }
        const char *as = "?";
        size_t used = 1;
        for (size_t i = 0; i < sizeof pairs / sizeof *pairs; i++)
            if (strncmp(c, pairs[i][0], strlen(pairs[i][0])) == 0) {
                as = pairs[i][1];
                used = strlen(pairs[i][0]);
            }
        for (c += used; ((unsigned char)*c & 0xc0) == 0x80; c++)
            ;
        while (*as)
            out[n++] = *as++;
    }
    out[n] = '\0';
    strcpy(text, out);
}

/* Text that cairo can take: bytes that are not UTF-8 would silence the whole page. */
static void make_safe(const struct dw_paper *p, const char *text, char out[LONGEST_TEXT])
{
    dw_text_clean(out, LONGEST_TEXT, text, strlen(text));
    if (p->plain)
        to_ascii(out);
}

static double width_of(struct dw_paper *p, const char *text)
{
    cairo_text_extents_t e;
    cairo_text_extents(p->c, text, &e);
    return e.x_advance;
}

/* Cuts text until it fits with an ellipsis behind it. */
static void fit(struct dw_paper *p, char text[LONGEST_TEXT], double room)
{
    const char *dots = p->plain ? "..." : "\xe2\x80\xa6";
    size_t n = strlen(text);
    if (width_of(p, text) <= room)
        return;
    while (n > 0) {
        do
            n--;
        while (n > 0 && ((unsigned char)text[n] & 0xc0) == 0x80);
        if (n + 4 > LONGEST_TEXT)
            continue;
        strcpy(text + n, dots);
        if (width_of(p, text) <= room)
            return;
        text[n] = '\0';
    }
}

double dw_paper_line(struct dw_paper *p, double x, double y, double room, enum dw_align align,
                     const struct dw_letters *l, const char *text)
{
    char safe[LONGEST_TEXT];
    make_safe(p, text, safe);
    choose_font(p, l);
    fit(p, safe, room);
    double w = width_of(p, safe);
    set_ink(p, l->ink);
    cairo_move_to(p->c, align == DW_LEFT ? x : align == DW_RIGHT ? x - w : x - w / 2, y);
    cairo_show_text(p->c, safe);
    return w;
}

int dw_paper_words(struct dw_paper *p, double x, double y, double room, int lines, double leading,
                   const struct dw_letters *l, const char *text)
{
    char safe[LONGEST_TEXT];
    make_safe(p, text, safe);
    choose_font(p, l);
    char *line = safe;
    int n = 0;
    while (*line && n < lines) {
        char *end = line; /* the end of the last word that still fits */
        for (char *c = line; n < lines - 1;) {
            char *stop = c + strcspn(c, " "), keep = *stop;
            *stop = '\0';
            bool fits = width_of(p, line) <= room;
            *stop = keep;
            if (fits || end == line)
                end = stop;
            if (!fits || !keep)
                break;
            c = stop + 1;
        }
        if (n == lines - 1)
            end = line + strlen(line);
        char keep = *end;
        *end = '\0';
        dw_paper_line(p, x, y + n * leading, room, DW_LEFT, l, line);
        *end = keep;
        line = end + strspn(end, " ");
        n++;
    }
    return n;
}

static enum dw_status as_image(struct dw_paper *p, struct dw_image *m, struct dw_error *err)
{
    *m = (struct dw_image){.width = p->width, .height = p->height, .bits = 8};
    m->px8 = malloc((size_t)p->width * (size_t)p->height * 3);
    if (!m->px8)
        return dw_fail(err, DW_ERR_MEMORY, "no memory for a page");
    cairo_surface_flush(p->surface);
    const unsigned char *data = cairo_image_surface_get_data(p->surface);
    size_t stride = (size_t)cairo_image_surface_get_stride(p->surface);
    uint8_t *to = m->px8;
    for (int y = 0; y < p->height; y++) {
        const uint32_t *row = (const uint32_t *)(const void *)(data + (size_t)y * stride);
        for (int x = 0; x < p->width; x++, to += 3) {
            to[0] = (uint8_t)(row[x] >> 16);
            to[1] = (uint8_t)(row[x] >> 8);
            to[2] = (uint8_t)row[x];
        }
    }
    return DW_OK;
}

enum dw_status dw_paper_write(struct dw_paper *p, const char *path, struct dw_error *err)
{
    if (cairo_status(p->c) != CAIRO_STATUS_SUCCESS)
        return dw_fail(err, DW_ERR_MEMORY, "%s: could not be drawn: %s", path,
                       cairo_status_to_string(cairo_status(p->c)));
    struct dw_image m = {0};
    struct dw_profile icc = {0};
    unsigned char *data = NULL;
    size_t n = 0;
    enum dw_status s = as_image(p, &m, err);
    if (s >= 0)
        s = dw_icc_profile(DW_SPACE_SRGB, &icc.data, &icc.n, err);
    if (s >= 0) {
        struct dw_tags tags = {.description = "",
                               .make = "",
                               .model = "",
                               .utc_s = (double)NAN, /* a page was not taken at any time */
                               .width = p->width,
                               .height = p->height,
                               .srgb = true};
        struct dw_hash128 h = dw_hash128_start();
        dw_hash128_add(&h, m.px8, (size_t)p->width * (size_t)p->height * 3);
        dw_hash128_text(&h, tags.unique_id);
        s = dw_encode_jpeg(&m, SHEET_QUALITY, &tags, &icc, &data, &n, err);
    }
    if (s >= 0)
        s = dw_write_whole(path, data, n, true, err);
    free(data);
    free(icc.data);
    free(m.px8);
    return s;
}

enum dw_status dw_paper_no_fonts(const char *path, struct dw_error *err)
{
    return dw_fail(err, DW_WARN,
                   "%s: this machine has no fonts, so the sheet is lettered in plain strokes; "
                   "install one (on Debian: fonts-dejavu-core) for better ones",
                   path);
}
