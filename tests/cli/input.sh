#!/bin/sh
# input.sh: bad input and bad places to write to. For each: the status, and that the message names
# what was found and what to do. The statuses are those that daywheel's manual promises.
# shellcheck source=tests/cli/lib.sh
. "$(dirname "$0")/lib.sh"

invent shoot --size 120x80 --frames 12 --interval 600 --start 2025-03-28T17:00:00Z
invent bare --size 120x80 --frames 3 --gps off
invent later --size 120x80 --frames 3 --start 2026-01-05T12:00:00Z

# -- the input
dw render nowhere -o made --site 46.40,8.10
ok "no such folder" ended 1 "nowhere"
mkdir empty
dw render empty -o made --site 46.40,8.10
ok "empty folder" ended 1 "empty"
mkdir pictures
printf '\377\330\377\340\0\020JFIF\0\001\001\0\0\001\0\001\0\0\377\331' >pictures/a.jpg
cp pictures/a.jpg pictures/b.JPG
dw render pictures -o made --site 46.40,8.10
ok "folder of JPEG files only: what was found instead" ended 1 "pictures" 2
mkdir text
echo hello >text/notes.txt
dw render text -o made --site 46.40,8.10
ok "folder of other files" ended 1 "text"
dw render bare -o made
ok "no site and no GPS" ended 2 "--site" "north and east positive"
ok "none of these made an output folder" absent made

dw render bare -o given --site 46.40,8.10 --size half
ok "the same with a site" ended 0
dw render later -o tagged --only "Nobody's Camera"
ok "no frame of that model" ended 1 "Nobody's Camera"

mkdir mixed
find shoot -iname '*.dng' -exec cp {} mixed/ \;
invent sizes --size 90x60 --frames 2 --first-number 500
find sizes -iname '*.dng' -exec cp {} mixed/ \;
dw render mixed -o made --site 46.40,8.10
ok "two sizes" ended 1 "12" "2"
ok "two sizes: an odd file is named" sh -c 'grep -qE "0500|0501" err'
ok "two sizes: nothing made" absent made

find shoot -iname '*.dng' | sort >list.txt
status=0
"$DAYWHEEL" render - -o listed <list.txt >out 2>err || status=$?
ok "a list on standard input" ended 0 "12 frames"
rm -rf listed

# -- the frames
mkdir faulty
find shoot -iname '*.dng' -exec cp {} faulty/ \;
# shellcheck disable=SC2046
set -- $(find faulty -iname '*.dng' | sort)
: >"$3"                                         # zero length
head -c 3000 "$5" >"$work/cut" && mv "$work/cut" "$5"           # truncated
printf 'XXXXXXXX' | dd of="$7" conv=notrunc bs=1 2>/dev/null # wrong magic
size=$(wc -c <"$9")
head -c $((size / 2)) "$9" >"$work/cut" && head -c $((size - size / 2)) /dev/zero >>"$work/cut" && mv "$work/cut" "$9"
dw render faulty -o faults
ok "broken frames: done, status 3" ended 3 "left out" "unreadable"
ok "broken frames: every one is in the ledger" is "$(grep -c unreadable faults/ledger.csv)" 4
ok "broken frames: none is used" is "$(grep unreadable faults/ledger.csv | grep -c ',yes$')" 0
ok "broken frames: they are on the sheet" test -s faults/sheet-1.jpg
ok "broken frames: bridged" is "$(find faults/frames -type f | wc -l | tr -d ' ')" 12

# damaged behind its head, with size and time kept, so that the survey believes to know it
invent late --size 300x200 --frames 9 --interval 180 --start 2025-03-28T15:00:00Z
dw survey late -o lost
cp -r lost shares
# shellcheck disable=SC2046
set -- $(find late -iname '*.dng' | sort)
touch -r "$4" stamp
size=$(wc -c <"$4")
head -c 70000 "$4" >"$work/cut" && head -c $((size - 70000)) /dev/zero >>"$work/cut"
cat "$work/cut" >"$4" && touch -r stamp "$4"
dw render late -o lost
ok "lost after the survey: done, status 3" ended 3 "cannot be read now" "1 unreadable"
ok "lost after the survey: the ledger says so" is "$(grep -c unreadable lost/ledger.csv)" 1
ok "lost after the survey: bridged" is "$(find lost/frames -type f | wc -l | tr -d ' ')" 9
# a share cannot decide anew: it says what to do, and that makes the sequence whole
left=0
for part in 1 2; do
    dw render late -o shares --part $part/2
    if grep -q "without --part" err; then left=$part; fi
