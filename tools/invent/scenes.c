/*
 * scenes.c - the scenario presets, as data: each is a line of options (options.c).
 *
 * Dates are chosen near the new moon where the scene has none, so that sky and calendar agree.
 */
#include "params.h"

#include <stddef.h>

const struct dwi_scene dwi_scenes[] = {
    {"clear", "26 h, clear, no moon, electronic lens, north", "frames=781"},
    {"manual-lens", "the same with a lens without contacts, another day",
     "contacts=off; aperture-jitter=0; gps=off; offset-tag=off; subsec=off; "
     "start=2025-03-28T12:10:00Z; aim=6,21,0"},
    {"south", "clear, southern site facing the southern pole, fisheye",
     "site=-31.3,149.1; start=2025-05-26T04:00:00Z; utc-offset=10; lens=equidistant; k1=0.01; "
     "k2=0; focal=15; height=500"},
    {"white-night", "far north at midsummer: the sun sets for hours, it never gets dark",
     "site=63.4,10.4; start=2025-06-24T10:00:00Z; utc-offset=2; height=60; focal=12; aim=0,26,0"},
    {"polar-night", "far north at midwinter: twilight is all there is of the day",
     "site=69.6,19.0; start=2025-12-19T10:00:00Z; utc-offset=1; height=20; focal=12; aim=0,28,0; "
     "town=0.0015; town-az=-30"},
    {"portrait", "clear, the camera upright (orientation tag 6), pole in the frame",
     "orientation=6; apex=on; focal=20; aim=0,31,0; start=2025-03-27T13:00:00Z; frames=781"},
    {"two-days", "48 h on two cards with a wrapping counter, every fault there is",
     "frames=1441; cards=2; first-number=9400; start=2025-03-28T11:00:00Z; offset-tag=off; "
     "faults=truncated@201 empty@333 zeroed@612 wrong-magic@820 flipped@951 zeroed@1101 "
     "no-exposure@120-122 no-exposure@700 gap@155-157 gap@1010 bright@60-62*3 bright@640 "
     "dark@700*5 dark@1180-1181*6 flash@262 flash@401*8 flash@1003 soft@520-560*3 "
     "haze@590-650*2.5 cloud@330-375 cloud@1000-1030*0.95 moved@771*8 shake@880 shake@1300"},
    {"everything-moves",
     "two thirds of the ground flutter, people, aircraft, headlights, a moon, a wandering black",
     "start=2025-11-08T11:00:00Z; aim=30,20,0; foliage=0.1; meadow=0.75; people=6; "
     "aircraft=0.25; headlights=0.08; moon=on; ridge=9; vignetting=2; black-drift=2; "
     "black-hours=1"},
    {"everything-and-cloud", "the same under broken cloud, which also passes before the moon",
     "start=2025-11-08T11:00:00Z; aim=30,20,0; foliage=0.1; meadow=0.75; clouds=0.35; people=6; "
     "aircraft=0.25; headlights=0.08; moon=on; ridge=9; vignetting=2; black-drift=2; "
     "black-hours=1"},
    {"broken-cloud", "fair-weather cloud drifting over land and stars all the time", "clouds=0.45"},
    {"foggy", "valley mist at night and at dawn, coming and going",
     "town=0.001; town-az=25; black-drift=1; "
     "faults=haze@300-420*2.2 haze@455-540*3.2 soft@560-590*2.6"},
    {"moonlit", "a high full moon that rises and sets in the frame",
     "site=58.2,8.4; start=2025-12-04T11:00:00Z; utc-offset=1; height=30; focal=13; aim=0,24,0; "
     "moon=on"},
    {"window", "from inside a room that is lit in the evening",
     "view=window; focal=18; aim=0,14,0; f-number=4"},
    {"faults", "two hours from night to sunrise with one fault of each code",
     "frames=121; interval=60; start=2025-03-29T03:10:00Z; "
     "faults=truncated@6 cloud@12-20 flash@27 gap@33-34 empty@38 zeroed@43 dark@47 no-exposure@52 "
     "wrong-magic@57 flipped@67 haze@74-84*3 soft@90-101*3 "
     "bright@105 moved@110*9"},
    {"uneven-settings",
     "clear, but each shutter time and ISO has colours of its own; the lens closes by day",
     "setting-colour=0.01; colour-jitter=0.0002; stop-down=3; vignetting=1.5"},
    {"pane",
     "clear, through a pane that mirrors lamps of the room behind: of the evening, a faint one by "
     "night for half an hour, of the morning",
     "faults=reflection@130-290*0.3 reflection@330-345*0.004 reflection@470-640*0.05"},
    {"target", "a 24-patch colour target in daylight, camera by a whole day's light",
     "view=target; lamps=off; frames=24; interval=1200; start=2025-03-28T07:30:00Z; "
     "setting-error=0; "
     "jitter=0; aperture-jitter=0; vignetting=0; meter-noise=0"},
    {NULL, NULL, NULL},
};
