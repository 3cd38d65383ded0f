/* order.c: the order of capture. Time decides, then the number, then the name. Where the clock
 * jumps while the numbers simply go on, the numbers decide and the clock is put right. */
#include "shot/scan.h"
#include "shot/sequence.h"

#include "shot/clock_jumps.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* The offset that most frames name; 0 when none does. Frames without one are taken to share it. */
static int usual_offset(const struct dw_shot *shot, size_t n)
{
    int best = 0;
    size_t best_n = 0;
    for (size_t i = 0; i < n; i++) {
        if (!shot[i].has_offset || (best_n > 0 && shot[i].offset_s == best))
            continue;
        size_t same = 0;
        for (size_t k = i; k < n; k++)
            same += shot[k].has_offset && shot[k].offset_s == shot[i].offset_s;
        if (same > best_n) {
            best = shot[i].offset_s;
            best_n = same;
        }
        if (2 * best_n > n)
            break;
    }
    return best;
}

/* A broken file's record may be rubbish: its clock counts only within a day of the good ones. */
static void forget_wild_clocks(struct dw_place *p, size_t n)
{
    double first = INFINITY, last = -INFINITY;
    for (size_t i = 0; i < n; i++)
        if (p[i].shot->readable && p[i].timed) {
            first = fmin(first, p[i].t);
            last = fmax(last, p[i].t);
        }
    for (size_t i = 0; i < n; i++)
        if (!p[i].shot->readable && p[i].timed && first <= last &&
            (p[i].t < first - 86400 || p[i].t > last + 86400)) {
            p[i].timed = false;
            p[i].shot->has_clock = p[i].shot->has_offset = false;
        }
}

static int by_path(const void *a, const void *b)
{
    const struct dw_place *x = a, *y = b;
    return strcmp(x->shot->path, y->shot->path);
}

static int by_count(const void *a, const void *b)
{
    const struct dw_place *x = a, *y = b;
    return x->count != y->count ? (x->count < y->count ? -1 : 1) : by_path(a, b);
}

/* Numbers within one instant, the wrap included; with equal ones the name decides. */
static int by_time(const void *a, const void *b)
{
    const struct dw_place *x = a, *y = b;
    if (x->t != y->t)
        return x->t < y->t ? -1 : 1;
    long d = x->count >= 0 && y->count >= 0 ? dw_sequence_distance(x->count, y->count) : 0;
    if (d != 0)
        return d > 0 ? -1 : 1;
    int c = strcmp(x->shot->name, y->shot->name);
    return c ? c : by_path(a, b);
}

/* Time for a row without one, from its neighbours in the list: between them by number where both
 * are numbered, half way otherwise; one usual step beyond the last. Neighbours of one place must
 * not coincide, so that the order of equal guesses stays the list's. */
static void guess_times(struct dw_place *p, size_t n, double step, bool numbered)
{
    for (size_t i = 0; i < n; i++) {
        if (p[i].timed)
            continue;
        size_t a = i, b = i;
        while (a > 0 && !p[a].timed)
            a--;
        while (b < n && !p[b].timed)
            b++;
        const struct dw_place *low = p[a].timed ? &p[a] : NULL, *high = b < n ? &p[b] : NULL;
        if (!low && !high)
            return;
        double from_low = (double)(i - a), to_high = (double)(b - i);
        if (numbered && p[i].count >= 0 && low && low->count >= 0)
            from_low = (double)(p[i].count - low->count);
        if (numbered && p[i].count >= 0 && high)
            to_high = (double)(high->count - p[i].count);
        if (low && high)
            p[i].guess = low->t + (high->t - low->t) * from_low / fmax(from_low + to_high, 1);
        else
            p[i].guess = low ? low->t + step * from_low : high->t - step * to_high;
        const struct dw_shot *like = low ? low->shot : high->shot;
        p[i].shot->has_offset = like->has_offset;
        p[i].shot->offset_s = like->offset_s;
        p[i].shot->clock_guessed = true;
    }
    for (size_t i = 0; i < n; i++)
        if (p[i].shot->clock_guessed) {
            p[i].t = p[i].guess;
            p[i].timed = true;
        }
}

static void tell_guessed(const struct dw_place *p, size_t n, size_t timed, const struct dw_run *run)
{
    size_t guessed = 0, readable = 0;
    for (size_t i = 0; i < n; i++) {
        guessed += p[i].shot->clock_guessed && p[i].shot->readable;
        readable += p[i].shot->readable;
    }
    if (timed == 0)
        dw_say(run, DW_WARNING,
               "none of the %zu files holds a capture time: they stand in the order of their "
               "numbers and names",
               n);
    else if (guessed > 0)
        dw_say(run, DW_WARNING,
               "%zu of %zu frames hold no capture time: it is guessed from their neighbours",
               guessed, readable);
}

/* Moves the rows into the order of the places. */
static bool rearrange(struct dw_shot *shot, const struct dw_place *p, size_t n)
{
    struct dw_shot *copy = malloc(n * sizeof *copy);
    if (!copy)
        return false;
    for (size_t i = 0; i < n; i++)
        copy[i] = *p[i].shot;
    memcpy(shot, copy, n * sizeof *copy);
    free(copy);
    return true;
}

static size_t set_places(struct dw_shot *shot, struct dw_place *p, const long *count, size_t n)
{
    int usual = usual_offset(shot, n);
    size_t timed = 0;
    for (size_t i = 0; i < n; i++) {
        struct dw_shot *s = &shot[i];
        p[i].shot = s;
        p[i].count = count[i];
        p[i].timed = s->has_clock;
        p[i].offset = s->has_offset ? s->offset_s : usual;
        p[i].t = s->has_clock ? s->clock_s - p[i].offset : 0;
    }
    forget_wild_clocks(p, n);
    for (size_t i = 0; i < n; i++)
        timed += p[i].timed;
    return timed;
}

enum dw_status dw_order(struct dw_shot *shot, size_t n, const struct dw_run *run,
                        struct dw_error *err)
{
    if (n == 0)
        return DW_OK;
    struct dw_place *p = calloc(n, sizeof *p);
    long *count = malloc(n * sizeof *count);
    enum dw_status s = DW_OK;
    if (!p || !count) {
        s = dw_fail(err, DW_ERR_MEMORY, "no memory to order %zu shots", n);
    } else {
        bool numbered = dw_sequence_count(shot, n, count);
        size_t timed = set_places(shot, p, count, n);
        double step = 0;
        qsort(p, n, sizeof *p, numbered ? by_count : by_path);
        if (numbered)
            dw_take_out_clock_jumps(p, n, run);
        step = dw_usual_step(p, n, numbered);
        guess_times(p, n, step, numbered);
        for (size_t i = 0; i < n; i++)
            if (p[i].timed && (p[i].shot->clock_guessed || p[i].shift != 0))
                p[i].shot->clock_s =
                    p[i].t + (p[i].shot->has_offset ? p[i].shot->offset_s : p[i].offset);
        if (timed > 0)
            qsort(p, n, sizeof *p, by_time);
        tell_guessed(p, n, timed, run);
        if (!rearrange(shot, p, n))
            s = dw_fail(err, DW_ERR_MEMORY, "no memory to order %zu shots", n);
    }
    free(p);
    free(count);
    return s;
}
