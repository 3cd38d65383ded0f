/* options.c: the table. See options.h. */
#include "cli/options.h"

#include "base/text.h"
#include "base/white.h"

#include <string.h>

static const struct dw_choice formats[] = {
    {"jpeg", DW_JPEG}, {"tiff", DW_TIFF}, {"exr", DW_EXR}, {NULL, 0}};
static const struct dw_choice compressions[] = {{"deflate", DW_COMPRESS_DEFLATE},
                                                {"zstd", DW_COMPRESS_ZSTD},
                                                {"none", DW_COMPRESS_NONE},
                                                {NULL, 0}};
static const struct dw_choice spaces[] = {
    {"srgb", DW_SPACE_SRGB}, {"p3", DW_SPACE_P3}, {"rec2020", DW_SPACE_REC2020}, {NULL, 0}};
static const struct dw_choice sizes[] = {{"half", DW_SIZE_HALF}, {"full", DW_SIZE_FULL}, {NULL, 0}};

static const struct dw_choice renderings[] = {{"night", DW_NIGHT}, {"day", DW_DAY}, {NULL, 0}};

#define AT(m) offsetof(struct dw_settings, m)

const char *const dw_group_title[DW_GROUP_COUNT] = {"Files", "The shoot", "The picture", "The run",
                                                    "Messages"};

