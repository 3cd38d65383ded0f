/* moonlight.c: see moonlight.h. */
#include "decide/share/moonlight.h"
#include "base/robust.h"

#include <daywheel/sky.h>
#include <math.h>

#define LEAST_MOON 0.01  /* of the sun's light, in any shot: less bends nothing, and is no moon */
#define LEAST_SHARE 1e-4 /* of the light of a shot */
#define NO_LIGHT_DEG (-18)
#define KNOT_DEG 4
enum { KNOTS = (90 - NO_LIGHT_DEG) / KNOT_DEG + 3 }; /* as dw_spline_over has it */
#define DUSK_DEG (-6)                                /* below it night's own light is in the law */
/* A wild solution must not lead the next. In the first ones the level stays where it is believed to
 * be, and the law is held flat in full night; then as loosely as own light wanders. */
enum { LED_ROUNDS = 5 };
#define LED_STEP 1e-3   /* stops, rms of what the level moves in a solution ... */
#define STEP 0.1        /* ... and later */
#define LED_SLOPE 0.02  /* stops/degree, rms slope of the law in full night ... */
#define NIGHT_SLOPE 0.1 /* ... and later */
#define MOST_LEVEL 1.2  /* stops: beyond it what is followed is no moon */

static double published(double alt)
{
    return log2(dw_sun_illuminance_lx(alt));
}

/* log2(2^a + 2^b) */
static double both(double a, double b)
{
    return fmax(a, b) + log2(1 + exp2(-fabs(a - b)));
}

/* Stops by which light by the pictures lies above the published: a median over the brighter half of
 * the shots, which sun or moon light best. Light is 0 at the middle shot (joint.c). work: 2 n
 * values. */
static double above_published(const struct dw_moonlight *m, const struct dw_share *share,
                              double *work)
{
    double light = 0, *there = work, *above = work + share->n;
    size_t n = 0;
    for (size_t i = 0; i < share->n; i++)
        above[i] = there[i] = both(m->sun[i], published(m->alt[i]) + m->fainter[i]);
    double half = dw_quantile(above, share->n, 0.5);
    for (size_t i = 0; i < share->n / 2; i++)
        light -= share->pair[i].v;
    for (size_t i = 0; i < share->n; i++) {
        light += i > 0 ? share->pair[i - 1].v : 0;
        if (there[i] >= half)
            above[n++] = light - there[i];
    }
    return dw_median(above, n);
}

bool dw_moonlight_lay_out(struct dw_moonlight *m, const struct dw_share *share,
                          struct dw_arena *arena)
{
    size_t n = share->n, mark = arena->n;
    *m = (struct dw_moonlight){0};
    if (!share->moon_deg || share->n_pairs + 1 < n)
        return true;
    *m = (struct dw_moonlight){.n = n,
                               .alt = share->moon_deg,
                               .low = DUSK_DEG,
                               .high = DUSK_DEG,
                               .sun = DW_TAKE(arena, n, double),
                               .fainter = DW_TAKE(arena, n, double),
                               .share = DW_TAKE(arena, n, double),
                               .fixed = DW_TAKE(arena, n, double),
                               .knot = DW_TAKE(arena, KNOTS, double)};
    double lowest = INFINITY, most = 0;
    size_t kept = arena->n;
    double *work = DW_TAKE(arena, 2 * n, double);
    if (!m->sun || !m->fainter || !m->share || !m->fixed || !m->knot || !work)
        return false;
    m->by = (struct dw_follow){0, n, m->share, 0};
    for (size_t i = 0; i < n; i++) {
        bool there = share->moon_beside[i] > 0 && m->alt[i] > NO_LIGHT_DEG;
        lowest = fmin(lowest, share->alt[i]);
        m->high = fmax(m->high, share->alt[i]);
        m->sun[i] = published(share->alt[i]);
        m->fainter[i] = there ? log2(share->moon_beside[i]) : (double)-INFINITY;
        most = fmax(most, exp2(published(m->alt[i]) + m->fainter[i] - m->sun[i]));
    }
    m->low = fmax(m->low, lowest);
    m->by_sun = dw_spline_over(NO_LIGHT_DEG, 90, KNOT_DEG);
    if (most > LEAST_MOON)
        m->above = above_published(m, share, work);
    else
        m->n = 0;
    dw_arena_free_to(arena, m->n > 0 ? kept : mark);
    return true;
}

