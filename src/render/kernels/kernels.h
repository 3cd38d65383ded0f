/* kernels.h: the sums behind the pictures, on rows of floats. The files beside this folder walk
 * the picture and call these; nothing here knows of frames, files or facts.
 *
 * The same plain C is compiled twice: once as it stands (the reference that the tests compare
 * with) and once for wider vectors. Both give the same bits, because neither may contract or
 * reorder floating-point arithmetic. See kernel.h for how that is done. */
#ifndef DW_RENDER_KERNELS_H
#define DW_RENDER_KERNELS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "render/kernels/demosaic.h"

/* Rows that one Bayer row of 2x2 cells is made of; level 1 = saturation. Red and blue come with
 * the three neighbours that bring them to the cell's centre: [0] own cell, [1] the horizontal,
 * [2] the vertical, [3] the diagonal neighbour. */
struct dw_cell_rows {
    const float *red[4], *blue[4], *green[2];
};

/* What turns camera colours (level 1 = saturation) into scene-linear wide-gamut light. */
struct dw_develop {
    float mul[3]; /* white balance times chroma; green about 1 */
    /* Where a channel begins to count as saturated, and 1 / how much further it is so wholly: red
     * and blue in balanced levels, green by its peak. */
    float clip_start[3], clip_scale[3];
    float far;       /* by how many times more than saturation light counts that is lost and ends at
                      * edges: 0: as if it just reached it */
    float lamps;     /* how far such light may be a lamp's, 0 to 1 */
    float white[3];  /* what the picture shows as white, balanced; the largest 1 */
    float pale[3];   /* and a lamp's light that is lost, by day white */
    float matrix[9]; /* balanced camera to wide gamut, times the gain */
};

/* What prepares light for the curves: balance and saturation in one matrix. */
struct dw_prepare {
    float matrix[9];
    float luma[3];  /* luminance of the wide-gamut primaries */
    float norm_max; /* share of the largest channel in the norm; the rest is luminance */
    float own[3];   /* luminance after the matrix, of light before it */
};

/* Pixels to either side where a star's light has ended, and where another has that stood there. */
#define DW_SPOT_SIDE 3
#define DW_SPOT_FAR 5
struct dw_lift {
    /* What is as bright beside itself as well is no star, up to this level and to so many times
     * that of the sky. */
    float floor, most_side;
    float start; /* sigmas of the grain above the sky from which on anything is raised */
    float half;  /* sigmas beyond that at which half of it is; > 0 */
    float known_start, known_half; /* added to these two where a star is known to stand */
    /* square of the sigmas above the sky at which half of a star's colour is its own in the frame;
     * the rest is the tint; and what is added to it where a star is known to stand */
    float pale, known_pale;
    float map_pale;    /* and where its colour is known besides: so far the map's is taken */
    float wide;        /* 1: the map's colour lies as wide as 3x3 pixels, 0: where the light is */
    float vivid;       /* times so much of it is shown, */
    float faint_vivid; /* and more by this where a star adds little to the sky's light: half */
    float stand;       /* where it adds 1 / stand of that */
    float air;         /* share of what a star is to be raised more or less than others */
    float raise_luma;  /* times so much luminance is what is white above the sky */
    float together;    /* how many times less grain the mean of 3x3 pixels has */
    float raise[3];    /* times so much is what is above the sky */
    /* of light above the sky: its red and blue in camera colours, once raised; and what 1 of each
     * is of the picture's colours */
    float red_of[3], blue_of[3], to_red[3], to_blue[3];
    float luma[3]; /* as in dw_prepare */
    float norm_y;  /* share of luminance in the norm; the rest is the largest channel */
};
/* Rows beside the pixels that are lifted. */
struct dw_lift_rows {
    const float *own; /* luminance of the pixels themselves */
    /* Luminance of the sky (> 0), what stars stand out from, one sigma of its grain (> 0), its
     * colour */
    const float *level, *base, *grain, *sky[3];
    const float *known;    /* how far the pixel belongs to a known star, 0..1, */
    const float *tinted;   /* the same where that star's colour is known too, */
    const float *brighter; /* by what share it is to be raised more or less than others, */
    const float *tint[3];  /* and light of the star's colour, of luminance 1 */
    const float *air[2];   /* by what share red and blue light of stars is changed for the air */
    /* Mean luminance by dw_tone_kernels' near, of which DW_SPOT_FAR numbers before and after may be
     * read, and of those DW_SPOT_SIDE and DW_SPOT_FAR above. */
    const float *spot[3];
};

/* The same from pixel x on. */
static inline struct dw_lift_rows dw_lift_rows_from(const struct dw_lift_rows *r, size_t x)
{
    return (struct dw_lift_rows){r->own + x,
                                 r->level + x,
                                 r->base + x,
                                 r->grain + x,
                                 {r->sky[0] + x, r->sky[1] + x, r->sky[2] + x},
                                 r->known + x,
                                 r->tinted + x,
                                 r->brighter + x,
                                 {r->tint[0] + x, r->tint[1] + x, r->tint[2] + x},
                                 {r->air[0] + x, r->air[1] + x},
                                 {r->spot[0] + x, r->spot[1] + x, r->spot[2] + x}};
}

