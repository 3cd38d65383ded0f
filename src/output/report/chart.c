/* chart.c: see chart.h. */
#include "output/report/chart.h"

#include "output/report/html.h"

#include <math.h>
#include <stdio.h>
#include <time.h>

#define WIDE 1000 /* units of the stretched drawings: a tenth of one is finer than any screen */
#define AXIS 22   /* pixels below the plot for the hours */

double dw_chart_percent(const struct dw_chart *c, double t)
{
    double x = (t - c->day->first_s) / (c->day->last_s - c->day->first_s);
    return 100 * fmin(fmax(x, 0), 1);
}

static double across(const struct dw_chart *c, double t)
{
    return WIDE / 100.0 * dw_chart_percent(c, t);
}

static double down(const struct dw_chart *c, double v)
{
    double y = c->height * (c->high - v) / (c->high - c->low);
    return fmin(fmax(y, -2), c->height + 2); /* what leaves the chart leaves it at its edge */
}

void dw_chart_begin(const struct dw_chart *c, const char *title, const char *what)
{
    dw_buffer_printf(c->b,
                     "<svg class=\"plot\" id=\"%s\" role=\"img\" aria-labelledby=\"%s-t %s-d\" "
                     "width=\"100%%\" height=\"%d\">\n<title id=\"%s-t\">",
                     c->id, c->id, c->id, c->height + AXIS, c->id);
    dw_html_text(c->b, title);
    dw_buffer_printf(c->b, "</title><desc id=\"%s-d\">", c->id);
    dw_html_text(c->b, what);
    dw_buffer_printf(c->b, "</desc>\n");
}

void dw_chart_end(const struct dw_chart *c)
{
    dw_buffer_printf(c->b, "</svg>\n");
}

void dw_chart_sky(const struct dw_chart *c)
{
    for (size_t i = 0; i < c->day->n_stretches; i++) {
        const struct dw_sky_stretch *s = &c->day->stretch[i];
        double x = dw_chart_percent(c, s->from_s), to = dw_chart_percent(c, s->to_s);
        dw_buffer_printf(c->b,
                         "<rect class=\"sky%d\" x=\"%.3f%%\" y=\"0\" width=\"%.3f%%\" "
                         "height=\"%d\"/>",
                         (int)s->part, x, to - x, c->height);
    }
    dw_buffer_printf(c->b, "\n");
}

/* "18:00", or the date where a day begins. */
static void hour_text(const struct dw_day *d, double t, char out[16])
{
    static const char *const month[] = {"Jan", "Feb", "Mar", "Apr", "May", "Jun",
                                        "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"};
    time_t local = (time_t)floor(t + 0.5) + d->offset_s;
    struct tm tm = {0};
    gmtime_r(&local, &tm);
    if (tm.tm_hour == 0 && tm.tm_min == 0)
        snprintf(out, 16, "%d %s", tm.tm_mday % 100, month[tm.tm_mon % 12]);
    else
        snprintf(out, 16, "%02d:%02d", tm.tm_hour % 100, tm.tm_min % 100);
}

void dw_chart_hours(const struct dw_chart *c)
{
    double t, step = dw_day_step(c->day, 16, &t);
    for (int i = 0; t <= c->day->last_s; t += step, i++) {
        char text[16];
        double x = dw_chart_percent(c, t);
        bool fits = x > 2 && x < 98; /* half of its letters would stand outside */
        long nth = lround((t + c->day->offset_s) / step);
        hour_text(c->day, t, text);
        dw_buffer_printf(c->b,
                         "<line class=\"hour\" x1=\"%.3f%%\" x2=\"%.3f%%\" y1=\"0\" y2=\"%d\"/>", x,
                         x, c->height + 4);
        if (fits)
            dw_buffer_printf(c->b,
                             "<text class=\"tick%s\" x=\"%.3f%%\" y=\"%d\" "
                             "text-anchor=\"middle\">%s</text>",
                             nth % 2 ? " odd" : "", x, c->height + 17, text);
    }
    dw_buffer_printf(c->b, "\n");
}

