/* test_options.c: the option table and everything that is read or written through it.
 * What is right here is set by daywheel's own documents, by the GNU conventions for command lines
 * (GNU Coding Standards, section 4.8; glibc manual, "Program Argument Syntax Conventions") and by
 * POSIX.1-2017 base definitions, section 12.2. */
#include "check_main.h"

#include "base/atomic_file.h"
#include "base/buffers.h"
#include "cli/commands.h"
#include "cli/documents.h"
#include "cli/help.h"
#include "cli/settings_file.h"
#include "cli/terminal.h"

#include <stdio.h>
#include <string.h>
#include <unistd.h>

static struct dw_settings settings;
static struct dw_error error;
static const char **inputs;
static size_t n_inputs;

/* Reads a line of words separated by single blanks, as a shell without quotes would give it. */
static enum dw_status read_line(unsigned command, const char *line)
{
    static char copy[500];
    char *word[40];
    int n = 0;
    snprintf(copy, sizeof copy, "%s", line);
    for (char *c = copy; c && *c && n < 40;) {
        word[n++] = c;
        c = strchr(c, ' ');
        if (c)
            *c++ = '\0';
    }
    memset(&error, 0, sizeof error);
    free(inputs);
    inputs = NULL;
    dw_settings_free(&settings);
    return dw_arguments_read(n, word, command, &settings, &inputs, &n_inputs, &error);
}

static enum dw_status render(const char *line)
{
    return read_line(DW_CMD_RENDER, line);
}

static void assert_refused(const char *line, const char *const *said)
{
    ck_assert_msg(render(line) == DW_ERR_USAGE, "%s was not refused", line);
    for (; *said; said++)
        ck_assert_msg(strstr(error.text, *said), "'%s' does not name '%s'", error.text, *said);
}
#define REFUSED(line, ...) assert_refused(line, (const char *const[]){__VA_ARGS__, NULL})

static void setup(void)
{
    memset(&settings, 0, sizeof settings);
    inputs = NULL;
}

static void teardown(void)
{
    dw_settings_free(&settings);
    free(inputs);
}

START_TEST(table_is_sound)
{
    for (size_t i = 0; i < dw_option_count; i++) {
        const struct dw_option *o = &dw_options[i];
        ck_assert_ptr_eq(dw_option_named(o->name, strlen(o->name)), o); /* no name twice */
        if (o->letter)
            ck_assert_ptr_eq(dw_option_lettered(o->letter), o);
        ck_assert(o->help && o->standard && o->commands != 0);
        ck_assert(strlen(o->help) < 75 && o->help[strlen(o->help) - 1] != '.');
        ck_assert_msg((o->kind == DW_OPT_FLAG) == (o->form == NULL), "%s", o->name);
        ck_assert_msg(o->kind == DW_OPT_FLAG || (o->means && o->example), "%s", o->name);
    }
}
END_TEST

START_TEST(examples_and_defaults_are_accepted)
{
    for (size_t i = 0; i < dw_option_count; i++) {
        const struct dw_option *o = &dw_options[i];
        struct dw_settings s, standard;
        char shown[100], again[100];
        if (o->kind == DW_OPT_FLAG)
            continue;
        dw_settings_default(&s);
        dw_settings_default(&standard);
        ck_assert_msg(dw_option_set(o, o->name, o->example, &s, &error) == DW_OK, "%s", error.text);
        ck_assert(dw_option_show(o, &s, shown, sizeof shown));
        ck_assert(dw_option_set(o, o->name, shown, &s, &error) == DW_OK);
        ck_assert(dw_option_show(o, &s, again, sizeof again));
        ck_assert_str_eq(shown, again);
        /* a default that is a value says so in the table's own words */
        if (dw_option_show(o, &standard, shown, sizeof shown))
            ck_assert_str_eq(shown, o->standard);
        dw_settings_free(&s);
    }
}
END_TEST

START_TEST(renderings_are_words_in_any_order)
{
    ck_assert_int_eq(render("shots -o out"), DW_OK);
    ck_assert_uint_eq(settings.also, 0);
    ck_assert_int_eq(render("shots -o out --also day,night"), DW_OK);
    ck_assert_uint_eq(settings.also, 1u << DW_DAY | 1u << DW_NIGHT);
    ck_assert_int_eq(render("shots -o out --also night"), DW_OK);
    ck_assert_uint_eq(settings.also, 1u << DW_NIGHT);
    ck_assert_int_eq(render("shots -o out --also night --also none"), DW_OK);
    ck_assert_uint_eq(settings.also, 0);
    REFUSED("shots -o out --also dusk", "--also", "'dusk'", "night and day");
    REFUSED("shots -o out --also night,", "--also", "night,day");
    REFUSED("shots -o out --also night,,day", "--also");
    REFUSED("shots -o out --also night,none", "--also");
    REFUSED("shots -o out --also day,day", "day stands twice");
}
END_TEST

