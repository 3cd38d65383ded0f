#!/bin/sh
# bytes.sh: the same bytes for any number of jobs, with and without the scratch, in shares, and
# from a survey made before. That is daywheel's own promise (DEVELOPERS.md).
# shellcheck source=tests/cli/lib.sh
. "$(dirname "$0")/lib.sh"

# dusk in an hour, with one frame missing and one broken, so that bridges are in it too
invent shoot --size 240x160 --frames 30 --interval 180 --start 2025-03-28T17:20:00Z \
    --faults "truncated@8 gap@20"

documents() {
    (cd "$1" && cksum ledger.csv frames.csv facts.json summary.json settings.ini judgement.csv \
        sheet-1.jpg)
}

dw render shoot -o jobs-1 --jobs 1
ok "one job" ended 3
frames=$(sums jobs-1)
papers=$(documents jobs-1)
for jobs in 2 3 8; do
    dw render shoot -o "jobs-$jobs" --jobs $jobs
    ok "$jobs jobs: frames" is "$(sums jobs-$jobs)" "$frames"
    ok "$jobs jobs: documents" is "$(documents jobs-$jobs)" "$papers"
done
dw render shoot -o off --scratch off
ok "scratch off: frames" is "$(sums off)" "$frames"
dw render shoot -o kept --keep-scratch
ok "scratch kept" test -d kept/scratch
ok "scratch kept: frames" is "$(sums kept)" "$frames"
rm -rf kept/frames
dw render shoot -o kept
ok "from a kept scratch: frames" is "$(sums kept)" "$frames"
ok "the scratch is removed when it is not to be kept" absent kept/scratch

for part in 1 2 3; do
    dw render shoot -o shares --part $part/3
    ok "share $part of 3" ended 3 "share $part of 3"
done
ok "three shares make the whole" is "$(sums shares)" "$frames"
ok "three shares: documents" is "$(documents shares)" "$papers"
ok "shares leave nothing behind" no_leftovers shares
rm -rf together
for part in 1 2 3; do
    "$DAYWHEEL" render shoot -o together --part $part/3 -j1 >/dev/null 2>"err-$part" &
done
wait
ok "three shares at the same time make the whole" is "$(sums together)" "$frames"
ok "three shares at the same time: documents" is "$(documents together)" "$papers"

# a second run has nothing to do; another look needs no survey
dw render shoot -o jobs-1
ok "again: nothing is made" ended 3 "0 made now"
before=$(cksum <jobs-1/survey.dws)
dw render shoot -o jobs-1 --twilight -9,-2 -v
ok "another look: all frames are made" sh -c '! grep -q " 0 made now" err'
ok "another look: the survey stays" is "$(cksum <jobs-1/survey.dws)" "$before"
ok "another look: nothing is surveyed" sh -c '! grep -q "^survey.*: [1-9]" err'
dw render shoot -o jobs-1
ok "and back: the same frames" is "$(sums jobs-1)" "$frames"

# survey, then render: the same as render alone
dw survey shoot -o stepwise
ok "survey alone makes no pictures" absent stepwise/frames
dw render shoot -o stepwise
ok "survey and then render" is "$(sums stepwise)" "$frames"
ok "survey and then render: documents" is "$(documents stepwise)" "$papers"

# another time zone and language of the person change nothing
TZ=Pacific/Apia LC_ALL=de_DE.UTF-8 "$DAYWHEEL" render shoot -o zone >out 2>err || :
ok "another time zone: frames" is "$(sums zone)" "$frames"
ok "another time zone: documents" is "$(documents zone)" "$papers"

dw render shoot -o tiff --format tiff --jobs 1
tiff=$(sums tiff)
dw render shoot -o tiff-3 --format tiff --jobs 3
ok "TIFF, 3 jobs" is "$(sums tiff-3)" "$tiff"

# a night of more shots than one worker takes at a time: decisions
invent night --size 240x160 --frames 140 --interval 120 --start 2025-03-28T17:20:00Z
decisions() {
    (cd "$1" && cksum ledger.csv frames.csv facts.json judgement.csv)
}
dw survey night -o night-1 --jobs 1
decided=$(decisions night-1)
for jobs in 2 3 8; do
    rm -rf night-n
    mkdir night-n
    cp night-1/survey.dws night-n
    dw survey night -o night-n --jobs $jobs
    ok "$jobs jobs: the same decisions" is "$(decisions night-n)" "$decided"
done
done_testing
