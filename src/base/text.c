/* text.c: see text.h. */
#include "base/text.h"

#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>
#include <strings.h>

/* Length of the valid, printable UTF-8 character at s (n bytes left), 0 if there is none. */
static size_t utf8_length(const unsigned char *s, size_t n)
{
    if (s[0] >= 0x20 && s[0] < 0x7f)
        return 1;
    size_t len = 0;
    uint32_t code = 0;
    if ((s[0] & 0xe0) == 0xc0) {
        len = 2;
        code = s[0] & 0x1fu;
    } else if ((s[0] & 0xf0) == 0xe0) {
        len = 3;
        code = s[0] & 0x0fu;
    } else if ((s[0] & 0xf8) == 0xf0) {
        len = 4;
        code = s[0] & 0x07u;
    }
    if (len == 0 || len > n)
        return 0;
    for (size_t i = 1; i < len; i++) {
        if ((s[i] & 0xc0) != 0x80)
            return 0;
        code = code << 6 | (s[i] & 0x3fu);
    }
    static const uint32_t least[5] = {0, 0, 0x80, 0x800, 0x10000};
    if (code < least[len] || code > 0x10ffff || (code >= 0xd800 && code < 0xe000) ||
        (code >= 0x80 && code < 0xa0)) /* overlong, surrogate, C1 control */
        return 0;
    return len;
}

void dw_text_clean(char *dst, size_t dst_size, const char *src, size_t n)
{
    if (dst_size == 0)
        return;
    size_t length = strnlen(src, n), out = 0;
    while (length > 0 && (*src == ' ' || *src == '\t'))
        src++, length--;
    while (length > 0 && (src[length - 1] == ' ' || src[length - 1] == '\t'))
        length--;
    for (size_t i = 0; i < length;) {
        size_t len = utf8_length((const unsigned char *)src + i, length - i);
        if (len > 0) {
            if (out + len >= dst_size)
                break;
            memcpy(dst + out, src + i, len);
            out += len;
            i += len;
        } else {
            if (out + 4 >= dst_size)
                break;
            snprintf(dst + out, 5, "\\x%02x", (unsigned char)src[i]);
            out += 4;
            i++;
        }
    }
    dst[out] = '\0';
}

const char *dw_text_basename(const char *path)
{
    const char *slash = strrchr(path, '/');
    return slash ? slash + 1 : path;
}

const char *dw_text_after_name(const char *text, const char *name)
{
    size_t n = strlen(name);
    return n > 0 && strncmp(text, name, n) == 0 && strncmp(text + n, ": ", 2) == 0 ? text + n + 2
                                                                                   : text;
}

bool dw_text_same(const char *a, const char *b)
{
    return strcasecmp(a, b) == 0;
}

int dw_text_distance(const char *a, const char *b)
{
    enum { MOST = 64 };
    size_t la = strlen(a), lb = strlen(b);
    if (la > MOST || lb > MOST)
        return MOST;
    int before[MOST + 1], last[MOST + 1], row[MOST + 1];
    memset(before, 0, sizeof before);
    for (size_t j = 0; j <= lb; j++)
        last[j] = (int)j;
    for (size_t i = 1; i <= la; i++) {
        row[0] = (int)i;
        for (size_t j = 1; j <= lb; j++) {
            int best = last[j - 1] + (a[i - 1] != b[j - 1]);
            if (last[j] + 1 < best)
                best = last[j] + 1;
            if (row[j - 1] + 1 < best)
                best = row[j - 1] + 1;
            if (i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1] &&
                before[j - 2] + 1 < best)
                best = before[j - 2] + 1;
            row[j] = best;
        }
        memcpy(before, last, sizeof before);
        memcpy(last, row, sizeof last);
    }
    return last[lb];
}

void dw_signed(int decimals, double v, char out[32])
{
    char digits[24];
    snprintf(digits, sizeof digits, "%.*f", decimals, fabs(v));
    if (!isfinite(v))
        strcpy(digits, "?");
    bool zero = strspn(digits, "0.") == strlen(digits);
    snprintf(out, 32, "%s%s", v < 0 && !zero ? "\xe2\x88\x92" : "", digits);
}
