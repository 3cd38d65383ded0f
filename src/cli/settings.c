/* settings.c: defaults, freeing, contradictions. See settings.h and options.h. */
#include "cli/options.h"

#include "base/text.h"

#include <stdlib.h>
#include <string.h>

void dw_settings_default(struct dw_settings *s)
{
    const struct dw_decide_params decide = DW_DECIDE_DEFAULTS;
    const struct dw_render_params render = DW_RENDER_DEFAULTS;
    *s = (struct dw_settings){
        .twilight = {decide.night_deg, decide.day_deg},
        .steady = decide.steady,
        .fps = decide.fps,
        .stars = DW_STARS_DEFAULT_STOPS,
        .noise = (double)render.noise_reduction,
        .size = {DW_SIZE_HALF, 0, 0},
        .format = DW_JPEG,
        .compression = DW_COMPRESS_DEFLATE,
        .space = DW_SPACE_SRGB,
        .part = {1, 1},
    };
}

void dw_settings_free(struct dw_settings *s)
{
    for (size_t i = 0; i < dw_option_count; i++) {
        enum dw_option_kind kind = dw_options[i].kind;
        if (kind == DW_OPT_TEXT || kind == DW_OPT_FOLDER || kind == DW_OPT_FILE) {
            char **text = (char **)(void *)((char *)s + dw_options[i].at);
            free(*text);
            *text = NULL;
        }
        dw_option_clear(&dw_options[i], s);
    }
}

enum dw_status dw_settings_check(const struct dw_settings *s, unsigned command,
                                 struct dw_error *err)
{
    struct dw_settings standard;
    dw_settings_default(&standard);
    for (size_t i = 0; command == DW_CMD_RENDER && i < dw_option_count; i++) {
        const struct dw_option *o = &dw_options[i];
        char now[64], usual[64];
        if (o->use != DW_USE_RESULT_TIFF || s->format == DW_TIFF ||
            !dw_option_show(o, s, now, sizeof now) ||
            !dw_option_show(o, &standard, usual, sizeof usual) || strcmp(now, usual) == 0)
            continue;
        return dw_fail(err, DW_ERR_USAGE,
                       "--%s %s and --format %s contradict each other: it is for TIFF files "
                       "only; add --format tiff, or leave out --%s",
                       o->name, now, s->format == DW_EXR ? "exr" : "jpeg", o->name);
    }
    if (command == DW_CMD_RENDER && s->format == DW_EXR && s->also != 0)
        return dw_fail(
            err, DW_ERR_USAGE,
            "--also and --format exr contradict each other: such files hold light before "
            "any look; leave out one of them");
    if (s->quiet && s->verbose)
        return dw_fail(err, DW_ERR_USAGE,
                       "--quiet and --verbose contradict each other; leave out "
                       "one of them");
    if (s->keep_scratch && s->scratch && dw_text_same(s->scratch, "off"))
        return dw_fail(err, DW_ERR_USAGE,
                       "--keep-scratch and --scratch off contradict each other: there is nothing "
                       "to keep; leave out one of them");
    if (command == DW_CMD_RENDER && s->preview > 0 && s->part[1] > 1)
        return dw_fail(err, DW_ERR_USAGE,
                       "--preview and --part contradict each other: a preview "
                       "is one small sheet; leave out one of them");
    return DW_OK;
}