/* A table reads by its fields, not by a formatter's columns. */
/* clang-format off */
const struct dw_option dw_options[] = {
    {.name = "output", .letter = 'o', .kind = DW_OPT_FOLDER, .at = AT(output), .form = "DIR",
     .means = "a folder", .example = "out", .standard = "none: it must be given",
     .group = DW_GROUP_FILES, .use = DW_USE_RUN, .commands = DW_CMD_ALL,
     .help = "folder for everything that is made; created if need be",
     .more = "One folder belongs to one shoot. Run again with the same folder, only what changed "
             "is made again: a new look does not survey again, an interrupted run goes on where it "
             "stopped. A folder that holds another shoot is refused."},
    {.name = "settings", .kind = DW_OPT_FILE, .at = AT(settings), .form = "FILE",
     .means = "a settings file", .example = "out/settings.ini", .standard = "none",
     .group = DW_GROUP_FILES, .use = DW_USE_LINE, .commands = DW_CMD_ALL,
     .help = "read options from FILE first",
     .more = "Lines of the form NAME = VALUE, where NAME is the long name of an option. What "
             "stands on the command line wins. Every run writes the settings in force to "
             "OUT/settings.ini, which can be read back with this option to repeat the run."},
    {.name = "site", .kind = DW_OPT_PAIR, .at = AT(site), .has = AT(has_site), .form = "LAT,LON",
     .means = "latitude and longitude in degrees, north and east positive",
     .part = {"latitude", "longitude"}, .range = {{-90, 90}, {-180, 360}},
     .example = "46.40,8.10", .standard = "the frames' GPS tags", .group = DW_GROUP_SHOOT,
     .use = DW_USE_RESULT, .commands = DW_CMD_ALL,
     .help = "where the camera stood: degrees, north and east positive",
     .more = "The sun's altitude is reckoned for this place. A tenth of a degree is good enough. "
             "Without this option and without GPS tags in the frames nothing is made."},
    {.name = "utc-offset", .kind = DW_OPT_OFFSET, .at = AT(utc_offset_s),
     .has = AT(has_utc_offset), .form = "±HH:MM",
     .means = "the camera clock's offset from UTC, with its sign", .range = {{-14, 14}},
     .example = "+01:00", .standard = "the frames' offset tag, else judged from the light",
     .group = DW_GROUP_SHOOT, .use = DW_USE_RESULT, .commands = DW_CMD_ALL,
     .help = "how far the camera's clock is ahead of UTC",
     .more = "As the clock was set during the shoot, summer time included. A clock that was not "
             "put on or back during the night keeps one offset."},
    {.name = "only", .kind = DW_OPT_TEXT, .at = AT(only), .form = "MODEL",
     .means = "a camera model as the frames name it", .example = "\"Model Two\"",
     .standard = "all frames must come from one camera", .group = DW_GROUP_SHOOT,
     .use = DW_USE_RESULT, .commands = DW_CMD_ALL,
     .help = "take the frames of this camera model alone",
     .more = "For a folder in which the frames of two cameras lie together."},
    {.name = "exact-marks", .kind = DW_OPT_FLAG, .at = AT(exact_marks), .standard = "no",
     .group = DW_GROUP_SHOOT, .use = DW_USE_RESULT, .commands = DW_CMD_ALL,
     .help = "the camera times its marked shutter speeds exactly",
     .more = "Nearly every camera writes 1/60 s or 30 s and runs for 1/64 s or 32 s. This option "
             "is for one that does not, or for an external timer that is exact."},
    {.name = "drop", .kind = DW_OPT_LIST, .at = AT(drop), .form = "LIST",
     .means = "file names, stretches of local time, or @FILE", .example = "03:10-04:40",
     .standard = "what the program judges", .group = DW_GROUP_SHOOT, .use = DW_USE_RESULT,
     .commands = DW_CMD_ALL, .help = "leave these shots out, whatever the program thinks of them",
     .more = "A shot's file name, with its folder where two cards hold the same one; a stretch of "
             "time by the camera's clock such as 03:10-04:40, with the date, as in "
             "2026-03-28T23:10-01:00, where the shoot spans more than one night; or @FILE, a file "
             "with one of these a line, such as the page report.html saves. Several with commas, "
             "or the option again. A name says more than a time. Stands above the column use of "
             "the ledger, and lasts only as long as it is given."},
    {.name = "keep", .kind = DW_OPT_LIST, .at = AT(keep), .form = "LIST",
     .means = "file names, stretches of local time, or @FILE", .example = "03:10-04:40",
     .standard = "what the program judges", .group = DW_GROUP_SHOOT, .use = DW_USE_RESULT,
     .commands = DW_CMD_ALL, .help = "use these shots, whatever the program thinks of them",
     .more = "Written like the value of drop. A file that cannot be decoded stays out."},
    {.name = "size", .kind = DW_OPT_SIZE, .at = AT(size), .form = "WxH|half|full",
     .means = "a width and a height in pixels, or half, or full", .part = {"width", "height"},
     .range = {{16, 65500}, {16, 65500}}, .choices = sizes, .example = "1920x1280",
     .standard = "half", .group = DW_GROUP_PICTURE, .use = DW_USE_RESULT,
     .commands = DW_CMD_RENDER, .help = "size of the pictures",
     .more = "half makes one pixel of each cell of the sensor's colour mosaic, half its width and "
             "height: sharp, and the fastest. full interpolates every pixel. WxH fits the whole "
             "picture into that box; it is never enlarged."},
    {.name = "format", .kind = DW_OPT_CHOICE, .at = AT(format), .form = "jpeg|tiff|exr",
     .means = "a file format", .choices = formats, .example = "tiff", .standard = "jpeg",
     .group = DW_GROUP_PICTURE, .use = DW_USE_RESULT, .commands = DW_CMD_RENDER,
     .help = "8-bit JPEG, 16-bit TIFF, or scene-linear OpenEXR without any look",
     .more = "JPEG has quality 92. exr is for grading elsewhere: steadied light before any look, as "
             "half floats in linear Rec. 2020, with the scene's key at 0.18 in every frame. Options "
             "of the look do not touch it. Noise is smoothed first: noise-reduction 0 leaves it."},
    {.name = "compression", .kind = DW_OPT_CHOICE, .at = AT(compression),
     .form = "deflate|zstd|none", .means = "a way to compress TIFF files",
     .choices = compressions, .example = "zstd", .standard = "deflate",
     .group = DW_GROUP_PICTURE, .use = DW_USE_RESULT_TIFF, .commands = DW_CMD_RENDER,
     .help = "how TIFF files are compressed; all lossless",
     .more = "Both save about a quarter of the disk. deflate costs half a second for six megapixels; "
             "zstd a tenth, but not every program reads it."},
    {.name = "space", .kind = DW_OPT_CHOICE, .at = AT(space), .form = "srgb|p3|rec2020",
     .means = "a colour space", .choices = spaces, .example = "rec2020", .standard = "srgb",
     .group = DW_GROUP_PICTURE, .use = DW_USE_RESULT_TIFF, .commands = DW_CMD_RENDER,
     .help = "colour space of TIFF files; JPEG files are sRGB",
     .more = "p3 and rec2020 keep stronger colours of a sunset for grading. All three have the "
             "sRGB tone curve and carry their profile."},
    {.name = "twilight", .kind = DW_OPT_RISING, .at = AT(twilight), .form = "NIGHT,DAY",
     .means = "two altitudes of the sun in degrees, the lower one first", .part = {"NIGHT", "DAY"},
     .range = {{-90, 90}, {-90, 90}}, .example = "-12,-3", .standard = "-12,-3",
     .group = DW_GROUP_PICTURE, .use = DW_USE_RESULT, .commands = DW_CMD_ALL,
     .help = "sun altitudes between which the night look becomes the day look",
     .more = "At or below NIGHT a frame is rendered for the stars alone, at or above DAY for "
             "daylight alone; between them the two are mixed smoothly. -12 is the end of nautical "
             "twilight, -18 that of astronomical twilight."},
    {.name = "also", .kind = DW_OPT_WORDS, .at = AT(also), .form = "night,day|none",
     .means = "one or more renderings, separated by commas", .choices = renderings,
     .example = "night,day", .standard = "none", .group = DW_GROUP_PICTURE,
     .use = DW_USE_RESULT, .commands = DW_CMD_RENDER,
     .help = "whole sequences of the clean night or day look beside the mixed one",
     .more = "For cutting by hand. They go to OUT/frames-night and OUT/frames-day, with the same "
             "numbers and from the same decoding. All three show a frame at the same brightness, so "
             "that any two can be crossed over at any place of your own."},
    {.name = "steady", .kind = DW_OPT_REAL, .at = AT(steady), .form = "SHARE",
     .means = "a share", .range = {{0, 1}}, .example = "0.5", .standard = "0.5",
     .group = DW_GROUP_PICTURE, .use = DW_USE_RESULT, .commands = DW_CMD_ALL,
     .help = "how much of real quick changes of light is calmed, 0 to 1",
     .more = "A cloud before the sun is a real change: 0 leaves it, 1 evens out all that is faster "
             "than about an hour. Errors of exposure always go entirely."},
    {.name = "fps", .kind = DW_OPT_REAL, .at = AT(fps), .form = "RATE",
     .means = "frames a second", .range = {{1, 1000}}, .example = "30", .standard = "30",
     .group = DW_GROUP_PICTURE, .use = DW_USE_RESULT, .commands = DW_CMD_ALL,
     .help = "frames a second at which the sequence will be shown",
     .more = "Changes no picture. It says for which rate the flicker that is left is compared with "
             "what the eye can see, in the last lines of a run and in summary.json."},
    {.name = "stars", .kind = DW_OPT_REAL, .at = AT(stars), .form = "STOPS",
     .means = "a number of stops", .range = {{0, 4}}, .example = "1.8", .standard = "1.8",
     .group = DW_GROUP_PICTURE, .use = DW_USE_RESULT, .commands = DW_CMD_RENDER,
     .help = "how far stars are lifted above the night sky",
     .more = "In stops of their light beyond that of the sky around them; 0 leaves them as they "
             "were shot. The sky itself, the ground and the twilight stay as they are."},
    {.name = "noise-reduction", .kind = DW_OPT_REAL, .at = AT(noise), .form = "SHARE",
     .means = "a share", .range = {{0, 1}}, .example = "0.5", .standard = "0.5",
     .group = DW_GROUP_PICTURE, .use = DW_USE_RESULT, .commands = DW_CMD_RENDER,
     .help = "how much of the sensor's noise is smoothed, 0 to 1",
     .more = "Speckles of colour go first; brightness is smoothed only gently, and nothing that "
             "stands out of the noise is touched: stars keep their light and edges their place. "
             "Where there is hardly any noise, as by day, nothing is done. 0 does nothing at all."},
    {.name = "white", .kind = DW_OPT_OPEN, .at = AT(white), .has = AT(has_white),
     .form = "KELVIN[,TINT]",
     .means = "the colour temperature of a light, and how much greener it is in thousandths of Duv",
     .part = {"KELVIN", "TINT"},
     .range = {{DW_WHITE_LEAST_K, DW_WHITE_MOST_K}, {-DW_WHITE_MOST_TINT, DW_WHITE_MOST_TINT}},
     .example = "4800", .standard = "daylight, 6504 (D65)", .group = DW_GROUP_PICTURE,
     .use = DW_USE_RESULT, .commands = DW_CMD_ALL,
     .help = "the light that is to look white, for the whole shoot",
     .more = "Names the light, not the picture: 3000 makes lamplight white and daylight blue, 8000 "
             "makes shade white and all else warmer. From 4000 K on it is daylight of that "
             "temperature, up to 3500 K a glowing lamp. TINT says how far the light lies beside "
             "those, in thousandths of Duv (ANSI C78.377): positive for a greener light, as of "
             "fluorescent lamps, and negative for a pinker one; 0 if left out. One white holds "
             "from the first frame to the last, so that an evening keeps its colours."},
    {.name = "preview", .kind = DW_OPT_COUNT, .at = AT(preview), .form = "N",
     .means = "a number of frames", .range = {{2, 60}}, .example = "12", .standard = "off",
     .group = DW_GROUP_RUN, .use = DW_USE_RUN, .commands = DW_CMD_RENDER,
     .help = "only show N small frames, spread over the sun's altitudes",
     .more = "Writes one sheet, OUT/preview.jpg, within seconds, so that a look can be judged "
             "before the long run: night look, day look and their mix, one under the other. Where "
             "OUT holds a survey, they are what the run would make. Nothing else in OUT is touched."},
    {.name = "jobs", .letter = 'j', .kind = DW_OPT_COUNT, .at = AT(jobs), .form = "N",
     .means = "a number of workers", .range = {{1, 256}}, .example = "4",
     .standard = "one for each core", .group = DW_GROUP_RUN, .use = DW_USE_RUN,
     .commands = DW_CMD_ALL, .help = "work on N frames at a time",
     .more = "The pictures do not depend on it, to the last byte."},
    {.name = "part", .kind = DW_OPT_SHARE, .at = AT(part), .form = "K/N",
     .means = "which share of how many, such as 2/3", .part = {"K", "N"},
     .range = {{1, 1000}, {1, 1000}}, .example = "1/2", .standard = "1/1",
     .group = DW_GROUP_RUN, .use = DW_USE_RUN, .commands = DW_CMD_RENDER,
     .help = "make only the Kth of N shares of the frames",
     .more = "For several machines: give each the same command and its own K. Together the "
             "shares are the whole, to the last byte."},
    {.name = "scratch", .kind = DW_OPT_FOLDER, .at = AT(scratch), .form = "DIR|off",
     .means = "a folder, or off", .example = "/tmp/scratch",
     .standard = "OUT/scratch, as far as there is room", .group = DW_GROUP_RUN,
     .use = DW_USE_RUN, .commands = DW_CMD_ALL,
     .help = "where packed sensor data waits between survey and rendering",
     .more = "So that no RAW file is decoded twice; about half the size of the RAW files. It is "
             "removed at the end, and with off the files are decoded again instead. The pictures "
             "are the same."},
    {.name = "keep-scratch", .kind = DW_OPT_FLAG, .at = AT(keep_scratch), .standard = "no",
     .group = DW_GROUP_RUN, .use = DW_USE_RUN, .commands = DW_CMD_ALL,
     .help = "leave the scratch where it is at the end",
     .more = "A later run with another look is then much faster. `survey` keeps a scratch only "
             "with this option."},
    {.name = "quiet", .letter = 'q', .kind = DW_OPT_FLAG, .at = AT(quiet), .standard = "no",
     .group = DW_GROUP_TELL, .use = DW_USE_RUN, .commands = DW_CMD_ALL,
     .help = "say nothing but warnings and errors"},
    {.name = "verbose", .letter = 'v', .kind = DW_OPT_FLAG, .at = AT(verbose), .standard = "no",
     .group = DW_GROUP_TELL, .use = DW_USE_RUN, .commands = DW_CMD_ALL,
     .help = "say what is found, and when each stage begins and ends"},
    {.name = "help", .letter = 'h', .kind = DW_OPT_FLAG, .at = AT(help), .standard = "no",
     .group = DW_GROUP_TELL, .use = DW_USE_LINE, .commands = DW_CMD_ALL,
     .help = "show this help"},
    {.name = "version", .letter = 'V', .kind = DW_OPT_FLAG, .at = AT(version), .standard = "no",
     .group = DW_GROUP_TELL, .use = DW_USE_LINE, .commands = DW_CMD_ALL,
     .help = "show the versions of daywheel and its libraries"},
};
/* clang-format on */
const size_t dw_option_count = sizeof dw_options / sizeof dw_options[0];