START_TEST(every_example_of_the_help_can_be_read)
{
    if (access("out/settings.ini", R_OK) != 0) { /* one example reads what a run has left */
        ck_assert(dw_make_folder("out", &error) == DW_OK);
        ck_assert(dw_write_whole("out/settings.ini", "", 0, false, &error) == DW_OK);
    }
    for (size_t i = 0; i < dw_command_count; i++) {
        for (const struct dw_example *e = dw_commands[i].examples; e->line; e++) {
            char line[300];
            ck_assert(strncmp(e->line, dw_commands[i].name, strlen(dw_commands[i].name)) == 0);
            snprintf(line, sizeof line, "%s", e->line + strlen(dw_commands[i].name) + 1);
            char *redirection = strstr(line, " <");
            if (redirection)
                *redirection = '\0';
            ck_assert_msg(read_line((unsigned)dw_commands[i].bit, line) == DW_OK, "%s: %s", e->line,
                          error.text);
        }
    }
    unlink("out/settings.ini");
    rmdir("out");
}
END_TEST

START_TEST(spellings_after_the_gnu_conventions)
{
    ck_assert(render("a -o out --steady 0.25 b --jobs=3 -") == DW_OK);
    ck_assert_uint_eq(n_inputs, 3);
    ck_assert_str_eq(inputs[1], "b");
    ck_assert_str_eq(inputs[2], "-");
    ck_assert_double_eq(settings.steady, 0.25);
    ck_assert_int_eq(settings.jobs, 3);

    ck_assert(render("-vj2 -oout a") == DW_OK); /* clustered, value joined on */
    ck_assert(settings.verbose);
    ck_assert_int_eq(settings.jobs, 2);
    ck_assert_str_eq(settings.output, "out");

    ck_assert(render("-o out -- --steady -q") == DW_OK); /* -- ends the options */
    ck_assert_uint_eq(n_inputs, 2);
    ck_assert_str_eq(inputs[0], "--steady");
    ck_assert(!settings.quiet);

    ck_assert(render("a -o out --steady 0.1 --steady 0.9") == DW_OK); /* the last one counts */
    ck_assert_double_eq(settings.steady, 0.9);

    ck_assert(render("a -o out --site -33.9,18.4 --twilight -15,-4") == DW_OK);
    ck_assert_double_eq(settings.site[0], -33.9);
    ck_assert_double_eq(settings.twilight[0], -15);

    ck_assert(render("a -o out --keep-scratch --keep-scratch=no") == DW_OK);
    ck_assert(!settings.keep_scratch);
}
END_TEST

START_TEST(values_are_read)
{
    ck_assert(render("a -o out --utc-offset -03:30") == DW_OK);
    ck_assert_int_eq(settings.utc_offset_s, -(3 * 60 + 30) * 60);
    ck_assert(render("a -o out --utc-offset +14:00") == DW_OK);
    ck_assert_int_eq(settings.utc_offset_s, 14 * 3600);
    ck_assert(render("a -o out --size 1920x1080") == DW_OK);
    ck_assert(settings.size.kind == DW_SIZE_FIT);
    ck_assert_int_eq(settings.size.width, 1920);
    ck_assert_int_eq(settings.size.height, 1080);
    ck_assert(render("a -o out --size full") == DW_OK);
    ck_assert(settings.size.kind == DW_SIZE_FULL);
    ck_assert(render("a -o out --format TIFF --space rec2020 --compression none") == DW_OK);
    ck_assert_int_eq(settings.format, DW_TIFF);
    ck_assert_int_eq(settings.space, DW_SPACE_REC2020);
    ck_assert_int_eq(settings.compression, DW_COMPRESS_NONE);
    ck_assert(render("a -o out --part 3/7") == DW_OK);
    ck_assert_int_eq(settings.part[0], 3);
    ck_assert_int_eq(settings.part[1], 7);
    ck_assert(render("a -o out --site 90,360") == DW_OK);
    ck_assert(render("a -o out --steady 1") == DW_OK);
    ck_assert_double_eq(settings.stars, 1.8);
    ck_assert_double_eq(settings.noise, 0.5);
    ck_assert(render("a -o out --stars 0 --noise-reduction 1") == DW_OK);
    ck_assert_double_eq(settings.stars, 0);
    ck_assert_double_eq(settings.noise, 1);
    ck_assert(render("a -o out") == DW_OK);
    ck_assert(!settings.has_white);
    ck_assert(render("a -o out --white 3200") == DW_OK);
    ck_assert(settings.has_white);
    ck_assert_double_eq(settings.white[0], 3200);
    ck_assert_double_eq(settings.white[1], 0);
    ck_assert(render("a -o out --white 4100,-7.5") == DW_OK);
    ck_assert_double_eq(settings.white[1], -7.5);
    ck_assert(render("a -o out --steady 1e-1") == DW_OK);
}
END_TEST

