/* commands.c: see commands.h. */
#include "cli/commands.h"

#include "base/text.h"

#include <string.h>

static const struct dw_example render_examples[] = {
    {"render shoot -o out --site 46.40,8.10",
     "the whole job: the frames of the folder `shoot` become out/frames"},
    {"render shoot -o out --site 46.40,8.10 --preview 12",
     "twelve small frames on one sheet first, within seconds"},
    {"render shoot -o out --settings out/settings.ini --format tiff",
     "again with the same settings, now as 16-bit TIFF"},
    {"render card-1 card-2 -o out --site -33.90,18.40 --utc-offset +02:00",
     "two cards, a southern site, a camera that records no offset"},
    {"render shoot -o out --twilight -15,-4 --steady 0.8",
     "night look kept longer, passing clouds calmed more; GPS tags tell the site"},
    {NULL, NULL},
};
static const struct dw_example survey_examples[] = {
    {"survey shoot -o out --site 46.40,8.10",
     "measure and judge every shot, and write the documents, without making pictures"},
    {"survey shoot -o out --site 46.40,8.10 --keep-scratch",
     "the same, and keep the unpacked sensor data for a quick render"},
    {"survey - -o out --site 46.40,8.10 < list.txt", "the files named in list.txt, one a line"},
    {NULL, NULL},
};

const struct dw_command dw_commands[] = {
    {"render", DW_CMD_RENDER, "[OPTION]... SHOTS... -o DIR",
     "make the whole sequence: survey, judge, render",
     "Turns the RAW frames of one fixed camera, taken over a day and a night or longer, into one "
     "steady numbered sequence that is rendered for the stars by night and for daylight by day. "
     "SHOTS are folders, files, or - for a list of files on standard input; what is a frame is "
     "found out from the files themselves. RAW files are only read.",
     render_examples},
    {"survey", DW_CMD_SURVEY, "[OPTION]... SHOTS... -o DIR",
     "everything but the pictures: measure and judge every shot",
     "Measures every frame once and writes what was found and decided: ledger.csv with a judgement "
     "of every shot, frames.csv, facts.json, summary.json and a contact sheet of the problem "
     "frames. A later render with the same output folder starts from there.",
     survey_examples},
};
const size_t dw_command_count = sizeof dw_commands / sizeof dw_commands[0];

const struct dw_command *dw_command_named(const char *name)
{
    for (size_t i = 0; i < dw_command_count; i++)
        if (strcmp(dw_commands[i].name, name) == 0)
            return &dw_commands[i];
    return NULL;
}

const struct dw_command *dw_command_nearest(const char *name)
{
    const struct dw_command *best = NULL;
    int best_distance = 3;
    for (size_t i = 0; i < dw_command_count; i++) {
        int d = dw_text_distance(name, dw_commands[i].name);
        if (d < best_distance) {
            best_distance = d;
            best = &dw_commands[i];
        }
    }
    return best;
}