const struct dw_option *dw_option_named(const char *name, size_t n)
{
    for (size_t i = 0; i < dw_option_count; i++)
        if (strlen(dw_options[i].name) == n && memcmp(dw_options[i].name, name, n) == 0)
            return &dw_options[i];
    return NULL;
}

const struct dw_option *dw_option_lettered(char letter)
{
    for (size_t i = 0; letter != 0 && i < dw_option_count; i++)
        if (dw_options[i].letter == letter)
            return &dw_options[i];
    return NULL;
}

const struct dw_option *dw_option_nearest(const char *name, size_t n, unsigned commands)
{
    char written[64];
    if (n == 0 || n >= sizeof written)
        return NULL;
    memcpy(written, name, n);
    written[n] = '\0';
    const struct dw_option *best = NULL;
    int best_distance = n < 6 ? 2 : (int)n / 3; /* farther is another word */
    for (size_t i = 0; i < dw_option_count; i++) {
        const struct dw_option *o = &dw_options[i];
        if ((o->commands & commands) == 0)
            continue;
        int d = dw_text_distance(written, o->name);
        bool begins = n >= 3 && strncmp(o->name, written, n) == 0; /* an abbreviation */
        if (begins)
            d = d < best_distance ? d : best_distance;
        if (d < best_distance || (d == best_distance && !best)) {
            best_distance = d;
            best = o;
        }
    }
    return best;
}