/* One tone curve: z = x * ((x + toe) / (1 + toe))^power * (x + open_to) / (x + open),
 * y = z / (z + pin). */
struct dw_tone {
    float toe, toe_scale; /* toe_scale = 1 / (1 + toe) */
    float power;          /* contrast - 1 */
    float open, open_to;  /* below these shadows are opened, by open_to / open at most */
    float pin;            /* (1 / key - 1) * (1 + open_to) / (1 + open) */
    float hue_share;      /* 1: colour kept wholly, 0: it follows the curve's slope */
};

/* Wide-gamut finished light to the output's primaries, gently into its gamut. */
struct dw_gamut {
    float matrix[9];
    float luma[3]; /* luminance of the wide-gamut primaries; the matrix must keep it */
    float knee;    /* saturation up to which nothing changes, 0..1 */
    float hue;     /* 0: what lies beyond goes straight to grey, 1: at constant hue, which means */
    float to_cones[9], from_cones[9]; /* in cube roots of these: of the output's primaries, white
                                       * to 1, 1, 1, and back */
    float own_luma[3];                /* luminance of the output's primaries */
};

/* A channel at this share of saturation counts as saturated. */
#define DW_LOST_FROM 0.86f

struct dw_mosaic_kernels {
    /* A mosaic row of n cells to its even and odd samples: (sample - black) * scale. */
    void (*split)(const uint16_t *row, size_t n, const float black[2], const float scale[2],
                  float *even, float *odd);
    /* Co-sited cell row; peak is the larger of the cell's two greens. */
    void (*cell)(const struct dw_cell_rows *rows, size_t n, float *r, float *g, float *b,
                 float *peak);
    /* The highest of n samples, n > 0. */
    uint16_t (*highest)(const uint16_t *row, size_t n);
    /* out = the larger of two, the largest of three */
    void (*larger)(const float *a, const float *b, size_t n, float *out);
    void (*largest)(const float *a, const float *b, const float *c, size_t n, float *out);
    /* out += weight * in */
    void (*accumulate)(const float *in, size_t n, float weight, float *out);
    /* out = weight * in */
    void (*scale)(const float *in, size_t n, float weight, float *out);
    /* out = sum of six rows by their weights, but not below the least of the six */
    void (*between)(const float *const in[6], size_t n, const float weight[6], float *out);
};

struct dw_develop_kernels {
    /* In place; see struct dw_develop. around: balanced colours of the light about each pixel, from
     * which what is saturated is rebuilt, none 0; how much of it ends at edges, 0 to 1; and how
     * near light beside it comes to losing all three channels, 0 where nothing is saturated. NULL:
     * neutral, no edges, and nothing beside. */
    void (*develop)(const struct dw_develop *d, const float *peak, const float *const around[5],
                    size_t n, float *r, float *g, float *b);
    /* Adds what n saturated pixels see in others near them: how far an edge, how far light that
     * falls off, where that is not saturated; and dark, the most of an edge that is not. a, b:
     * three channels each, `apart` floats from each other, 1 = saturation. */
    void (*rims)(const float *a, const float *b, size_t apart, size_t n, float *edge, float *smooth,
                 float *dark);
};

struct dw_tone_kernels {
    /* In place: whatever is no number becomes 0, whatever is beyond 1e6 keys becomes 1e6. The other
     * kernels take such numbers only. */
    void (*tame)(size_t n, float *v);
    /* In place: balance and saturation; fills luminance, but no less than 0. */
    void (*level)(const struct dw_prepare *p, size_t n, float *r, float *g, float *b, float *luma);
    /* Balance and saturation of a row of red, green and blue light, which come out as luminance and
     * how much more than that red and blue are. The kernels of
     * lift and gamut take light so. */
    void (*split)(const struct dw_prepare *p, const float *const light[3], size_t n, float *red,
                  float *luma, float *blue);
    /* The same, and the norm (never negative, as a channel may be). */
    void (*prepare)(const struct dw_prepare *p, const float *const light[3], size_t n, float *red,
                    float *luma, float *blue, float *norm);
    /* One curve: every channel of a pixel of this norm is to become add + mul * channel; mul takes
     * the norm's place. */
    void (*curve)(const struct dw_tone *t, size_t n, float *norm, float *add);
    /* The same with a share `day` of one curve and 1 - day of another; both must have one toe. */
    void (*mix)(const struct dw_tone *day_tone, const struct dw_tone *night_tone, float day,
                size_t n, float *norm, float *add);
};

