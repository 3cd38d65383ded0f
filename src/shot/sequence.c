/* sequence.c: see sequence.h. Cameras count four digits and begin again at 0001 (or 0000). */
#include "shot/sequence.h"

#include <stdlib.h>

enum { ROUND = 10000, NEAR_THE_END = 200 };
#define NUMBERED_SHARE 0.8

static int by_value(const void *a, const void *b)
{
    long x = *(const long *)a, y = *(const long *)b;
    return (x > y) - (x < y);
}

long dw_sequence_distance(long a, long b)
{
    long d = b - a;
    if (a < ROUND && b < ROUND) {
        if (d > ROUND / 2)
            d -= ROUND;
        else if (d < -ROUND / 2)
            d += ROUND;
    }
    return d;
}

/* Where a wrapped series begins: behind the widest gap of the round, when the numbers come near
 * both its ends; 0 when they do not wrap. v is sorted. */
static long beginning(const long *v, size_t n)
{
    if (n < 2 || v[n - 1] >= ROUND || v[n - 1] < ROUND - NEAR_THE_END || v[0] > NEAR_THE_END)
        return 0;
    size_t at = 1;
    for (size_t i = 2; i < n; i++)
        if (v[i] - v[i - 1] > v[at] - v[at - 1])
            at = i;
    return v[at] - v[at - 1] > ROUND / 10 ? v[at] : 0;
}

bool dw_sequence_count(const struct dw_shot *shot, size_t n, long *count)
{
    long *v = malloc((n + 1) * sizeof *v);
    size_t numbered = 0;
    if (!v)
        return false;
    for (size_t i = 0; i < n; i++)
        if (shot[i].file_number >= 0)
            v[numbered++] = shot[i].file_number;
    qsort(v, numbered, sizeof *v, by_value);
    bool single = numbered > 0 && (double)numbered >= NUMBERED_SHARE * (double)n;
    for (size_t i = 1; i < numbered; i++)
        single = single && v[i] != v[i - 1];
    long begin = beginning(v, numbered);
    free(v);
    for (size_t i = 0; i < n; i++) {
        long k = shot[i].file_number;
        count[i] = k < 0 ? -1 : k < begin ? k + ROUND : k;
    }
    return single;
}
