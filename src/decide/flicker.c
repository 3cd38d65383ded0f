/* flicker.c: how much the sequence flickers, before and after. */
#include "decide/steps.h"
#include "decide/visible.h"

#include <math.h>

/* From second differences x[i] - (x[i-1]+x[i+1])/2 over triples of neighbours: independent errors
 * of standard deviation 1 have second differences of variance 1 + 1/4 + 1/4. */
#define SECOND_VARIANCE 1.5

/* Sums of squares of one part of the day. */
struct part {
    double sum;
    size_t n;
};

static double rms(struct part p)
{
    return p.n ? sqrt(p.sum / (double)p.n / SECOND_VARIANCE) : (double)NAN;
}

static void add(struct part *all, struct part *part, double v)
{
    all->sum += v * v;
    all->n++;
    part->sum += v * v;
    part->n++;
}

static struct dw_flicker over(const struct dw_work *w, const double *second)
{
    struct part all = {0, 0}, part[3] = {{0, 0}, {0, 0}, {0, 0}};
    for (size_t i = 0; i < w->n; i++)
        if (isfinite(second[i]))
            add(&all,
                &part[w->alt[i] > w->params->day_deg     ? 0
                      : w->alt[i] > w->params->night_deg ? 1
                                                         : 2],
                second[i]);
    struct dw_flicker f = {rms(all), rms(part[0]), rms(part[1]), rms(part[2])};
    return f;
}

void dw_flicker_measure(const struct dw_work *w, struct dw_decision *out)
{
    out->before = over(w, w->before);
    out->after = over(w, w->left);
    out->fps = w->params->fps;
    out->flicker_threshold = dw_flicker_threshold(out->fps);
}