/* What stands for the sky about each tile. */
struct dw_sky_kernels {
    /* Of each column the value of rank k (from 0) of n, none of which may be less than 0; v: n rows
     * of so many columns, a multiple of 16. */
    void (*rank)(const float *v, size_t columns, size_t n, const int32_t *k, float *out);
    /* In each column the sums of those of the first's n values that lie within `most` of the
     * middle, and of the others' beside them. */
    void (*within)(const float *const v[4], size_t columns, size_t n, const float *middle,
                   const float *most, float *const sum[4]);
};

struct dw_lift_kernels {
    /* The mean of 3x3 pixels about each of a row. Weights both ways: smooth 1: 1-2-1, 0: the pixel
     * alone. up, mid, down: red, luma and blue of three rows, of which n + 2 pixels from the one
     * before the first may be read. */
    void (*near)(float smooth, const float *const up[3], const float *const mid[3],
                 const float *const down[3], size_t n, float *red, float *luma, float *blue);
    /* From means of red and blue, as near makes them, to colours and norm, with what stands out of
     * the sky raised. */
    void (*lift)(const struct dw_lift *l, const struct dw_lift_rows *rows,
                 const float *const mean[2], size_t n, float *red, float *luma, float *blue,
                 float *norm);
};

struct dw_gamut_kernels {
    /* In place: what a curve says (see there), and then red, luma and blue to the output's
     * primaries r, g and b, all within 0..1. add is work space from then on. */
    void (*finish)(const struct dw_gamut *p, const float *mul, float *add, size_t n, float *r,
                   float *g, float *b);
};

struct dw_encode_kernels {
    /* In place: the sRGB curve (IEC 61966-2-1), for 0..1. */
    void (*srgb)(size_t n, float *v);
    /* From light of 0..1 to interleaved 8 bit by the sRGB curve, with dither of half a code either
     * way from (x, seed). */
    void (*pack8)(const float *r, const float *g, const float *b, size_t n, uint32_t seed,
                  uint8_t *out);
    /* From codes of 0..1. */
    void (*pack16)(const float *r, const float *g, const float *b, size_t n, uint16_t *out);
    /* To interleaved half floats (IEEE 754 binary16) of scale * light, rounded to the nearest, ties
     * to even; beyond the largest half: that one. Light must be tame. */
    void (*pack_half)(const float *r, const float *g, const float *b, size_t n, float scale,
                      uint16_t *out);
    /* out[i] = from + i * slope */
    void (*ramp)(float from, float slope, size_t n, float *out);
};

#define DW_SETTLE_FARTHEST 8
/* One step of smoothing within the noise (see ../noise.h). Y is luminance, U = R - Y, V = B - Y. */
struct dw_settle {
    int step;           /* distance of the neighbours, columns; DW_SETTLE_FARTHEST at most */
    float floor, slope; /* variance of the difference of two Y: floor + slope * their sum */
    float of_u, of_v;   /* 1 / variance of U and V, in variances of Y */
    float luma_limit, chroma_limit; /* 1 / square of the sigmas from which on nothing is traded */
    float luma_trade, chroma_trade; /* share traded with each neighbour */
};
/* Y, U, V of the row and of those above and below it; mid may be read `step` samples beyond its
 * ends. */
struct dw_settle_rows {
    const float *up[3], *mid[3], *down[3];
};
struct dw_noise_kernels {
    /* In place: r, g, b to U, Y, V. */
    void (*split)(const float luma[3], size_t n, float *r, float *g, float *b);
    void (*join)(const float luma[3], const float *y, const float *u, const float *v, size_t n,
                 float *r, float *g, float *b);
    void (*settle)(const struct dw_settle *s, const struct dw_settle_rows *rows, size_t n, float *y,
                   float *u, float *v);
};

struct dw_hold_kernels {
    /* In place: tame light is held by up to 1 + depth where it is bright beside 1 / inverse; in all
     * alike from `most` of these on. See ../hold.h. */
    void (*hold)(const float luma[3], float most, const float *inverse, const float *depth,
                 size_t n, float *r, float *g, float *b);
};

struct dw_kernels {
    const char *name; /* "plain", "wide" or "widest" */
    const struct dw_mosaic_kernels *mosaic;
    const struct dw_develop_kernels *develop;
    const struct dw_tone_kernels *tone;
    const struct dw_sky_kernels *sky;
    const struct dw_lift_kernels *lift;
    const struct dw_gamut_kernels *gamut;
    const struct dw_encode_kernels *encode;
    const struct dw_demosaic_kernels *demosaic;
    const struct dw_noise_kernels *noise;
    const struct dw_hold_kernels *hold;
};

/* How many compilations this machine can run, and each of them, the plainest first; NULL beyond. */
int dw_kernels_count(void);
const struct dw_kernels *dw_kernels_number(int i);
/* The first: the reference. */
const struct dw_kernels *dw_kernels_plain(void);
/* The last: the fastest; plain where there is no other. */
const struct dw_kernels *dw_kernels_best(void);

#endif
