/* html.h: text that came from outside made harmless in a page, and bytes as data addresses. */
#ifndef DW_OUTPUT_HTML_H
#define DW_OUTPUT_HTML_H

#include "base/buffers.h"

/* Text for element content and quoted attributes alike: control characters and bytes that are not
 * UTF-8 as \xNN, and & < > " ' as references. */
void dw_html_text(struct dw_buffer *b, const char *text);
/* printf, then dw_html_text; at most 2000 bytes. */
void dw_html_printf(struct dw_buffer *b, const char *fmt, ...)
    __attribute__((format(printf, 2, 3)));
/* Bytes in base64 (RFC 4648 section 4), with padding. */
void dw_html_base64(struct dw_buffer *b, const unsigned char *data, size_t n);

#endif
