/* options.h: the one table of options. From it come the command line, the settings file,
 * --help, the manual page and the shell completions, so none of them can tell another story. */
#ifndef DW_CLI_OPTIONS_H
#define DW_CLI_OPTIONS_H

#include "cli/settings.h"

/* Commands, bits. */
enum dw_command_bit { DW_CMD_NONE = 0, DW_CMD_RENDER = 1 << 0, DW_CMD_SURVEY = 1 << 1 };
#define DW_CMD_ALL (DW_CMD_RENDER | DW_CMD_SURVEY)

enum dw_option_kind {
    DW_OPT_FLAG,   /* bool; yes or no in a settings file */
    DW_OPT_COUNT,  /* int, low..high of `range[0]` */
    DW_OPT_REAL,   /* double */
    DW_OPT_CHOICE, /* int, one of `choices` */
    DW_OPT_WORDS,  /* unsigned: bit v for every one of `choices` of value v, comma-separated */
    DW_OPT_TEXT,   /* char * */
    DW_OPT_FOLDER, /* char *, completed as a folder */
    DW_OPT_FILE,   /* char *, completed as a file */
    DW_OPT_PAIR,   /* double[2], each in its own range, followed by has_... if `has` */
    DW_OPT_RISING, /* double[2], the first below the second */
    DW_OPT_OPEN,   /* double[2], the second may be left out: 0 */
    DW_OPT_SIZE,   /* struct dw_size */
    DW_OPT_OFFSET, /* int seconds, written as +HH:MM; range in hours */
    DW_OPT_SHARE,  /* int[2], K/N with 1 <= K <= N */
    DW_OPT_LIST    /* struct dw_strings; each value adds to it: see cli/list.h */
};

enum dw_option_group {
    DW_GROUP_FILES,
    DW_GROUP_SHOOT,
    DW_GROUP_PICTURE,
    DW_GROUP_RUN,
    DW_GROUP_TELL,
    DW_GROUP_COUNT
};

/* What an option is good for beside the command line. */
enum dw_option_use {
    DW_USE_LINE,       /* command line only */
    DW_USE_RUN,        /* settings file too, but it does not change what comes out: not recorded */
    DW_USE_RESULT,     /* settings file too, and recorded in OUT/settings.ini */
    DW_USE_RESULT_TIFF /* the same, and contradicts any format but TIFF */
};

struct dw_range {
    double low, high;
};

struct dw_choice {
    const char *name;
    int value;
};

struct dw_option {
    const char *name; /* long name and key of the settings file */
    char letter;      /* short flag, 0 without */
    enum dw_option_kind kind;
    size_t at, has;      /* where in struct dw_settings; `has` is 0 without a has_... member */
    const char *form;    /* of the argument as shown, e.g. "LAT,LON"; NULL for a flag */
    const char *means;   /* what a value is, for errors: "latitude and longitude in degrees, ..." */
    const char *part[2]; /* names of the parts of pairs, for errors */
    struct dw_range range[2];
    const struct dw_choice *choices; /* ended by a NULL name; also the words of DW_OPT_SIZE */
    const char *example;             /* a value that is right */
    const char *standard;            /* the default in words */
    enum dw_option_group group;
    enum dw_option_use use;
    unsigned commands; /* enum dw_command_bit */
    const char *help;  /* one line */
    const char *more;  /* for the manual page, plain sentences; NULL without */
};

extern const struct dw_option dw_options[];
extern const size_t dw_option_count;
extern const char *const dw_group_title[DW_GROUP_COUNT];

/* Exact name, or NULL: abbreviations are not accepted, since tomorrow's option could change
 * what they mean. */
const struct dw_option *dw_option_named(const char *name, size_t n);
const struct dw_option *dw_option_lettered(char letter);
/* The option that somebody who wrote this name most likely meant, among those of the commands;
 * NULL if none is near. */
const struct dw_option *dw_option_nearest(const char *name, size_t n, unsigned commands);

/* Parses a value and puts it into *s. On DW_ERR_USAGE the error names `where`, the value, what is
 * wrong with it and the range. Other errors: DW_ERR_MEMORY. */
enum dw_status dw_option_set(const struct dw_option *o, const char *where, const char *value,
                             struct dw_settings *s, struct dw_error *err);
/* Empties an option of several values, so that those that follow stand alone. */
void dw_option_clear(const struct dw_option *o, struct dw_settings *s);
/* Writes the value in force, as dw_option_set would read it; false if the option is unset. */
bool dw_option_show(const struct dw_option *o, const struct dw_settings *s, char *out, size_t n);
/* The values that are right, in words: "0 to 1", "tiff or jpeg"; empty if anything goes. */
void dw_option_range_text(const struct dw_option *o, char *out, size_t n);
/* Contradictions between options: DW_ERR_USAGE naming both. `command` is one bit. */
enum dw_status dw_settings_check(const struct dw_settings *s, unsigned command,
                                 struct dw_error *err);

#endif
