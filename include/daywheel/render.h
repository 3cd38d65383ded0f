/* render.h: stage four. One frame's instruction, the facts and its source mosaics make one
 * finished picture, in two halves: *linear* (mosaic to scene-linear light in the output's
 * geometry; knows levels, matrix, hot pixels, size) and *look* (linear light to a finished
 * picture; knows key, curves and weights). */
#ifndef DAYWHEEL_RENDER_H
#define DAYWHEEL_RENDER_H

#include <daywheel/base.h>
#include <daywheel/decide.h>
#include <daywheel/shot.h>
#include <daywheel/survey.h>

#ifdef __cplusplus
extern "C" {
#endif

enum dw_size_kind { DW_SIZE_HALF, DW_SIZE_FULL, DW_SIZE_FIT };
/* Output size. FIT: the largest picture of the frame's shape inside width x height; never
 * enlarges. HALF: one output pixel per 2x2 mosaic cell (3x3 for X-Trans). */
struct dw_size {
    enum dw_size_kind kind;
    int width, height;
};

enum dw_space { DW_SPACE_SRGB, DW_SPACE_P3, DW_SPACE_REC2020 }; /* all with the sRGB curve */

/* Parameters of the look; docs/method/look.md explains each. */
struct dw_look_params {
    float day_contrast, night_contrast;     /* slope about the key */
    float day_saturation, night_saturation; /* factor on chroma */
    float day_hue_share, night_hue_share;   /* 1: colour kept, 0: it follows the curve's slope */
    float toe; /* keys; below it both curves straighten: the higher, the more open are shadows */
    float toe_rise;     /* how much higher, in stops for each stop that the frame's key is lower */
    float open;         /* by so much of itself deep shadow is opened in a dark picture, */
    float open_below;   /* and by half of that at so many keys */
    float night_chroma; /* 1: under the stars colour is smoothed over 3x3 pixels */
    float star_lift;    /* gain of the star lift: 2^stops - 1 */
    float star_start;   /* sigmas of the sky's grain above it from which on stars are lifted */
    float star_half;    /* sigmas beyond that at which they are by half */
    float known_start;  /* the same two where the shoot's map has a star */
    float known_half;
    float known_pale;  /* the same where the map has a star: the rest has the map's colour of it */
    float star_pale;   /* sigmas above the sky at which half of a star's colour is believed */
    float other_start; /* and sigmas asked for where such a map has none */
    float star_air;    /* air masses beyond one whose reddening is undone at most, and dimming of
                        * stars that the map has; 0: none is */
    float map_pale;    /* sigmas at which half of a star's colour is its own, if the map has one */
    float star_wide;   /* share of the map's colour that lies as wide as 3x3 pixels */
    float star_vivid;  /* times so much of it is shown; and of a star that adds next to nothing */
    float faint_vivid; /* to the sky's light */
    float order;       /* powers of a faint star's light beside that of the prominent ones: how */
    float order_pale;  /* far it is lifted, and of its colour */
};
#define DW_STARS_DEFAULT_STOPS 1.8 /* 2^1.8 - 1 = 2.48 */
#define DW_LOOK_DEFAULTS                                                                           \
    {                                                                                              \
        1.7f, 1.35f, 1.15f, 1.0f, 0.6f, 1.0f, 0.45f, 0.7f, 4.0f, 0.1f, 1.0f, 2.4822022f, 2.5f,     \
            2.0f, 0.5f, 0.7f, 10.0f, 4.0f, 4.0f, 6.0f, 60.0f, 0.7f, 1.2f, 7.0f, 1.4f, 1.0f         \
    }

/* Scene-linear light: planar RGB, linear BT.2020, scene key = 1, upright. */
struct dw_linear {
    int width, height;
    float *plane[3]; /* width*height each; plane[1], plane[2] follow plane[0] in one block */
};

/* A finished picture: interleaved RGB, 8 or 16 bit. */
struct dw_image {
    int width, height, bits; /* 8: px8, 16: px16 */
    bool light;              /* no look: px16 are half floats, linear BT.2020, the key at DW_GREY */
    enum dw_space space;     /* without meaning for light */
    uint8_t *px8;
    uint16_t *px16;
};

/* The output's size in pixels for mosaics of this shape, upright. Fails with DW_ERR_USAGE. */
enum dw_status dw_output_size(int mosaic_width, int mosaic_height, int turn_deg, enum dw_cfa cfa,
                              const struct dw_size *size, int *width, int *height,
                              struct dw_error *err);

/* First half. m: the source's mosaic; adds weight * light into out when `add`, else sets it
 * (allocating its planes when NULL). Deterministic. */
enum dw_status dw_linear_from_mosaic(const struct dw_mosaic *m, const struct dw_levels *levels,
                                     const struct dw_facts *facts, const struct dw_source *source,
                                     const struct dw_size *size, bool add, struct dw_linear *out,
                                     struct dw_error *err);
/* The same from a survey thumbnail (for previews and sheets), at the thumbnail's size. */
enum dw_status dw_linear_from_thumb(const struct dw_thumb *t, const struct dw_measure *measured,
                                    const struct dw_levels *levels, const struct dw_facts *facts,
                                    const struct dw_source *source, struct dw_linear *out,
                                    struct dw_error *err);
void dw_linear_free(struct dw_linear *l);

/* Second half. out->bits and out->space say what is wanted; its pixels are allocated when NULL.
 * 8 bit is dithered by a hash of (x, y, frame number). light is overwritten (work space). */
enum dw_status dw_look(struct dw_linear *light, const struct dw_frame *frame,
                       const struct dw_facts *facts, const struct dw_look_params *params,
                       struct dw_image *out, struct dw_error *err);
void dw_image_free(struct dw_image *image);

/* How a frame is looked at: as its row says, or wholly by one look. A frame's renderings have the
 * same light and the same key, so they can be crossed over by hand. */
enum dw_rendering { DW_MIX, DW_NIGHT, DW_DAY };
#define DW_RENDERINGS 3
/* The frame's row as a rendering sees it: its weights are set, all else stays. */
struct dw_frame dw_frame_as(const struct dw_frame *frame, enum dw_rendering rendering);

/* Where finished pictures of one rendering go. Called from worker threads, concurrently, once a
 * frame, with the row that dw_frame_as gives. */
struct dw_sink {
    enum dw_rendering rendering;
    /* True if this frame need not be made (already there with the same recipe). May be NULL. */
    bool (*have)(void *ctx, const struct dw_frame *frame);
    enum dw_status (*take)(void *ctx, const struct dw_frame *frame, const struct dw_image *image,
                           struct dw_error *err);
    void *ctx;
};

/* Where the scene's key lies in pictures of light: a grey card's reflectance (ISO 2720's 18 %). */
#define DW_GREY 0.18f

struct dw_render_params {
    struct dw_size size;
    int bits;   /* 8 or 16 */
    bool light; /* light as it is instead of a look; bits must be 16, and the only sink DW_MIX */
    enum dw_space space;
    struct dw_look_params look;
    float noise_reduction; /* 0: none, 1: strong; see docs/method/look.md */
    int part, parts;       /* the part-th (from 1) of so many shares of the frames */
};
#define DW_RENDER_DEFAULTS                                                                         \
    {                                                                                              \
        {DW_SIZE_HALF, 0, 0}, 8, false, DW_SPACE_SRGB, DW_LOOK_DEFAULTS, 0.5f, 1, 1                \
    }

/* Renders the decision's frames with run->jobs workers, bytes independent of their number and of
 * what other sinks there are. A frame's sources are read, and its light is reckoned, once for all
 * n_sinks (1 to DW_RENDERINGS, each of another rendering) that do not have it.
 * scratch may be NULL. *made counts the frames of which at least one picture was made. */
enum dw_status dw_render(const struct dw_shots *shots, const struct dw_decision *decision,
                         struct dw_scratch *scratch, const struct dw_render_params *params,
                         const struct dw_run *run, const struct dw_sink *sinks, size_t n_sinks,
                         size_t *made, struct dw_error *err);

#ifdef __cplusplus
}
#endif
#endif
