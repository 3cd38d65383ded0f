/*
 * ljpeg.c - see ljpeg.h.
 */
#include "ljpeg.h"

#include <string.h>

size_t dwi_ljpeg_bound(int width, int height)
{
    /* at most 16 bits of code and 16 of value a sample, each byte perhaps stuffed */
    return (size_t)width * (size_t)height * 8 + 1024;
}

static int category(int d)
{
    unsigned a = (unsigned)(d < 0 ? -d : d);
    return a ? 32 - __builtin_clz(a) : 0;
}

struct huffman {
    uint8_t count[17];  /* codes of each length */
    uint8_t symbol[17]; /* in order of length */
    int n;
    uint16_t code[17];
    uint8_t length[17];
};

/* Optimal code lengths, limited to 16, no code of all ones: T.81 annex K.2. */
static void huffman(const long freq_in[17], struct huffman *h)
{
    long freq[18];
    int size[18] = {0}, other[18], bits[40] = {0};
    memcpy(freq, freq_in, 17 * sizeof *freq);
    freq[17] = 1; /* the reserved code point */
    for (int i = 0; i < 18; i++)
        other[i] = -1;
    for (;;) {
        int a = -1, b = -1;
        for (int i = 0; i < 18; i++)
            if (freq[i] && (a < 0 || freq[i] <= freq[a]))
                a = i;
        for (int i = 0; i < 18; i++)
            if (i != a && freq[i] && (b < 0 || freq[i] <= freq[b]))
                b = i;
        if (b < 0)
            break;
        freq[a] += freq[b];
        freq[b] = 0;
        for (size[a]++; other[a] >= 0; size[a]++)
            a = other[a];
        other[a] = b;
        for (size[b]++; other[b] >= 0; size[b]++)
            b = other[b];
    }
    for (int i = 0; i < 18; i++)
        bits[size[i]]++;
    bits[0] = 0;
    for (int i = 39; i > 16; i--)
        while (bits[i] > 0) {
            int j = i - 2;
            while (!bits[j])
                j--;
            bits[i] -= 2;
            bits[i - 1]++;
            bits[j + 1] += 2;
            bits[j]--;
        }
    for (int i = 16; i > 0; i--)
        if (bits[i]) {
            bits[i]--;
            break;
        }
    memset(h, 0, sizeof *h);
    for (int i = 1; i <= 16; i++)
        h->count[i] = (uint8_t)bits[i];
    for (int len = 1; len < 40; len++)
        for (int i = 0; i < 17; i++)
            if (size[i] == len)
                h->symbol[h->n++] = (uint8_t)i;
    unsigned code = 0;
    int k = 0;
    for (int len = 1; len <= 16; len++, code <<= 1)
        for (int i = 0; i < h->count[len]; i++, k++) {
            h->code[h->symbol[k]] = (uint16_t)code++;
            h->length[h->symbol[k]] = (uint8_t)len;
        }
}

/* Difference to the prediction: the same component's sample to the left; in the first column
 * the one above; at the very first half the range. Modulo 2^16. */
static inline int difference(const uint16_t *raw, int width, int precision, int x, int y)
{
    const uint16_t *q = raw + (size_t)y * (size_t)width + x;
    int pred = x > 1 ? q[-2] : y ? q[-width] : 1 << (precision - 1);
    return (int16_t)(uint16_t)(*q - pred);
}

struct writer {
    uint8_t *at;
    uint64_t bits;
    int n;
};

static inline void put(struct writer *w, unsigned value, int n)
{
    w->bits = w->bits << n | value;
    w->n += n;
    while (w->n >= 8) {
        uint8_t b = (uint8_t)(w->bits >> (w->n - 8));
        *w->at++ = b;
        if (b == 0xff)
            *w->at++ = 0;
        w->n -= 8;
    }
}

static uint8_t *head(uint8_t *o, int width, int height, int precision, const struct huffman *h)
{
    int half = width / 2;
    const uint8_t start[] = {0xff,
                             0xd8,
                             0xff,
                             0xc3,
                             0,
                             14,
                             (uint8_t)precision,
                             (uint8_t)(height >> 8),
                             (uint8_t)height,
                             (uint8_t)(half >> 8),
                             (uint8_t)half,
                             2,
                             0,
                             0x11,
                             0,
                             1,
                             0x11,
                             0};
    memcpy(o, start, sizeof start);
    o += sizeof start;
    *o++ = 0xff;
    *o++ = 0xc4;
    *o++ = 0;
    *o++ = (uint8_t)(2 + 1 + 16 + h->n);
    *o++ = 0;
    memcpy(o, h->count + 1, 16);
    memcpy(o + 16, h->symbol, (size_t)h->n);
    o += 16 + h->n;
    const uint8_t scan[] = {0xff, 0xda, 0, 10, 2, 0, 0, 1, 0, 1, 0, 0};
    memcpy(o, scan, sizeof scan);
    return o + sizeof scan;
}

size_t dwi_ljpeg_encode(const uint16_t *raw, int width, int height, int precision, uint8_t *out)
{
    long freq[17] = {0};
    for (int y = 0; y < height; y++)
        for (int x = 0; x < width; x++)
            freq[category(difference(raw, width, precision, x, y))]++;
    struct huffman h;
    huffman(freq, &h);
    struct writer w = {.at = head(out, width, height, precision, &h)};
    for (int y = 0; y < height; y++)
        for (int x = 0; x < width; x++) {
            int d = difference(raw, width, precision, x, y), c = category(d);
            put(&w, h.code[c], h.length[c]);
            if (c && c < 16) /* -32768 is category 16 without further bits */
                put(&w, (unsigned)(d < 0 ? d - 1 : d) & ((1u << c) - 1), c);
        }
    if (w.n)
        put(&w, (1u << (8 - w.n)) - 1, 8 - w.n);
    *w.at++ = 0xff;
    *w.at++ = 0xd9;
    return (size_t)(w.at - out);
}
