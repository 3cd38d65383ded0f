/* text.h: strings that came from outside made safe to print, small string helpers. */
#ifndef DW_BASE_TEXT_H
#define DW_BASE_TEXT_H

#include <stdbool.h>
#include <stddef.h>

/* Copies at most n bytes of src (stopping at NUL) into dst, escaping control characters and
 * bytes that are not valid UTF-8 as \xNN, and trimming blanks at both ends.
 * dst always ends in NUL; nothing is cut inside a character or an escape. */
void dw_text_clean(char *dst, size_t dst_size, const char *src, size_t n);

/* The name behind the last slash of a path. Points into path. */
const char *dw_text_basename(const char *path);

/* What follows "NAME: " in a text that begins so, else the text itself: an error that is told
 * beside the file's name need not repeat its path. Points into text. */
const char *dw_text_after_name(const char *text, const char *name);

/* True when a and b are equal but for ASCII case. */
bool dw_text_same(const char *a, const char *b);

/* A number with a true minus sign (U+2212), and none before a zero; "?" where unknown. */
void dw_signed(int decimals, double v, char out[32]);

/* Number of single-character edits (insert, delete, replace, swap of neighbours) between two
 * short strings; more than 64 bytes count as far apart. For "did you mean". */
int dw_text_distance(const char *a, const char *b);

#endif
