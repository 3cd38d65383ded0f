#!/bin/sh
# real.sh: real camera files to finished frames. What a photographer would see at once is checked:
# that frames come out, in the right size, neither black nor white nor flat, and not magenta (too
# little green for the rest: a wrong matrix, balance or pattern). Bounds are wide: the pictures are of
# all sorts. The files are not in the repository; DAYWHEEL_REAL_DATA names their folder.
# shellcheck source=tests/cli/lib.sh
. "$(dirname "$0")/lib.sh"

# picture FILE: "WIDTHxHEIGHT mean-red mean-green mean-blue spread", from libjpeg's own reader.
picture() {
    djpeg -pnm "$1" >picture.ppm
    size=$(head -n 2 picture.ppm | tail -n 1 | tr ' ' x)
    djpeg -scale 1/8 -pnm "$1" | tail -n +4 | od -An -v -tu1 -w3 | awk -v size="$size" '
        NF == 3 { r += $1; g += $2; b += $3; n++; s += $2; q += $2 * $2 }
        END { printf "%s %.0f %.0f %.0f %.0f", size, r / n, g / n, b / n,
                     sqrt(q / n - s / n * s / n) }'
}

# looks_right FILE WIDTHxHEIGHT
looks_right() {
    found=$(picture "$1")
    echo "# $found"
    echo "$found" | awk -v size="$2" '{
        grey = ($2 + $3 + $4) / 3
        exit !($1 == size && grey > 30 && grey < 210 && $5 > 15 && $3 > 0.8 * ($2 + $4) / 2 &&
               $3 < 2 * ($2 + $4) / 2) }'
}

data=${DAYWHEEL_REAL_DATA:-}
if [ ! -r "$data/real/nikon-d1.nef" ]; then
    skip "real camera files" "DAYWHEEL_REAL_DATA names no folder of real frames"
elif ! command -v djpeg >/dev/null; then
    skip "real camera files" "djpeg is not installed (Debian package libjpeg-turbo-progs)"
else
    # half of the visible mosaic, or of the picture where the file holds no mosaic
    while read -r file size full; do
        dw render "$data/real/$file" -o half --site 52,13 --scratch off
        ok "$file: one frame" is "$(ls half/frames)" frame-00001.jpg
        ok "$file: $size, not black, not magenta" looks_right half/frames/frame-00001.jpg "$size"
        dw render "$data/real/$file" -o half --site 52,13 --scratch off --size full
        ok "$file: $full at full size" looks_right half/frames/frame-00001.jpg "$full"
        rm -rf half
    done <<EOF
nikon-d1.nef 1006x662 2012x1324
canon-d30-5s.crw 1088x724 2176x1448
kodak-dc50.kdc 384x256 768x512
lg-g4-linear-lossy-gps.dng 300x168 600x337
EOF
    dw render "$data/real/nikon-d1.nef" -o tiff --site 52,13 --format tiff --space rec2020
    ok "as TIFF" test -s tiff/frames/frame-00001.tif
    dw render "$data/real/nikon-d1.nef" -o light --site 52,13 --format exr
    ok "as OpenEXR" test -s light/frames/frame-00001.exr
    dw render "$data/real/nikon-d500-linear-lossy.dng" -o dark --site 52,13
    ok "a true dark frame ends well" ended 0
    dw render "$data/odd" "$data/stubs" -o odd --site 52,13
    ok "nothing but damaged and empty files: said, nothing made" sh -c \
        "[ $status -eq 1 ] && [ ! -e odd/frames ]"
fi
done_testing
