/* green_line.h: what green was, from red and blue. */
#ifndef DW_RENDER_GREEN_LINE_H
#define DW_RENDER_GREEN_LINE_H

/* How far green stands above the mean of red and blue, in logarithms, against how far red stands
 * above blue: what the whole shoot tells of such light (as in struct dw_source), and sums of a
 * straight line's fit to the rest over all light that was measured in the frame. Where green alone
 * is lost, both together tell it from the other two: a reddening sky loses green faster than it
 * turns. The better the shoot knows it, the less the frame may tilt that. */
struct dw_green_line {
    double known[4];
    double n, x, y, xx, xy;
};

/* Adds a pixel of balanced light, weight w; what is not above zero in all channels counts nothing,
 * nor does a lamp's, redder than any sky, for a sky that is known. */
void dw_green_line_add(struct dw_green_line *f, float w, const float v[3]);
/* Green from red and blue. The line is drawn towards what is known, or y = 0, by a
 * few pixels. */
float dw_green_line_tell(const struct dw_green_line *f, float red, float blue);

#endif
