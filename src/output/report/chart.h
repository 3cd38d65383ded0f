/* chart.h: charts over the time of a shoot as inline SVG. Lines stretch with the page, letters do
 * not: positions along time are percentages, heights are pixels, so that a chart is legible on a
 * phone and on a wide screen. Colours and strokes come from the page's style sheet by class. */
#ifndef DW_OUTPUT_CHART_H
#define DW_OUTPUT_CHART_H

#include "base/buffers.h"
#include "output/telling/day.h"

struct dw_chart {
    struct dw_buffer *b;
    const struct dw_day *day;
    const char *id;   /* unique in the page */
    int height;       /* pixels of the plot, without its axis */
    double low, high; /* values at its foot and top */
    double longest_s; /* a line is broken where nothing stands for longer */
};

/* Begins with a frame of its own; title and what (a sentence with the chart's message) are what a
 * screen reader says. */
void dw_chart_begin(const struct dw_chart *c, const char *title, const char *what);
void dw_chart_end(const struct dw_chart *c);

/* Night, twilights and day as grounds. */
void dw_chart_sky(const struct dw_chart *c);
/* Hours along the foot, and thin lines up from them. */
void dw_chart_hours(const struct dw_chart *c);
/* A level with its label; after the curves, which its letters must not lie under. */
void dw_chart_level(const struct dw_chart *c, double value, const char *label);

/* A line over the whole length at one value. */
void dw_chart_across(const struct dw_chart *c, const char *style, double value);
/* A line through (t, v); v that is not finite, or a pause, breaks it. */
void dw_chart_line(const struct dw_chart *c, const char *style, const double *t, const double *v,
                   size_t n);
/* The same as steps: each value lasts until the next. */
void dw_chart_steps(const struct dw_chart *c, const char *style, const double *t, const double *v,
                    size_t n);
/* The area between low and high. */
void dw_chart_band(const struct dw_chart *c, const char *style, const double *t, const double *low,
                   const double *high, size_t n);
/* A box from one instant to another (at least some pixels wide), from y to y + h pixels. */
void dw_chart_box(const struct dw_chart *c, const char *style, double from_s, double to_s, double y,
                  double h);
/* An instant as share of the shoot's length, percent. */
double dw_chart_percent(const struct dw_chart *c, double t);

#endif
