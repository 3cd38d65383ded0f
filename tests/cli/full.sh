#!/bin/sh
# full.sh: a disk that is full or nearly so. Nothing half-written under a final name, a clear message,
# and once there is room the same command goes on to the same bytes. The scratch, which is never
# needed, does not take the room of the results. Needs the right to mount a small disk in memory.
# shellcheck source=tests/cli/lib.sh
. "$(dirname "$0")/lib.sh"

mkdir disk
if ! mount -t tmpfs -o size=1m tmpfs disk 2>/dev/null; then
    skip "nearly full disks" "no right to mount a small disk (tmpfs) here"
    done_testing
    exit 0
fi
trap 'umount "$work/disk"; chmod -R u+w "$work"; rm -rf "$work"' EXIT

invent shoot --size 480x320 --frames 40 --interval 300 --start 2025-03-28T14:20:00Z
dw render shoot -o whole --scratch off
ok "with room for all" ended 0
wanted=$(sums whole)
papers=$(cd whole && cksum ledger.csv frames.csv facts.json summary.json)
survey_kb=$(($(stat -c %s whole/survey.dws) / 1024))
frames_kb=$(du -s --apparent-size --block-size=1024 whole/frames | cut -f1)
echo "# survey $survey_kb kB, frames $frames_kb kB"

whole_files_only() {
    for file in disk/out/frames/frame-*; do
        [ ! -e "$file" ] || cmp -s "$file" "whole/frames/${file##*/}" || { echo "# $file"; return 1; }
    done
    for file in ledger.csv frames.csv facts.json summary.json; do
        [ ! -e "disk/out/$file" ] || cmp -s "disk/out/$file" "whole/$file" ||
            { echo "# $file"; return 1; }
    done
}

for kb in 40 400 $((survey_kb * 2 / 3)) $((survey_kb + 60)) $((survey_kb + frames_kb / 2 + 60)); do
    rm -rf disk/out
    mount -o remount,size=${kb}k disk
    dw render shoot -o disk/out --jobs 2
    ok "$kb kB: is not enough" is "$status" 1
    ok "$kb kB: says so" sh -c 'grep -q "the disk is full" err && grep -q "make room" err'
    ok "$kb kB: whole files only" whole_files_only
    ok "$kb kB: no temporary is left" is "$(find disk -name '.*.part' | wc -l)" 0
    mount -o remount,size=64m disk
    dw render shoot -o disk/out --jobs 2
    ok "$kb kB, then room: the same frames" is "$(sums disk/out)" "$wanted"
    ok "$kb kB, then room: the same documents" is \
        "$(cd disk/out && cksum ledger.csv frames.csv facts.json summary.json)" "$papers"
done

# Room for the results, but not for the packed mosaics as well.
rm -rf disk/out
mount -o remount,size=$((survey_kb * 2 + frames_kb + 1500))k disk
dw render shoot -o disk/out --jobs 2
ok "no room for the scratch: done all the same" ended 0 "will be decoded twice"
ok "no room for the scratch: the same frames" is "$(sums disk/out)" "$wanted"
done_testing
