/* output.h: stage five. Finished pictures and documents become files, which appear under their
 * final names only when whole. */
#ifndef DAYWHEEL_OUTPUT_H
#define DAYWHEEL_OUTPUT_H

#include <daywheel/base.h>
#include <daywheel/decide.h>
#include <daywheel/render.h>
#include <daywheel/shot.h>
#include <daywheel/survey.h>

#ifdef __cplusplus
extern "C" {
#endif

enum dw_format { DW_JPEG, DW_TIFF, DW_EXR };
#define DW_FORMATS 3
enum dw_compression {
    DW_COMPRESS_DEFAULT,
    DW_COMPRESS_NONE,
    DW_COMPRESS_DEFLATE,
    DW_COMPRESS_ZSTD
};

struct dw_writer_params {
    const char *dir; /* OUT/frames; created */
    enum dw_rendering rendering;
    enum dw_format format;
    enum dw_compression compression; /* TIFF only; default: deflate level 1 */
    int jpeg_quality;
};
#define DW_WRITER_DEFAULTS                                                                         \
    {                                                                                              \
        NULL, DW_MIX, DW_JPEG, DW_COMPRESS_DEFAULT, 92                                             \
    }

/* The folder of a rendering's sequence within OUT: "frames", "frames-night", "frames-day". */
const char *dw_frames_folder(enum dw_rendering rendering);

/* A sink for one rendering that writes DIR/frame-00001.jpg|tif|exr with embedded ICC profile, Exif
 * date and source name. A frame's recipe (its row, the facts, the look, size and format, hashed)
 * stands in Exif ImageUniqueID; frames already there with the same recipe are not made again. */
struct dw_writer;
enum dw_status dw_writer_new(const struct dw_writer_params *params,
                             const struct dw_render_params *render, const struct dw_shots *shots,
                             const struct dw_decision *decision, struct dw_writer **out,
                             struct dw_error *err);
struct dw_sink dw_writer_sink(struct dw_writer *w);
/* Removes what earlier runs left behind: temporaries of killed ones, and frames (of any
 * format) numbered beyond the decision's last, if they carry a recipe of ours. */
/* Frames of ours in another format, within the decision's numbers, are a person's to keep or not:
 * gives how many there are. */
size_t dw_writer_tidy(struct dw_writer *w);
void dw_writer_free(struct dw_writer *w);

/* Documents; see docs/formats.md for every column and field. `dir` is OUT; it is made if missing.
 * Errors: DW_ERR_IO, DW_ERR_FULL, DW_ERR_MEMORY. */

/* ledger.csv and judgement.csv. edited: what dw_read_words gave before this decision; asked: what
 * options of this run said, which stand above it; either may be NULL. They tell an edited `use`,
 * which lasts until it is edited back, from one that lasts only as long as its option is given. */
enum dw_status dw_write_ledger(const char *dir, const struct dw_shots *shots,
                               const struct dw_decision *d, const enum dw_word *edited,
                               const enum dw_word *asked, struct dw_error *err);
enum dw_status dw_write_frames(const char *dir, const struct dw_shots *shots,
                               const struct dw_decision *d, struct dw_error *err);
enum dw_status dw_write_facts(const char *dir, const struct dw_decision *d, struct dw_error *err);
enum dw_status dw_write_summary(const char *dir, const struct dw_decision *d, struct dw_error *err);

/* Read facts.json and frames.csv back, every number as it was written. The shots must be those
 * that the documents were made for. Free with dw_facts_free and free.
 * Errors: DW_ERR_EMPTY or DW_ERR_IO (not there), DW_ERR_FORMAT (edited, cut), DW_ERR_MIXED (made
 * for other shots), DW_ERR_MEMORY. */
enum dw_status dw_read_facts(const char *dir, struct dw_facts *facts, struct dw_error *err);
enum dw_status dw_read_frames(const char *dir, const struct dw_shots *shots,
                              struct dw_frame **frame, size_t *n, struct dw_error *err);

/* Reads the `use` column of an existing ledger that a person may have edited. word: one per
 * shot, DW_WORD_DROP where `no` stands for a shot that the program itself would use, DW_WORD_USE
 * where `yes` stands for one it would not. Rows may be in any order; a file name that stands
 * twice (two cards) is told apart by its time. DW_OK also without a ledger; DW_WARN (with a text)
 * when judgement.csv is gone, so that every `use` is taken as a person's word.
 * Errors: DW_ERR_FORMAT (names file, line, found, expected), DW_ERR_IO, DW_ERR_MEMORY. */
enum dw_status dw_read_words(const char *dir, const struct dw_shots *shots, enum dw_word *word,
                             struct dw_error *err);

/* A setting in force, as the report tells it. */
struct dw_report_setting {
    const char *name, *value, *help;
    bool standard; /* the default, which nobody chose */
};
struct dw_report_params {
    const struct dw_look_params *look; /* how the pictures are to look; NULL: the default */
    const struct dw_report_setting *setting;
    size_t n_settings;
    const struct dw_run *run; /* NULL: one worker */
};

/* The contact sheets: the problem frames, OUT/sheet-1.jpg ... (*pages is 0 without faults), the
 * whole shoot, OUT/whole-1.jpg ..., and all together for print, OUT/sheets.pdf. */
enum dw_status dw_write_sheets(const char *dir, const struct dw_shots *shots,
                               const struct dw_survey *survey, const struct dw_decision *d,
                               const struct dw_report_params *params, int *pages,
                               struct dw_error *err);
/* OUT/report.html: the whole shoot on one page that needs nothing beside it: pictures, sky, faults
 * with pictures, light, flicker, exposures, advice, settings, and all shots to be marked and left
 * out. Errors: DW_ERR_USAGE (times or site that ephemerides do not cover), DW_ERR_MEMORY,
 * DW_ERR_IO, DW_ERR_FULL, DW_ERR_INTERRUPTED. */
enum dw_status dw_write_report(const char *dir, const struct dw_shots *shots,
                               const struct dw_survey *survey, const struct dw_decision *d,
                               const struct dw_report_params *params, struct dw_error *err);
/* The preview's sheet: columns beside each other, in each the renderings of one frame, night, day
 * and mix, one under the other; as many rows of columns as need be. One JPEG file. Every column has
 * all DW_RENDERINGS pictures. Texts are one line each. DW_WARN: the machine has no fonts. Errors:
 * DW_ERR_EMPTY (no column), DW_ERR_USAGE (a picture is missing), DW_ERR_IO, _FULL, _MEMORY. */
struct dw_strip_column {
    struct dw_image image[DW_RENDERINGS]; /* by enum dw_rendering */
    char altitude[24], when[32];          /* above: the sun's altitude, local time */
    char name[64], weight[24];            /* below: the shot, what the mix is made of */
};
enum dw_status dw_write_strip(const char *path, const char *title, const char *note,
                              const struct dw_strip_column *column, size_t n, struct dw_error *err);

/* Holds an output folder for this process until released (flock). DW_ERR_BUSY names the holder's
 * process number. */
struct dw_lock;
enum dw_status dw_lock_folder(const char *dir, struct dw_lock **out, struct dw_error *err);
void dw_unlock_folder(struct dw_lock *lock);

#ifdef __cplusplus
}
#endif
#endif
