/* believe.c: judging decoded pixels. The decoder reports success on files whose pixels never came:
 * zeroed halves, torn strips, streams that lost their step (measured, see docs/method.md).
 *
 * Every rule below rests on something that no sensor can do: noise keeps rows from being equal and
 * runs from being zero, values end at saturation, and where a black level is added nothing falls
 * far below it. Dark frames, clipped frames, flat skies and night frames near black keep all of
 * these, so none of the rules looks at how bright or how detailed a frame is. */
#include "shot/believe.h"

#include "shot/tears.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* The thresholds. Shares are of the samples of a block or of the frame. */
enum {
    BLOCK = 64,
    MOST_COLUMNS = 1024,
    LEAST_REPEATS = 8,
    LEAST_NOISY_BLOCKS = 4,
    LEAST_TORN_ROWS = 5,
    LEAST_TORN_PLACES = 3,
    STEP_ROWS = 8
};
#define LEAST_BLACK 32.0     /* below it, noise may reach zero */
#define FAR_BELOW_BLACK 0.5  /* of the black level: 8 sigma and more */
#define FAR_ABOVE_WHITE 1.3  /* of the white level: tables are wrong by 10 % at most */
#define IMPOSSIBLE 1.9       /* of the white level: one such sample is a flipped bit */
#define BAD_BLOCK_SHARE 0.3  /* of a block far outside the levels */
#define ZERO_SHARE 0.98      /* of the frame, for cameras that clip their black at zero */
#define ZERO_SHARE_BLACK 0.5 /* of the frame, for cameras with some black level (8 and more) */
#define NOISY_STEP 0.22      /* of white between neighbours of one colour; random numbers: 0.33 */
#define NOISY_BLOCKS 0.03    /* of all blocks */
#define VARIED_ROWS 0.05     /* of all rows must differ before repeated ones are damage */

struct judge {
    const struct dw_mosaic *m;
    size_t row;     /* samples in a row */
    size_t columns; /* blocks side by side */
    size_t width;   /* samples in a block: BLOCK or more */
    size_t step;    /* to the next sample of the same colour */
    unsigned low, high, impossible;
    size_t zeros, impossibles, longest_zeros, repeats, rows_judged;
    struct dw_tears tears;
    size_t blocks, noisy_blocks, low_blocks, high_blocks;
    uint32_t low_n[MOST_COLUMNS], high_n[MOST_COLUMNS];
    uint64_t step_sum[MOST_COLUMNS];
};

static void set_up(struct judge *j, const struct dw_mosaic *m)
{
    memset(j, 0, sizeof *j);
    j->m = m;
    bool rgb = m->cfa == DW_CFA_RGB;
    j->row = (size_t)m->width * (rgb ? 3 : 1);
    j->step = rgb ? 3 : m->cfa == DW_CFA_XTRANS ? 6 : m->cfa == DW_CFA_BAYER ? 2 : 1;
    j->width = BLOCK * (rgb ? 3 : 1);
    while ((j->row + j->width - 1) / j->width > MOST_COLUMNS)
        j->width *= 2;
    j->columns = (j->row + j->width - 1) / j->width;
    double black = fmin((double)m->black[0], fmin((double)m->black[1], (double)m->black[2]));
    double white = (double)m->white;
    /* lossy linear files keep their black level in another scale than their data */
    j->low = !rgb && black >= LEAST_BLACK ? (unsigned)(FAR_BELOW_BLACK * black) : 0;
    j->high =
        white > 0 && white * FAR_ABOVE_WHITE < 65535 ? (unsigned)(FAR_ABOVE_WHITE * white) : 65535;
    j->impossible =
        !rgb && white > 0 && white * IMPOSSIBLE < 65535 ? (unsigned)(IMPOSSIBLE * white) : 65535;
}

/* How many samples lie below and above two bounds. 16-bit counters and a fixed length let compilers
 * make short vector code of the loop, which is where the time goes. */