void dw_chart_level(const struct dw_chart *c, double value, const char *label)
{
    double y = down(c, value);
    dw_buffer_printf(c->b, "<line class=\"level\" x1=\"0\" x2=\"100%%\" y1=\"%.1f\" y2=\"%.1f\"/>",
                     y, y);
    if (label[0]) {
        dw_buffer_printf(c->b, "<text class=\"tick on\" x=\"4\" y=\"%.1f\">",
                         y < 14 ? y + 12 : y - 3);
        dw_html_text(c->b, label);
        dw_buffer_printf(c->b, "</text>\n");
    }
}

void dw_chart_across(const struct dw_chart *c, const char *style, double value)
{
    double y = down(c, value);
    dw_buffer_printf(c->b, "<line class=\"%s\" x1=\"0\" x2=\"100%%\" y1=\"%.1f\" y2=\"%.1f\"/>\n",
                     style, y, y);
}

static void begin_stretched(const struct dw_chart *c, const char *style)
{
    dw_buffer_printf(c->b,
                     "<svg x=\"0\" y=\"0\" width=\"100%%\" height=\"%d\" viewBox=\"0 0 %d %d\" "
                     "preserveAspectRatio=\"none\"><path class=\"%s\" "
                     "vector-effect=\"non-scaling-stroke\" d=\"",
                     c->height, WIDE, c->height, style);
}

static void end_stretched(const struct dw_chart *c)
{
    dw_buffer_printf(c->b, "\"/></svg>\n");
}

static bool pauses(const struct dw_chart *c, double before, double after)
{
    return c->longest_s > 0 && after - before > c->longest_s;
}

static void trace(const struct dw_chart *c, const char *style, const double *t, const double *v,
                  size_t n, bool steps)
{
    bool on = false;
    double last = 0;
    begin_stretched(c, style);
    for (size_t i = 0; i < n; i++) {
        if (!isfinite(v[i]) || !isfinite(t[i])) {
            on = false;
            continue;
        }
        on = on && !pauses(c, last, t[i]);
        if (on && steps)
            dw_buffer_printf(c->b, "H%.1fV%.1f", across(c, t[i]), down(c, v[i]));
        else
            dw_buffer_printf(c->b, "%c%.1f %.1f", on ? 'L' : 'M', across(c, t[i]), down(c, v[i]));
        on = true;
        last = t[i];
    }
    end_stretched(c);
}

void dw_chart_line(const struct dw_chart *c, const char *style, const double *t, const double *v,
                   size_t n)
{
    trace(c, style, t, v, n, false);
}

void dw_chart_steps(const struct dw_chart *c, const char *style, const double *t, const double *v,
                    size_t n)
{
    trace(c, style, t, v, n, true);
}

void dw_chart_band(const struct dw_chart *c, const char *style, const double *t, const double *low,
                   const double *high, size_t n)
{
    begin_stretched(c, style);
    for (size_t i = 0; i < n;) {
        size_t to = i;
        while (to < n && isfinite(low[to]) && isfinite(high[to]) && isfinite(t[to]) &&
               (to == i || !pauses(c, t[to - 1], t[to])))
            to++;
        for (size_t k = i; k < to; k++)
            dw_buffer_printf(c->b, "%c%.1f %.1f", k == i ? 'M' : 'L', across(c, t[k]),
                             down(c, high[k]));
        for (size_t k = to; k-- > i;)
            dw_buffer_printf(c->b, "L%.1f %.1f", across(c, t[k]), down(c, low[k]));
        if (to > i)
            dw_buffer_printf(c->b, "Z");
        i = to > i ? to : i + 1;
    }
    end_stretched(c);
}

void dw_chart_box(const struct dw_chart *c, const char *style, double from_s, double to_s, double y,
                  double h)
{
    double x = dw_chart_percent(c, from_s), to = dw_chart_percent(c, to_s);
    /* a short one is made wide enough to be seen by its stroke */
    dw_buffer_printf(c->b,
                     "<rect class=\"%s\" x=\"%.3f%%\" y=\"%.1f\" width=\"%.3f%%\" "
                     "height=\"%.1f\"/>",
                     style, x, y, fmax(to - x, 0.02), h);
}
