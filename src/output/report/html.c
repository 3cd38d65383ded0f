/* html.c: see html.h. */
#include "output/report/html.h"

#include "base/text.h"

#include <stdio.h>
#include <string.h>

#define LONGEST 2000

void dw_html_text(struct dw_buffer *b, const char *text)
{
    char clean[4 * LONGEST];
    dw_text_clean(clean, sizeof clean, text, strnlen(text, LONGEST));
    for (const char *c = clean; *c;) {
        size_t n = strcspn(c, "&<>\"'");
        dw_buffer_add(b, c, n);
        c += n;
        switch (*c) {
        case '&':
            dw_buffer_printf(b, "&amp;");
            break;
        case '<':
            dw_buffer_printf(b, "&lt;");
            break;
        case '>':
            dw_buffer_printf(b, "&gt;");
            break;
        case '"':
            dw_buffer_printf(b, "&quot;");
            break;
        case '\'':
            dw_buffer_printf(b, "&#39;");
            break;
        default:
            return;
        }
        c++;
    }
}

void dw_html_printf(struct dw_buffer *b, const char *fmt, ...)
{
    char text[LONGEST];
    va_list ap;
    va_start(ap, fmt);
    vsnprintf(text, sizeof text, fmt, ap);
    va_end(ap);
    dw_html_text(b, text);
}

void dw_html_base64(struct dw_buffer *b, const unsigned char *data, size_t n)
{
    static const char digit[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    char out[1024];
    size_t used = 0;
    for (size_t i = 0; i < n; i += 3) {
        size_t have = n - i < 3 ? n - i : 3;
        unsigned v = (unsigned)data[i] << 16;
        v |= have > 1 ? (unsigned)data[i + 1] << 8 : 0;
        v |= have > 2 ? (unsigned)data[i + 2] : 0;
        out[used++] = digit[v >> 18];
        out[used++] = digit[v >> 12 & 63];
        out[used++] = have > 1 ? digit[v >> 6 & 63] : '=';
        out[used++] = have > 2 ? digit[v & 63] : '=';
        if (used == sizeof out) {
            dw_buffer_add(b, out, used);
            used = 0;
        }
    }
    dw_buffer_add(b, out, used);
}
