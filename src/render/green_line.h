/* green_line.h: what green was, from red and blue. */
#ifndef DW_RENDER_GREEN_LINE_H
#define DW_RENDER_GREEN_LINE_H

/* How far green stands above the mean of red and blue, in logarithms, against how far red stands
 * above blue: sums of a straight line's fit over all light that was measured. Where green alone is
 * lost, the line tells it from the other two: a reddening sky loses green faster than it turns. */
struct dw_green_line {
    double n, x, y, xx, xy;
};

/* Adds a pixel of balanced light, weight w; what is not above zero in all channels counts nothing.
 */
void dw_green_line_add(struct dw_green_line *f, float w, const float v[3]);
/* Green from red and blue. The line is drawn towards y = 0 by a few pixels of no colour. */
float dw_green_line_tell(const struct dw_green_line *f, float red, float blue);

#endif