struct tally {
    uint16_t below, above;
};

static inline struct tally tally_of(const uint16_t *px, size_t n, uint16_t low, uint16_t high)
{
    uint16_t below = 0, above = 0;
    for (size_t i = 0; i < n; i++) {
        below = (uint16_t)(below + (px[i] < low));
        above = (uint16_t)(above + (px[i] > high));
    }
    return (struct tally){below, above};
}

/* One block's share of a row, in runs of BLOCK samples. Few runs reach a bound at all, and only
 * those are looked at again for zeros and for impossible values. */
static void count_block_row(struct judge *j, const uint16_t *px, size_t n, size_t column)
{
    const uint16_t low = (uint16_t)(j->low ? j->low : 1), high = (uint16_t)j->high;
    for (size_t at = 0; at < n; at += BLOCK, px += BLOCK) {
        size_t length = n - at < BLOCK ? n - at : BLOCK;
        struct tally t =
            length == BLOCK ? tally_of(px, BLOCK, low, high) : tally_of(px, length, low, high);
        j->low_n[column] += j->low ? t.below : 0;
        j->high_n[column] += t.above;
        for (size_t i = 0; t.below > 0 && i < length; i++)
            j->zeros += px[i] == 0;
        for (size_t i = 0; t.above > 0 && i < length; i++) /* 65535: how some programs mark a */
            j->impossibles += px[i] > j->impossible && px[i] != 65535; /* dead pixel */
    }
}

static void sum_steps(struct judge *j, const uint16_t *px, size_t n, size_t column)
{
    uint64_t sum = 0;
    for (size_t i = 0; i + j->step < n; i++) {
        int d = (int)px[i] - (int)px[i + j->step];
        sum += (uint64_t)(d < 0 ? -d : d);
    }
    j->step_sum[column] += sum;
}

/* A row that is clipped nearly everywhere may well equal its neighbour. */
static bool clipped(const struct judge *j, const uint16_t *px)
{
    unsigned bound = (unsigned)(0.85 * (double)j->m->white);
    size_t n = 0;
    for (size_t i = 0; i < j->row; i++)
        n += px[i] >= bound;
    return (double)n > 0.8 * (double)j->row;
}

static void judge_row(struct judge *j, int y)
{
    const uint16_t *px = j->m->px + (size_t)y * j->row;
    for (size_t c = 0; c < j->columns; c++) {
        size_t at = c * j->width, n = j->row - at < j->width ? j->row - at : j->width;
        count_block_row(j, px + at, n, c);
        if (y % STEP_ROWS == 0)
            sum_steps(j, px + at, n, c);
    }
    int other = y + j->m->period;
    if (other < j->m->height) {
        j->rows_judged++;
        if (memcmp(px, px + (size_t)j->m->period * j->row, j->row * sizeof *px) == 0 &&
            !clipped(j, px))
            j->repeats++;
    }
}

/* Closes a line of blocks that was `rows` rows high. */
static void close_blocks(struct judge *j, int rows)
{
    for (size_t c = 0; c < j->columns; c++) {
        size_t at = c * j->width, n = j->row - at < j->width ? j->row - at : j->width;
        double samples = (double)n * rows;
        bool whole = n >= j->width / 2 && rows >= BLOCK / 2;
        j->blocks++;
        j->low_blocks += whole && j->low_n[c] > BAD_BLOCK_SHARE * samples;
        j->high_blocks += whole && j->high_n[c] > BAD_BLOCK_SHARE * samples;
        if (n > j->step) {
            double steps = (double)(n - j->step) * ((rows + STEP_ROWS - 1) / STEP_ROWS);
            j->noisy_blocks += (double)j->step_sum[c] / steps > NOISY_STEP * (double)j->m->white;
        }
    }
    memset(j->low_n, 0, sizeof j->low_n);
    memset(j->high_n, 0, sizeof j->high_n);
    memset(j->step_sum, 0, sizeof j->step_sum);
}