done
ok "lost in a share: it says how the sequence becomes whole" test $left -gt 0
ok "lost in a share: one frame is not there" is "$(find shares/frames -type f | wc -l | tr -d ' ')" 8
dw render late -o shares
ok "then all of it together: bridged" is "$(sums shares)" "$(sums lost)"

mkdir card
find late -iname '*.dng' -exec cp -p {} card/ \;
dw survey card -o pulled
for shot in card/*; do
    touch -r "$shot" stamp
    size=$(wc -c <"$shot")
    head -c 70000 "$shot" >"$work/cut" && head -c $((size - 70000)) /dev/zero >>"$work/cut"
    cat "$work/cut" >"$shot" && touch -r stamp "$shot"
done
cp pulled/ledger.csv before
dw render card -o pulled
ok "all lost after the survey" ended 1 "8 of 9" "card or disk"
ok "all lost after the survey: the ledger stays" cmp -s before pulled/ledger.csv

# -- the output
dw render shoot -o plain
ok "a good run" ended 0 "12 frames" "ledger.csv"
ok "a good run prints nothing that was not asked for" empty out
ok "a good run leaves nothing behind" no_leftovers plain
for file in ledger.csv frames.csv facts.json summary.json settings.ini; do
    ok "a good run writes $file" test -s "plain/$file"
done
dw render later -o plain
ok "output of another shoot" ended 1 "another shoot" "-o"
dw render shoot -o shoot
ok "output into the folder of the frames" ended 2 "shoot"
ok "output into the folder of the frames: untouched" absent shoot/ledger.csv
echo x >file
dw render shoot -o file
ok "output is a file" ended 1 "file" "folder"
mkdir -p strange/frames
echo mine >strange/frames/frame-00001.jpg
dw render shoot -o strange
ok "pictures that are nobody's" ended 1 "strange/frames"
ok "pictures that are nobody's: untouched" is "$(cat strange/frames/frame-00001.jpg)" mine
if [ "$(id -u)" != 0 ]; then
    mkdir locked
    chmod a-w locked
    dw render shoot -o locked/made
    ok "read-only place" ended 1 "locked" "choose"
else
    # root may write anywhere but into the kernel's own tables
    dw render shoot -o /proc/made
    ok "read-only place" ended 1 "/proc/made"
fi
(
    flock -x 9
    dw render shoot -o plain
    ok "somebody else holds the output" ended 1 "plain" "wait"
    echo "$count" >counted
) 9>plain/.daywheel-lock
count=$(cat counted)
dw render shoot -o plain
ok "free again" ended 0

# -- a person's word
sed '4s/,yes$/,no/' plain/ledger.csv >edited && cp edited plain/ledger.csv
dw render shoot -o plain
ok "an edited use is obeyed" ended 0 "11 of 12 shots used" "1 by hand"
dw render shoot -o plain
ok "and lasts" ended 0 "11 of 12 shots used" "1 by hand"

# -- the same again
dw render shoot -o again --settings plain/settings.ini
ok "settings.ini can be read back" ended 0
ok "settings.ini comes out the same" cmp -s plain/settings.ini again/settings.ini

# -- preview
dw render shoot -o seen --preview 4
ok "preview" ended 0 "seen/preview.jpg"
ok "preview makes one sheet and nothing else" is "$(ls -A seen)" preview.jpg
dw survey shoot -o known
left=$(cd known && cksum *)
dw render shoot -o known --preview 4
ok "preview beside a survey" ended 0 "known/preview.jpg"
ok "preview leaves the survey and its documents alone" is \
    "$(cd known && rm -f preview.jpg && cksum *)" "$left"
cp -r known torn
head -c 100000 known/survey.dws >torn/survey.dws
left=$(cksum <torn/survey.dws)
dw render shoot -o torn --preview 4
ok "preview beside an unfinished survey" ended 0 "torn/preview.jpg"
ok "preview leaves the unfinished survey alone" is "$(cksum <torn/survey.dws)" "$left"
done_testing
