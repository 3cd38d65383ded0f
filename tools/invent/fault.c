/*
 * fault.c - see fault.h.
 */
#include "fault.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* name, amount when none is given */
static const struct {
    const char *name;
    double amount;
} codes[] = {
    {"truncated", 0},    {"empty", 0}, {"zeroed", 0},   {"wrong-magic", 0}, {"flipped", 0},
    {"no-exposure", 0},  {"gap", 0},   {"bright", 3},   {"dark", 5},        {"flash", 6},
    {"soft", 2.5},       {"haze", 3},  {"cloud", 0.97}, {"moved", 9},       {"shake", 5},
    {"reflection", 0.5}, {"drops", 1},
};
enum { CODES = sizeof codes / sizeof codes[0] };

/* Rises to 1 within the stretch and falls again; a stretch of one frame is 1. */
static double swell(int i, int a, int b)
{
    int n = b - a;
    if (n < 4)
        return 1;
    double t = (double)(i - a) / n, edge = 0.25;
    double u = t < edge ? t / edge : t > 1 - edge ? (1 - t) / edge : 1;
    return u * u * (3 - 2 * u);
}

/* nth: which one of the list it is */
static void apply(struct dwi_faults *f, int n, int code, int a, int b, double amount, int nth)
{
    for (int i = a; i <= b && i < n; i++) {
        double s = swell(i, a, b);
        switch (code) {
        case 0:
        case 1:
        case 2:
        case 3:
        case 4:
            f[i].damage = DWI_TRUNCATED + code;
            break;
        case 5:
            f[i].no_exposure = 1;
            break;
        case 6:
            f[i].missing = 1;
            break;
        case 7:
            f[i].off_stops = amount;
            break;
        case 8:
            f[i].off_stops = -amount;
            break;
        case 9:
            f[i].flash = amount;
            break;
        case 10: /* dew creeps on and dries away quickly */
            f[i].soft_px = b - a < 4 ? amount
                                     : amount * fmin(1, 1.25 * (i - a + 1.0) / (b - a)) *
                                           (i > b - 3 ? (b - i + 1) / 4.0 : 1);
            break;
        case 11:
            f[i].haze = amount * s;
            break;
        case 12:
            f[i].cloud = amount * s;
            break;
        case 13:
            break;
        case 14:
            f[i].bump = 1;
            f[i].moved_x += (i * 7 % 3 - 1) * (int)amount;
            f[i].moved_y += (i * 5 % 3 - 1) * (int)amount / 2 + 2;
            break;
        case 15:
            f[i].ghost = amount;
            f[i].ghost_id = nth;
            break;
        case 16: /* they grow, and are wiped off after the last shot */
            f[i].drops = (i - a + 1.0) / (b - a + 1.0);
            f[i].drops_amount = amount;
            break;
        }
    }
    if (code == 13) /* a bump: this and all later frames */
        for (int i = a; i < n; i++) {
            f[i].bump |= i == a;
            f[i].moved_x += amount;
            /* whole pixels stay whole, so that nothing need be resampled */
            f[i].moved_y -= amount == round(amount) ? round(amount * 0.6) : amount * 0.6;
        }
}

static int place(const char **s, int n, int *out)
{
    char *end;
    double v = strtod(*s, &end);
    if (end == *s)
        return -1;
    if (*end == '%') {
        v = 1 + floor(v / 100 * (n - 1) + 0.5);
        end++;
    }
    *s = end;
    *out = (int)v - 1;
    return *out >= 0 && *out < n ? 0 : -1;
}

int dwi_faults_parse(const char *text, int n, struct dwi_faults *f, char *err, int err_size)
{
    memset(f, 0, (size_t)n * sizeof *f);
    for (int nth = 0; *(text += strspn(text, " ")); nth++) {
        const char *item = text;
        size_t len = strcspn(text, "@ ");
        int code = 0, a, b;
        while (code < CODES &&
               (strlen(codes[code].name) != len || strncmp(codes[code].name, text, len)))
            code++;
        if (code == CODES || text[len] != '@')
            goto bad;
        text += len + 1;
        double amount = codes[code].amount;
        if (place(&text, n, &a))
            goto bad;
        b = a;
        if (*text == '-' && (text++, place(&text, n, &b) || b < a))
            goto bad;
        if (*text == '*') {
            char *end;
            amount = strtod(text + 1, &end);
            if (end == text + 1)
                goto bad;
            text = end;
        }
        if (*text && *text != ' ')
            goto bad;
        apply(f, n, code, a, b, amount, nth);
        continue;
    bad:
        snprintf(err, (size_t)err_size,
                 "option faults: '%.*s' is not CODE@A[-B][*AMOUNT] with A and B from 1 to %d",
                 (int)strcspn(item, " "), item, n);
        return -1;
    }
    return 0;
}

void dwi_faults_names(const struct dwi_faults *f, int gap, char *out, int size)
{
    const struct {
        int on;
        const char *name;
    } list[] = {
        {f->damage != DWI_SOUND, "unreadable"},
        {f->no_exposure, "no-exposure"},
        {gap, "gap"},
        {f->off_stops > 0, "bright"},
        {f->off_stops < 0, "dark"},
        {f->flash > 0, "flash"},
        {f->soft_px >= DWI_SOFT_PX || f->drops_cover >= DWI_DROPS, "soft"},
        {f->haze >= DWI_HAZE, "haze"},
        {f->cloud >= DWI_CLOUD, "cloud"},
        {f->bump, "moved"},
        {f->ghost_share >= DWI_REFLECTION, "reflection"},
    };
    int used = 0;
    out[0] = 0;
    for (size_t i = 0; i < sizeof list / sizeof list[0]; i++)
        if (list[i].on && used < size)
            used +=
                snprintf(out + used, (size_t)(size - used), "%s%s", used ? " " : "", list[i].name);
}