/* Longest run of zeros, looked for only where every 64th sample is one. */
static size_t longest_zero_run(const struct dw_mosaic *m)
{
    size_t longest = 0, stride = 64;
    for (size_t i = stride; i < m->samples; i += stride) {
        if (m->px[i] != 0)
            continue;
        size_t a = i, b = i + 1;
        while (a > 0 && m->px[a - 1] == 0)
            a--;
        while (b < m->samples && m->px[b] == 0)
            b++;
        longest = b - a > longest ? b - a : longest;
        i = b - b % stride;
    }
    return longest;
}

static bool constant(const struct dw_mosaic *m)
{
    return m->samples > 0 && memcmp(m->px, m->px + 1, (m->samples - 1) * sizeof *m->px) == 0;
}

static bool believe(struct judge *j, char *why, size_t why_size)
{
    const struct dw_mosaic *m = j->m;
    double black = (double)m->black[1], zero_share = (double)j->zeros / (double)m->samples;
    double most_zero = black >= 8 && m->cfa != DW_CFA_RGB ? ZERO_SHARE_BLACK : ZERO_SHARE;
    if (zero_share > most_zero)
        snprintf(why, why_size, "holds no picture: %.1f %% of its pixels are zero",
                 100 * zero_share);
    else if (j->low_blocks > 0)
        snprintf(why, why_size,
                 "is damaged: %.1f %% of the frame lies far below the black level of %.0f",
                 100 * (double)j->low_blocks / (double)j->blocks, black);
    else if (j->high_blocks > 0)
        snprintf(why, why_size,
                 "is damaged: %.1f %% of the frame lies far above the white level of %.0f",
                 100 * (double)j->high_blocks / (double)j->blocks, (double)m->white);
    else if (j->impossibles > 0)
        snprintf(why, why_size,
                 "is damaged: %zu of its values lie far beyond the white level of %.0f",
                 j->impossibles, (double)m->white);
    else if (j->longest_zeros >= 2 * j->row)
        snprintf(why, why_size, "is damaged: %zu pixels in a row are zero", j->longest_zeros);
    else if (j->noisy_blocks >= LEAST_NOISY_BLOCKS &&
             (double)j->noisy_blocks > NOISY_BLOCKS * (double)j->blocks)
        snprintf(why, why_size, "is damaged: %.1f %% of the frame is random numbers",
                 100 * (double)j->noisy_blocks / (double)j->blocks);
    else if (m->cfa != DW_CFA_RGB && j->repeats >= LEAST_REPEATS &&
             (double)(j->rows_judged - j->repeats) > VARIED_ROWS * (double)j->rows_judged)
        snprintf(why, why_size, "is damaged: %zu of its rows repeat another", j->repeats);
    else if (j->tears.rows >= LEAST_TORN_ROWS && j->tears.places >= LEAST_TORN_PLACES)
        snprintf(why, why_size, "is damaged: %zu of its rows are torn", j->tears.rows);
    else
        return true;
    return false;
}

bool dw_believe(const struct dw_mosaic *m, char *why, size_t why_size)
{
    if (m->samples == 0 || !m->px) {
        snprintf(why, why_size, "holds no pixels");
        return false;
    }
    if (constant(m)) {
        snprintf(why, why_size, "holds no picture: every pixel has the value %u",
                 (unsigned)m->px[0]);
        return false;
    }
    struct judge *j = malloc(sizeof *j);
    if (!j)
        return true; /* the next allocation will say so */
    set_up(j, m);
    int y = 0, begun = 0;
    for (; y < m->height; y++) {
        judge_row(j, y);
        if (y - begun + 1 == BLOCK) {
            close_blocks(j, BLOCK);
            begun = y + 1;
        }
    }
    if (y > begun)
        close_blocks(j, y - begun);
    j->longest_zeros = longest_zero_run(m);
    j->tears = dw_find_tears(m);
    bool fine = believe(j, why, why_size);
    free(j);
    return fine;
}