START_TEST(values_outside_their_range_are_named)
{
    REFUSED("a -o out --site 95,8", "--site '95,8'", "latitude 95", "-90 to 90", "such as");
    REFUSED("a -o out --site 46,400", "longitude 400", "-180 to 360");
    REFUSED("a -o out --site 46", "--site '46'", "latitude -90 to 90");
    REFUSED("a -o out --site 46,4,8,1", "--site '46,4,8,1'");
    REFUSED("a -o out --site nan,8", "--site 'nan,8'");
    REFUSED("a -o out --site 0x20,8", "--site '0x20,8'");
    REFUSED("a -o out --utc-offset +26:00", "--utc-offset '+26:00'", "-14:00 to +14:00");
    REFUSED("a -o out --utc-offset 02:00", "with its sign", "such as +01:00");
    REFUSED("a -o out --utc-offset +2", "--utc-offset '+2'");
    REFUSED("a -o out --utc-offset +02:61", "no minute 61");
    REFUSED("a -o out --utc-offset +1:000", "--utc-offset");
    REFUSED("a -o out --size 0x0", "--size '0x0'", "width 0", "16 to 65500");
    REFUSED("a -o out --size 0x10x16", "--size '0x10x16'");
    REFUSED("a -o out --size 1920", "--size '1920'", "width 16 to 65500");
    REFUSED("a -o out --size 100000x100", "width 100000");
    REFUSED("a -o out --size quarter", "half, or full");
    REFUSED("a -o out --twilight -3,-12", "--twilight '-3,-12'", "did you mean -12,-3");
    REFUSED("a -o out --twilight -5,-5", "room between");
    REFUSED("a -o out --twilight -120,0", "NIGHT -120", "-90 to 90");
    REFUSED("a -o out --stars -1", "--stars '-1'", "0 to 4");
    REFUSED("a -o out --noise-reduction 2", "0 to 1");
    REFUSED("a -o out --white 900", "--white '900'", "KELVIN 900", "1500 to 25000");
    REFUSED("a -o out --white 5000,80", "TINT 80", "-50 to 50");
    REFUSED("a -o out --white 5000,", "--white '5000,'");
    REFUSED("a -o out --white 5000,1,2", "--white '5000,1,2'");
    REFUSED("a -o out --white day", "colour temperature");
    REFUSED("a -o out --steady 1.5", "--steady '1.5'", "0 to 1");
    REFUSED("a -o out --steady half", "--steady 'half'", "0 to 1");
    REFUSED("a -o out --jobs 0", "--jobs '0'", "1 to 256");
    REFUSED("a -o out --jobs 1.5", "--jobs '1.5'");
    REFUSED("a -o out --part 3/2", "K 3", "1 to 2");
    REFUSED("a -o out --part 0/2", "K 0");
    REFUSED("a -o out --format png", "--format 'png'", "jpeg, tiff or exr");
    REFUSED("a -o out --preview 1", "--preview '1'", "2 to 60");
    REFUSED("a -o out --exact-marks=maybe", "yes or no");
    REFUSED("a -o out --output=", "--output ''");
    REFUSED("a -o out --site=1,2\033[31m", "\\x1b"); /* nothing foreign reaches the terminal */
}
END_TEST

