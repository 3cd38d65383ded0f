#!/bin/sh
# also.sh: --also night,day makes whole clean sequences beside the mixed one: the same bytes for any
# number of jobs, in shares, with and without the scratch, after a kill, and whichever of them are
# asked for together; the mixed frames are what they are without it. daywheel's own promise.
# shellcheck source=tests/cli/lib.sh
. "$(dirname "$0")/lib.sh"

# dusk in an hour, with one frame missing and one broken, so that bridges are in it too
invent shoot --size 240x160 --frames 24 --interval 220 --start 2025-03-28T17:20:00Z \
    --faults "truncated@8 gap@20"

all() {
    echo "$(sums "$1") $(sums "$1" frames-night) $(sums "$1" frames-day)"
}
names() {
    (cd "$1/$2" && ls)
}

dw render shoot -o mixed --jobs 1
dw render shoot -o three --jobs 1 --also night,day
ok "three sequences" ended 3 three/frames-night three/frames-day
ok "the mixed one is as without --also" is "$(sums three)" "$(sums mixed)"
ok "the night one has the same numbers" is "$(names three frames-night)" "$(names mixed frames)"
ok "the day one has the same numbers" is "$(names three frames-day)" "$(names mixed frames)"
ok "settings remember it" grep -q "^also = night,day" three/settings.ini
wanted=$(all three)
last=$(names mixed frames | tail -n 1)

# by day (the first frame, sun above -3 degrees) the mix is the day look, below both windows the
# night look; in between neither. The frame list says where.
first_day=$(awk -F, 'NR > 1 && $6 == 1 && $7 == 1 && $8 == 0 { print $1; exit }' three/frames.csv)
ok "a frame of pure day" test -n "$first_day"
day=$(printf 'frame-%05d.jpg' "$first_day")
ok "by day the mix is the day look" cmp three/frames/"$day" three/frames-day/"$day"
ok "by day the night look differs" sh -c "! cmp -s three/frames/$day three/frames-night/$day"
between=$(awk -F, 'NR > 1 && $6 > 0.3 && $6 < 0.7 { print $1; exit }' three/frames.csv)
ok "a frame between" test -n "$between"
between=$(printf 'frame-%05d.jpg' "$between")
for other in frames-night frames-day; do
    ok "between, $other differs from the mix" \
        sh -c "! cmp -s three/frames/$between three/$other/$between"
done

for jobs in 2 8; do
    dw render shoot -o "jobs-$jobs" --jobs $jobs --also day,night
    ok "$jobs jobs" is "$(all jobs-$jobs)" "$wanted"
done
dw render shoot -o off --scratch off --also night,day
ok "scratch off" is "$(all off)" "$wanted"
for part in 1 2 3; do
    "$DAYWHEEL" render shoot -o shares --part $part/3 -j1 --also night,day >/dev/null 2>"err-$part" &
done
wait
ok "three shares at the same time" is "$(all shares)" "$wanted"
ok "shares leave nothing behind" no_leftovers shares

# one after the other: only what is missing is made
dw render shoot -o mixed --also night
ok "night added: its frames are made" said "24 made now"
ok "night added: no day" absent mixed/frames-day
stamp=$(stat -c %Y.%i mixed/frames/"$last")
dw render shoot -o mixed --also night,day
ok "day added: as if asked for at once" is "$(all mixed)" "$wanted"
ok "day added: the mix is not written again" is "$(stat -c %Y.%i mixed/frames/"$last")" "$stamp"
dw render shoot -o mixed --also night,day
ok "again: nothing is made" ended 3 " 0 made now"
ok "again: nothing is said to be old" sh -c '! grep -q "earlier run" err'
dw render shoot -o mixed --also day
ok "night dropped: its frames are said to be old" said "mixed/frames-night is of an earlier run"
rm mixed/frames-night/"$last"
dw render shoot -o mixed --also night,day
ok "a lost one is made again, alone" said " 1 made now"
ok "and is what it was" is "$(all mixed)" "$wanted"

# frames numbered beyond the last are tidied away in every folder
touch mixed/frames-day/.frame-00001.jpg.part
ls shoot | tail -n 8 | while read -r shot; do rm "shoot/$shot"; done
dw render shoot -o mixed --also night,day
fewer=$(names mixed frames)
ok "a shorter shoot: fewer frames" test "$(echo "$fewer" | wc -l)" -lt 20
ok "a shorter shoot: fewer night frames" is "$(names mixed frames-night)" "$fewer"
ok "a shorter shoot: fewer day frames" is "$(names mixed frames-day)" "$fewer"
ok "nothing left behind" no_leftovers mixed

# killed and run again
dw render shoot -o whole --also night,day
wanted=$(all whole)
for wait in 0.05 0.15 0.3 0.5; do
    rm -rf cut
    "$DAYWHEEL" render shoot -o cut --jobs 2 --also night,day >/dev/null 2>&1 &
    pid=$!
    sleep $wait
    kill -9 $pid 2>/dev/null
    wait $pid 2>/dev/null
    dw render shoot -o cut --also night,day
    ok "killed after $wait s: the same frames" is "$(all cut)" "$wanted"
    ok "killed after $wait s: nothing left behind" no_leftovers cut
done

# somebody's pictures under our folder's name are not touched
mkdir -p foreign/frames-night
echo mine >foreign/frames-night/frame-00001.jpg
dw render shoot -o foreign --also night
ok "a folder of somebody else's pictures is refused" ended 1 frames-night
dw render shoot -o wrong --also dusk
ok "an unknown look is refused" ended 2 "'dusk'" night
dw render shoot -o wrong --also night,night
ok "one twice is refused" ended 2 "night stands twice"
done_testing
