/* patch_pack.c: see patch_pack.h. */
#include "survey/patch_pack.h"

#include "survey/checksum.h"
#include "survey/kernels.h"

#include <string.h>

enum {
    SIDE = DW_PATCH_SIDE,
    BLOCK = DW_BITS_BLOCK, /* cells of a block's side, and bits of a word */
    ACROSS = SIDE / BLOCK,
    BLOCKS = ACROSS * ACROSS
};

struct head {
    uint64_t checksum;      /* of all that follows */
    uint16_t above[ACROSS]; /* what stands for the row above the first, a number a block */
    uint8_t bits[BLOCKS];   /* of a cell; so many rows of BLOCK words follow for the block */
};

/* Small differences of either sign as small numbers: 0, -1, 1, -2 ... as 0, 1, 2, 3 ... */
static uint16_t fold(uint16_t d)
{
    return (uint16_t)((uint16_t)(d << 1) ^ (d & 0x8000 ? 0xffff : 0));
}

static void fold_block(const uint16_t *code, const uint16_t *above, uint16_t out[BLOCK][BLOCK])
{
    for (int y = 0; y < BLOCK; y++, above = code, code += SIDE)
        for (int x = 0; x < BLOCK; x++)
            out[y][x] = fold((uint16_t)(code[x] - above[x]));
}

static int bits_of(const uint16_t v[BLOCK][BLOCK])
{
    unsigned any = 0;
    int bits = 0;
    for (int y = 0; y < BLOCK; y++)
        for (int x = 0; x < BLOCK; x++)
            any |= v[y][x];
    for (; any >> bits; bits++)
        ;
    return bits;
}

/* Row y of a block lies from bit y * bits on, in each of BLOCK columns of words. */
static void put_block(const uint16_t v[BLOCK][BLOCK], int bits, uint16_t word[BLOCK][BLOCK])
{
    memset(word, 0, (size_t)bits * sizeof *word);
    for (int y = 0; y < BLOCK && bits > 0; y++) {
        int at = y * bits / BLOCK, shift = y * bits % BLOCK;
        for (int x = 0; x < BLOCK; x++) {
            word[at][x] = (uint16_t)(word[at][x] | v[y][x] << shift);
            if (shift + bits > BLOCK)
                word[at + 1][x] = (uint16_t)(v[y][x] >> (BLOCK - shift));
        }
    }
}

/* The mean of the first row of a block stands above it. */
static uint16_t mean_of(const uint16_t *row)
{
    unsigned sum = 0;
    for (int x = 0; x < BLOCK; x++)
        sum += row[x];
    return (uint16_t)(sum / BLOCK);
}

/* The row above a block: the last of the block above, or a number. */
static const uint16_t *row_above(const struct head *h, const uint16_t *code, int b,
                                 uint16_t work[BLOCK])
{
    if (b >= ACROSS)
        return code - SIDE;
    for (int x = 0; x < BLOCK; x++)
        work[x] = h->above[b];
    return work;
}

static size_t block_at(int b)
{
    return (size_t)(b / ACROSS) * BLOCK * SIDE + (size_t)(b % ACROSS) * BLOCK;
}

size_t dw_patch_pack(const uint16_t *code, unsigned char *out)
{
    struct head h = {.checksum = 0};
    size_t n = sizeof h;
    for (int b = 0; b < ACROSS; b++)
        h.above[b] = mean_of(code + block_at(b));
    for (int b = 0; b < BLOCKS; b++) {
        uint16_t folded[BLOCK][BLOCK], word[BLOCK][BLOCK], work[BLOCK];
        const uint16_t *at = code + block_at(b);
        fold_block(at, row_above(&h, at, b, work), folded);
        h.bits[b] = (uint8_t)bits_of(folded);
        put_block(folded, h.bits[b], word);
        memcpy(out + n, word, h.bits[b] * sizeof *word);
        n += h.bits[b] * sizeof *word;
    }
    memcpy(out, &h, sizeof h);
    h.checksum = dw_checksum(out + sizeof h.checksum, n - sizeof h.checksum);
    memcpy(out, &h, sizeof h);
    return n;
}

bool dw_patch_unpack(const void *packed, size_t bytes, uint16_t *code)
{
    struct head h;
    if (bytes < sizeof h)
        return false;
    memcpy(&h, packed, sizeof h);
    size_t n = sizeof h;
    for (int b = 0; b < BLOCKS; b++)
        n += h.bits[b] * sizeof(uint16_t[BLOCK]);
    if (n != bytes || h.checksum != dw_checksum((const char *)packed + sizeof h.checksum,
                                                bytes - sizeof h.checksum))
        return false;
    const struct dw_survey_kernels *k = dw_survey_kernels_best();
    const uint16_t *words = (const uint16_t *)packed + sizeof h / sizeof *words;
    for (int b = 0; b < BLOCKS; b++) {
        uint16_t work[BLOCK], *at = code + block_at(b);
        if (h.bits[b] > BLOCK)
            return false;
        k->unpack_block(words, h.bits[b], row_above(&h, at, b, work), at, SIDE);
        words += h.bits[b] * BLOCK;
    }
    return true;
}