/* What the sun gives to the picture by its altitude. Only its course counts: the law's bends are
 * those of single shots' errors too, which a moon at the same altitudes would bring back, and the
 * published branches leave steps. */
static void look_at_day(struct dw_moonlight *m, const struct dw_light_law *law)
{
    for (int k = 0; k < KNOTS; k++) {
        double alt = m->by_sun.first + (k - 1) * m->by_sun.step;
        double seen = fmin(fmax(alt, m->low), m->high);
        double above =
            m->rounds > 0 && m->high > m->low ? dw_law_of(law, seen) - published(seen) : m->above;
        m->knot[k] = published(alt) + above;
    }
}

bool dw_moonlight_is_led(const struct dw_moonlight *m)
{
    return m->n > 0 && m->rounds < LED_ROUNDS;
}

/* The level is near where it was found last, and near 0: both are one belief about a place between,
 * from which light follows it. */
static void believe(struct dw_moonlight *m, const struct dw_share_params *p,
                    struct dw_light_law *law)
{
    bool led = dw_moonlight_is_led(m);
    double step = led ? LED_STEP : STEP, near_last = 1 / (step * step);
    double near_0 = 1 / (p->moon_stops * p->moon_stops);
    m->by.weight = near_last + near_0;
    m->about = m->level * near_last / m->by.weight;
    law->night_slope = m->lost ? (double)INFINITY : led ? LED_SLOPE : NIGHT_SLOPE;
}

void dw_moonlight_take(struct dw_moonlight *m, const struct dw_share *share,
                       struct dw_light_law *law)
{
    if (m->n == 0)
        return;
    for (size_t k = 0; k < share->n_pairs; k++)
        share->pair[k].v += m->fixed[share->pair[k].b] - m->fixed[share->pair[k].a];
    look_at_day(m, law);
    believe(m, share->p, law);
    for (size_t i = 0; i < m->n; i++) {
        m->share[i] = m->fixed[i] = 0;
        if (m->lost || !(m->fainter[i] > (double)-INFINITY))
            continue;
        double sun = m->rounds > 0 ? dw_law_whole(law, i) : m->sun[i] + m->above;
        double moon = dw_spline_value(&m->by_sun, m->knot, m->alt[i]) + m->fainter[i] + m->level;
        double w = 1 / (1 + exp2(sun - moon));
        if (!(w > LEAST_SHARE))
            continue;
        m->share[i] = w;
        m->fixed[i] = both(sun, moon) - (1 - w) * sun - w * (m->level - m->about);
    }
    for (size_t k = 0; k < share->n_pairs; k++)
        share->pair[k].v -= m->fixed[share->pair[k].b] - m->fixed[share->pair[k].a];
    dw_law_give_way(law, m->share);
}

void dw_moonlight_learn(struct dw_moonlight *m, double found)
{
    m->rounds++;
    m->level = m->about + found;
    m->lost |= fabs(m->level) > MOST_LEVEL;
}

double dw_moonlight_change(const struct dw_moonlight *m, size_t a, size_t b)
{
    return m->n == 0
               ? 0
               : m->fixed[b] - m->fixed[a] + (m->level - m->about) * (m->share[b] - m->share[a]);
}

void dw_moonlight_give_back(const struct dw_moonlight *m, struct dw_share *share, double found)
{
    for (size_t k = 0; k < share->n_pairs && m->n > 0; k++)
        share->pair[k].v += m->fixed[share->pair[k].b] - m->fixed[share->pair[k].a];
    for (size_t i = 0; i < m->n; i++)
        share->s[i] += m->fixed[i] + found * m->share[i];
}