START_TEST(unknown_options_name_the_nearest)
{
    REFUSED("a -o out --stedy 1", "no option --stedy", "--steady");
    REFUSED("a -o out --utcoffset +01:00", "--utc-offset");
    REFUSED("a -o out --twilght=-12,-3", "--twilight");
    REFUSED("a --out dir", "no option --out", "--output"); /* abbreviations are not taken */
    REFUSED("a -o out --zzzzzz", "no option --zzzzzz", "--help");
    REFUSED("a -o out -x", "no option -x", "--help");
    REFUSED("a -o out -steady 1", "two dashes");
    ck_assert(!strstr((render("a -o out --zzzzzz"), error.text), "did you mean"));
}
END_TEST

START_TEST(missing_things_are_named)
{
    REFUSED("-o out", "no SHOTS");
    REFUSED("a", "no output folder", "-o out");
    REFUSED("a -o", "-o needs a value", "a folder");
    REFUSED("a --output --jobs 2", "--output needs a value", "--jobs");
    ck_assert(read_line(DW_CMD_SURVEY, "a -o out --format tiff") == DW_ERR_USAGE);
    ck_assert_ptr_nonnull(strstr(error.text, "--format is an option of `daywheel render`"));
    ck_assert(render("--help --nothing-else-is-checked") == DW_ERR_USAGE);
    ck_assert(render("--help") == DW_OK);
    ck_assert(settings.help);
    ck_assert(render("a --version") == DW_OK);
    ck_assert(settings.version);
}
END_TEST

START_TEST(contradictions_are_named)
{
    REFUSED("a -o out --format exr --also day", "--also", "--format exr");
    REFUSED("a -o out --format exr --space p3", "--space p3", "--format exr", "--format tiff");
    REFUSED("a -o out --space p3", "--space p3", "--format jpeg", "--format tiff");
    REFUSED("a -o out --compression zstd --format jpeg", "--compression zstd");
    ck_assert(render("a -o out --space p3 --format tiff") == DW_OK);
    ck_assert(render("a -o out --space srgb") == DW_OK);
    REFUSED("a -o out -qv", "--quiet", "--verbose");
    REFUSED("a -o out --scratch off --keep-scratch", "--keep-scratch", "--scratch off");
    REFUSED("a -o out --preview 8 --part 1/2", "--preview", "--part");
}
END_TEST

/* Writes a settings file and reads it through the command line. */
static enum dw_status with_file(const char *text, const char *line)
{
    char whole[300];
    ck_assert(dw_write_whole("test-options.ini", text, strlen(text), false, &error) == DW_OK);
    snprintf(whole, sizeof whole, "a -o out --settings test-options.ini %s", line);
    size_t n = strlen(whole);
    if (whole[n - 1] == ' ')
        whole[n - 1] = '\0';
    enum dw_status s = render(whole);
    unlink("test-options.ini");
    return s;
}

static void assert_file_refused(const char *text, const char *const *said)
{
    ck_assert_msg(with_file(text, "") == DW_ERR_USAGE, "not refused: %s", text);
    for (; *said; said++)
        ck_assert_msg(strstr(error.text, *said), "'%s' does not name '%s'", error.text, *said);
}
#define FILE_REFUSED(text, ...) assert_file_refused(text, (const char *const[]){__VA_ARGS__, NULL})

START_TEST(settings_file_is_read)
{
    ck_assert(with_file("\xEF\xBB\xBF# a comment\r\n  steady = 0.25 ; behind a semicolon\r\n\r\n"
                        "utc-offset = +05:30\nsite=-33.9,18.4\nexact-marks = yes\nsize : full",
                        "--steady 0.75") == DW_OK);
    ck_assert_double_eq(settings.steady, 0.75); /* the command line wins */
    ck_assert_int_eq(settings.utc_offset_s, (5 * 60 + 30) * 60);
    ck_assert_double_eq(settings.site[1], 18.4);
    ck_assert(settings.exact_marks);
    ck_assert(settings.size.kind == DW_SIZE_FULL);
    ck_assert(with_file("", "") == DW_OK);
    ck_assert(with_file("output = elsewhere\n", "") == DW_OK);
    ck_assert_str_eq(settings.output, "out");
    ck_assert(with_file("exact-marks = yes\n", "--exact-marks=no") == DW_OK);
    ck_assert(!settings.exact_marks);
}
END_TEST

