/* paper.h: a page to draw on, lettered with cairo, that becomes a JPEG file. Drawing text uses
 * the text library's shared font caches: draw one page at a time in a process. */
#ifndef DW_OUTPUT_PAPER_H
#define DW_OUTPUT_PAPER_H

#include <daywheel/base.h>
#include <daywheel/render.h>

#include <cairo.h>

#include <stdbool.h>

struct dw_ink {
    double r, g, b; /* sRGB, 0 to 1 */
};

struct dw_paper {
    cairo_surface_t *surface;
    cairo_t *c;
    int width, height;
    bool prints; /* for print: pictures go in as JPEG, letters and lines as themselves */
    bool plain;  /* no font is installed: cairo draws ASCII in strokes, nothing else */
};

/* A page of one colour. Errors: DW_ERR_MEMORY, DW_ERR_USAGE (a side above 32000 pixels). */
enum dw_status dw_paper_new(int width, int height, struct dw_ink ground, struct dw_paper *out,
                            struct dw_error *err);
/* A page on a surface of any kind, which it takes over, drawn in width x height pixels of `scale`
 * units each. Errors: DW_ERR_MEMORY; the surface is then gone. */
enum dw_status dw_paper_on(cairo_surface_t *surface, int width, int height, double scale,
                           struct dw_paper *out, struct dw_error *err);
void dw_paper_free(struct dw_paper *p);

void dw_paper_box(struct dw_paper *p, double x, double y, double w, double h, struct dw_ink ink);
/* A line through n points. */
void dw_paper_curve(struct dw_paper *p, const double *x, const double *y, size_t n, double width,
                    bool dashed, struct dw_ink ink);
/* The outline of a box, dashed. */
void dw_paper_outline(struct dw_paper *p, double x, double y, double w, double h,
                      struct dw_ink ink);
/* Diagonal lines that say: there is no picture here. */
void dw_paper_hatch(struct dw_paper *p, double x, double y, double w, double h,
                    struct dw_ink ground, struct dw_ink line);
/* The largest picture of the image's shape inside the box, centred, on the given ground. */
void dw_paper_picture(struct dw_paper *p, double x, double y, double w, double h,
                      const struct dw_image *image, struct dw_ink ground);

enum dw_align { DW_LEFT, DW_CENTRE, DW_RIGHT };
struct dw_letters {
    double size; /* pixels */
    bool bold;
    struct dw_ink ink;
};
/* One line with its baseline at y; x is its left end, middle or right end. Text that is wider than
 * `room` ends in an ellipsis. Any bytes may come: what is not UTF-8 is escaped. Gives the width. */
double dw_paper_line(struct dw_paper *p, double x, double y, double room, enum dw_align align,
                     const struct dw_letters *l, const char *text);
/* Words wrapped into at most `lines` lines of `leading` pixels; gives the number of lines. */
int dw_paper_words(struct dw_paper *p, double x, double y, double room, int lines, double leading,
                   const struct dw_letters *l, const char *text);

/* Writes the page as JPEG, quality 90, with the sRGB profile; the file carries our mark (see
 * frame_file.h), so that a later run can tell it from a person's. */
enum dw_status dw_paper_write(struct dw_paper *p, const char *path, struct dw_error *err);

/* A warning in *err for people whose machine has no fonts; returns DW_WARN. */
enum dw_status dw_paper_no_fonts(const char *path, struct dw_error *err);

#endif
