#!/bin/sh
# light.sh: --format exr: light before any look. The same bytes for any number of jobs, in shares and
# from the scratch; options of the look do not make it again; read back with OpenEXR's own tool.
# shellcheck source=tests/cli/lib.sh
. "$(dirname "$0")/lib.sh"

invent shoot --size 240x160 --frames 12 --interval 440 --start 2025-03-28T17:20:00Z --faults "gap@7"

dw render shoot -o one --jobs 1 --format exr
ok "OpenEXR frames" ended 3 "one/frames"
wanted=$(sums one)
ok "all of them" is "$(find one/frames -name 'frame-*.exr' | wc -l)" "$(($(wc -l <one/frames.csv) - 1))"
dw render shoot -o many --jobs 8 --format exr
ok "8 jobs" is "$(sums many)" "$wanted"
dw render shoot -o off --scratch off --format exr
ok "scratch off" is "$(sums off)" "$wanted"
for part in 1 2; do
    dw render shoot -o shares --part $part/2 --format exr
done
ok "two shares" is "$(sums shares)" "$wanted"
dw render shoot -o one --format exr --twilight -9,-2
ok "another twilight: nothing is made" ended 3 " 0 made now"
dw render shoot -o fresh --format exr --twilight -9,-2
ok "and that is right: the bytes are equal" is "$(sums fresh)" "$wanted"
dw render shoot -o one --format exr --steady 0 --size 60x60
ok "another size: all are made" sh -c '! grep -q " 0 made now" err'
dw render shoot -o wrong --format exr --also night
ok "clean looks beside no look are refused" ended 2 "--also" "--format exr"
dw render shoot -o wrong --format exr --space p3
ok "another space is refused" ended 2 "--space p3" "--format exr"
if command -v exrheader >/dev/null; then
    exrheader many/frames/frame-00003.exr >header
    ok "the header names the shot" grep -q 'comments.*"DW_0003.DNG"' header
    ok "and the size" grep -q '(0 0) - (119 79)' header
else
    skip "the header names the shot" "exrheader is not installed (Debian package openexr)"
fi
ok "nothing left behind" no_leftovers one
done_testing