START_TEST(settings_file_errors_name_the_line)
{
    FILE_REFUSED("# x\n\nstedy = 1\n", "test-options.ini:3", "no setting stedy", "steady");
    FILE_REFUSED("steady = 2\n", "test-options.ini:1: steady '2'", "0 to 1");
    FILE_REFUSED("steady = 1\nsize = half\nsteady = 0\n", "ini:3", "steady stands twice", "line 1");
    FILE_REFUSED("steady = 1\nthis is no setting\nsteady = 7", "ini:2", "NAME = VALUE");
    FILE_REFUSED("size = 0x0\nnonsense\n", "ini:1: size '0x0'"); /* the first one is told */
    FILE_REFUSED("[render]\nsteady = 1\n", "ini:2", "[render]");
    FILE_REFUSED("settings = b.ini\n", "ini:1", "command line only");
    FILE_REFUSED("help = yes\n", "command line only");
    FILE_REFUSED("format = jpeg\nspace = p3\n", "--space p3");
    char text[600] = "output = ";
    memset(text + strlen(text), 'x', 400);
    strcat(text, "\nsteady = 1\n");
    FILE_REFUSED(text, "ini:1", "bytes long");
    ck_assert(render("a -o out --settings no-such-file.ini") == DW_ERR_IO);
    ck_assert_ptr_nonnull(strstr(error.text, "no-such-file.ini"));
    ck_assert(render("a -o out --settings /") != DW_OK);
    ck_assert(dw_write_whole("test-options.ini", "a\0b = 1\n", 8, false, &error) == DW_OK);
    ck_assert(render("a -o out --settings test-options.ini") == DW_ERR_USAGE);
    ck_assert_ptr_nonnull(strstr(error.text, "binary"));
    unlink("test-options.ini");
}
END_TEST

/* Any bytes at all are read or refused, never more: what a fuzzer would start with. */
START_TEST(settings_file_survives_noise)
{
    uint32_t seed = 12345;
    for (int round = 0; round < 600; round++) {
        char text[300];
        size_t n = (size_t)(round % 299);
        for (size_t i = 0; i < n; i++) {
            static const char likely[] = "\n\n==;#[]: ,-+.0123456789siteadyoutpufrm\t\r\x80\xff";
            seed = seed * 1664525u + 1013904223u;
            text[i] = likely[(seed >> 8) % (sizeof likely - 1)];
        }
        ck_assert(dw_write_whole("test-noise.ini", text, n, false, &error) == DW_OK);
        struct dw_settings s;
        dw_settings_default(&s);
        error.text[0] = '\0';
        enum dw_status status = dw_settings_file_read("test-noise.ini", &s, &error);
        ck_assert(status == DW_OK || error.text[0] != '\0');
        dw_settings_free(&s);
    }
    unlink("test-noise.ini");
}
END_TEST

static const char *const odd_lines[] = {
    "a -o out",
    "a -o out --site 46.123456789012,8.1 --utc-offset -09:30 --steady 0.333333333333 --exact-marks",
    "a -o out --site -0.1,-179.99999 --twilight -18.25,-0.1 --size 1920x1281 --format tiff "
    "--space p3 --compression zstd --only Two;Three",
    "a -o out --format tiff --size full --compression none --steady 0 --white 3456.789,-0.1",
};

START_TEST(settings_written_are_read_back_the_same)
{
    const double site[2] = {12.5, -7};
    ck_assert(render(odd_lines[_i]) == DW_OK);
    ck_assert_msg(dw_settings_file_write(".", &settings, site, 3600, &error) == DW_OK, "%s",
                  error.text);
    struct dw_settings again;
    dw_settings_default(&again);
    ck_assert_msg(dw_settings_file_read("settings.ini", &again, &error) == DW_OK, "%s", error.text);
    for (size_t i = 0; i < dw_option_count; i++) {
        const struct dw_option *o = &dw_options[i];
        char a[100] = "", b[100] = "";
        if (o->use != DW_USE_RESULT && o->use != DW_USE_RESULT_TIFF)
            continue;
        ck_assert(dw_option_show(o, &settings, a, sizeof a) ==
                  dw_option_show(o, &again, b, sizeof b));
        ck_assert_msg(strcmp(a, b) == 0, "%s: '%s' came back as '%s'", o->name, a, b);
    }
    if (settings.has_site) /* to the last bit */
        ck_assert(memcmp(settings.site, again.site, sizeof again.site) == 0);
    dw_settings_free(&again);
    unlink("settings.ini");
}
END_TEST

/* All that a function prints, as one text. */
static char *printed(void (*print)(FILE *))
{
    char *text = NULL;
    size_t n = 0;
    FILE *f = open_memstream(&text, &n);
    ck_assert_ptr_nonnull(f);
    print(f);
    fclose(f);
    return text;
}

