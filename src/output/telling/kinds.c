/* kinds.c: see kinds.h. The advice is common practice, no source. */
#include "output/telling/kinds.h"

#include <daywheel/decide.h>

#include <string.h>

static const struct dw_kind kinds[] = {
    {.code = "unreadable",
     .title = "Cannot be read",
     .words = "it cannot be decoded",
     .ink = {0.33, 0.33, 0.36},
     .next_title = "Look after the card",
     .next_text = "Copy the files again from the card before it is cleared, and compare their "
                  "number and sizes. If they are damaged there too, retire that card, format a "
                  "good one in the camera, and let no battery run flat while it writes."},
    {.code = "no-exposure",
     .title = "Exposure not recorded",
     .words = "its shutter time or ISO is not recorded",
     .ink = {0.47, 0.38, 0.62},
     .next_title = "Let the camera record its settings",
     .next_text = "Shutter time and ISO were missing from some files. A program or an adapter "
                  "that rewrites files often drops them: copy the files straight from the card."},
    {.code = "gap",
     .title = "Frames missing",
     .words = "frames are missing before it",
     .ink = {0.20, 0.40, 0.62},
     .next_title = "Keep the camera running",
     .next_text =
         "Frames are missing. Where the file numbers skip as well, they were taken and lost "
         "later: copy the card again before it is cleared. Where the numbers run on, the "
         "camera took none: an interval shorter than the longest exposure and the writing "
         "that follows it makes it skip one; a weak battery, a full card or a timer that "
         "stops leaves longer holes. Take a longer interval, a larger battery kept warm, "
         "and a card with room to spare."},
    {.code = "bright",
     .title = "Too bright",
     .words = "too much of it is clipped",
     .ink = {0.76, 0.42, 0.10},
     .comparable = true,
     .as_taken = true,
     .next_title = "Leave room above",
     .next_text =
         "Some frames came out far too bright. If the charts of shutter time and ISO show a "
         "spike there, the exposure program chose it: take away what it may have reacted "
         "to, a shadow, a person, the sun behind an edge, let it change slowly, and stay "
         "a stop lower than it would."},
    {.code = "dark",
     .title = "Too dark",
     .words = "too much of it is lost in noise",
     .ink = {0.20, 0.24, 0.42},
     .comparable = true,
     .as_taken = true,
     .next_title = "Find what darkened single frames",
     .next_text =
         "Some frames came out far too dark. If the charts of shutter time and ISO show a "
         "spike there, the exposure program took a passing light for daylight: keep lights "
         "away, let it change slowly. If they do not, the shutter or the diaphragm stuck: "
         "exercise it before the shoot."},
    {.code = "flash",
     .title = "Brief light",
     .words = "a brief light passes",
     .ink = {0.70, 0.55, 0.05},
     .comparable = true,
     .next_title = "Keep lights off the scene",
     .next_text = "Head lamps or torches lit some frames. Turn or shield the camera from the "
                  "road, put the hood on, agree with those who are about on dim red light."},
    {.code = "soft",
     .title = "Dew or lost focus",
     .words = "detail is lost: dew or focus",
     .ink = {0.16, 0.50, 0.50},
     .creeps = true,
     .comparable = true,
     .next_title = "Keep the lens warm",
     .next_text = "Fine detail was lost. Dew settles on glass that is colder than the air is "
                  "moist: a heater band round the front of the lens, switched on before dusk and "
                  "fed by a battery that lasts until the sun is up, keeps it away; a long hood "
                  "helps. Tape the focus ring, as cold lets it creep."},
    {.code = "haze",
     .title = "Fog or haze",
     .words = "contrast is lost: fog or haze",
     .ink = {0.45, 0.52, 0.56},
     .creeps = true,
     .comparable = true,
     .next_title = "Stand above the mist",
     .next_text = "Fog lay before the camera. Nothing at the camera helps against it: a slope "
                  "above the valley floor often stays clear, a windy night forms less of it, "
                  "and every night more gives a choice."},
    {.code = "cloud",
     .title = "Stars hidden",
     .words = "clouds hide the stars",
     .ink = {0.36, 0.52, 0.70},
     .creeps = true,
     .comparable = true,
     .next_title = "Shoot another night",
     .next_text = "Clouds hid the stars. Look at the forecast of low and high cloud by the hour, "
                  "and choose the night by it; every night more gives a choice."},
    {.code = "moved",
     .title = "Camera moved",
     .words = "the camera moved",
     .ink = {0.68, 0.22, 0.28},
     .comparable = true,
     .next_title = "Hold the tripod down",
     .next_text = "The camera moved. Weigh the tripod down, keep its legs short and off soft or "
                  "thawing ground, tie straps and cables so that wind cannot pull them, and "
                  "tighten every joint once more before dusk."},
    {.code = "reflection",
     .title = "Reflection in the pane",
     .words = "a light inside is reflected in the pane",
     .ink = {0.55, 0.25, 0.55},
     .creeps = true,
     .comparable = true,
     .next_title = "Shade the pane",
     .next_text = "A light behind the camera was reflected in the pane. Put the lens against the "
                  "glass or a dark cloth round both, and leave the lamps behind it off."},
};

static const struct dw_kind other = {
    .code = "", .title = "Other", .words = "it has a fault", .ink = {0.40, 0.40, 0.40}};

const struct dw_kind *dw_kind(int i)
{
    const char *code = dw_fault_name(i);
    for (size_t k = 0; code && k < sizeof kinds / sizeof *kinds; k++)
        if (strcmp(kinds[k].code, code) == 0)
            return &kinds[k];
    return &other;
}