static void help_of_render(FILE *f)
{
    dw_help_command(f, &dw_commands[0]);
}

START_TEST(help_tells_every_option_within_80_columns)
{
    char *text = printed(help_of_render);
    for (size_t i = 0; i < dw_option_count; i++) {
        char spelling[80];
        dw_help_spelling(&dw_options[i], spelling, sizeof spelling);
        ck_assert_msg(strstr(text, spelling), "%s", spelling);
    }
    int columns = 0;
    for (const char *c = text; *c; c++) {
        columns = *c == '\n' ? 0 : columns + (((unsigned char)*c & 0xC0) != 0x80);
        ck_assert_msg(columns <= 80, "a line of the help is too long: %.*s", 60, c - columns + 1);
    }
    free(text);
}
END_TEST

START_TEST(completions_tell_every_option)
{
    void (*const write[])(FILE *) = {dw_completion_bash, dw_completion_zsh, dw_completion_fish};
    for (size_t shell = 0; shell < 3; shell++) {
        char *text = printed(write[shell]);
        for (size_t i = 0; i < dw_option_count; i++)
            ck_assert_ptr_nonnull(strstr(text, dw_options[i].name));
        free(text);
    }
}
END_TEST

START_TEST(manual_needs_its_marks)
{
    char text[] = "@COMMANDS@\n@EXAMPLES@\n";
    FILE *in = fmemopen(text, strlen(text), "r"), *out = fopen("/dev/null", "w");
    ck_assert_int_eq(dw_manual_write(in, out), 1);
    fclose(in);
    fclose(out);
}
END_TEST

START_TEST(rate_is_that_of_the_recent_past)
{
    /* 1000 items at once (a resumed run), then 5 a second: after a while only the 5 count */
    struct dw_rate r = {.n = 0};
    double rate = dw_rate_note(&r, 0, 0);
    ck_assert_double_eq(rate, 0);
    for (int i = 1; i <= 600; i++)
        rate = dw_rate_note(&r, 0.1 * i, (size_t)(1000 + i / 2));
    ck_assert_double_eq_tol(rate, 5, 0.2);
}
END_TEST

START_TEST(durations_in_words)
{
    static const struct {
        double s;
        const char *text;
    } cases[] = {
        {0.04, "0.0 s"}, {9.9, "9.9 s"}, {45.2, "45 s"}, {200, "3 min 20 s"}, {7500, "2 h 5 min"}};
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        char text[40];
        dw_duration_text(cases[i].s, text, sizeof text);
        ck_assert_str_eq(text, cases[i].text);
    }
}
END_TEST

START_TEST(bytes_in_words)
{
    static const struct {
        double bytes;
        const char *text;
    } cases[] = {{900, "1 kB"}, {640e6, "640 MB"}, {3.21e9, "3.2 GB"}, {999.9e6, "1.0 GB"}};
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        char text[40];
        dw_bytes_text(cases[i].bytes, text, sizeof text);
        ck_assert_str_eq(text, cases[i].text);
    }
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("options");
    TCase *c = tcase_create("options");
    tcase_add_checked_fixture(c, setup, teardown);
    tcase_add_test(c, table_is_sound);
    tcase_add_test(c, examples_and_defaults_are_accepted);
    tcase_add_test(c, renderings_are_words_in_any_order);
    tcase_add_test(c, every_example_of_the_help_can_be_read);
    tcase_add_test(c, spellings_after_the_gnu_conventions);
    tcase_add_test(c, values_are_read);
    tcase_add_test(c, values_outside_their_range_are_named);
    tcase_add_test(c, unknown_options_name_the_nearest);
    tcase_add_test(c, missing_things_are_named);
    tcase_add_test(c, contradictions_are_named);
    tcase_add_test(c, settings_file_is_read);
    tcase_add_test(c, settings_file_errors_name_the_line);
    tcase_add_test(c, settings_file_survives_noise);
    tcase_add_loop_test(c, settings_written_are_read_back_the_same, 0,
                        (int)(sizeof odd_lines / sizeof odd_lines[0]));
    tcase_add_test(c, help_tells_every_option_within_80_columns);
    tcase_add_test(c, completions_tell_every_option);
    tcase_add_test(c, manual_needs_its_marks);
    tcase_add_test(c, rate_is_that_of_the_recent_past);
    tcase_add_test(c, durations_in_words);
    tcase_add_test(c, bytes_in_words);
    suite_add_tcase(suite, c);
    return dw_check_main(suite);
}
