#!/bin/bash
# Makes the README's pictures anew from the program's own output. Needs rsvg-convert, pdftoppm, and Python with
# pillow, numpy and opencv-python-headless (PYTHON names it; else python3). Run from anywhere: docs/make_pictures.sh
set -euo pipefail
cd "$(dirname "$0")/.."
python=${PYTHON:-python3}
scratch=$(mktemp -d)
trap 'rm -rf "$scratch"' EXIT
cargo build --release --quiet
merestone=${CARGO_TARGET_DIR:-target}/release/merestone
reference=examples/still-life-hatched.png

draw() { "$merestone" draw "$reference" --quiet --overwrite "$@"; }

# The sheet as a viewer shows the PDF, and as a drawing program shows the SVG.
draw --paper a4 -o "$scratch/a4.pdf" --value-map "$scratch/values.png" --report "$scratch/a4.json"
pdftoppm -r 120 -gray -png -singlefile "$scratch/a4.pdf" "$scratch/a4"
draw --paper a5 --margin 10mm -o "$scratch/a5.pdf"
pdftoppm -r 120 -gray -png -singlefile "$scratch/a5.pdf" "$scratch/a5"
for plainness in 0 55 90; do
  draw --paper a4 --plainness "$plainness" -o "$scratch/plain-$plainness.svg"
  rsvg-convert --dpi-x 70 --dpi-y 70 --background-color white -o "$scratch/plain-$plainness.png" \
    "$scratch/plain-$plainness.svg"
done
draw --paper a5 --margin 10mm --chain --plotter "$scratch/plotter.svg" --order-view "$scratch/order.svg" -o "$scratch/a5.svg"
rsvg-convert --dpi-x 110 --dpi-y 110 --background-color white -o docs/pictures/plotter-order.png "$scratch/order.svg"
"$merestone" plan "$reference" --quiet --overwrite --paper a4 -o "$scratch/plan.pdf"
pdftoppm -r 100 -gray -png "$scratch/plan.pdf" "$scratch/plan"
"$merestone" structure "$reference" --quiet --overwrite --paper a4 -o "$scratch/structure.pdf"
pdftoppm -r 100 -gray -png -singlefile "$scratch/structure.pdf" "$scratch/structure"
"$merestone" order "$reference" --quiet --overwrite --paper a4 -o "$scratch/work.pdf"
pdftoppm -r 100 -gray -png "$scratch/work.pdf" "$scratch/work"
"$merestone" squared "$reference" --quiet --overwrite --paper a4 -o "$scratch/squared.pdf"
pdftoppm -r 70 -gray -png "$scratch/squared.pdf" "$scratch/squared"
"$merestone" packet "$reference" --quiet --overwrite --paper a4 -o "$scratch/packet.pdf"
pdftoppm -r 40 -gray -png "$scratch/packet.pdf" "$scratch/packet"
# The tonal still life, and what was decided by hand for it.
"$merestone" draw examples/still-life-tonal.png --quiet --overwrite -o "$scratch/plain.svg"
"$merestone" draw docs/by-hand.toml --quiet --overwrite -o "$scratch/by-hand.svg"
for name in plain by-hand; do
  rsvg-convert --dpi-x 90 --dpi-y 90 --background-color white -o "$scratch/$name.png" "$scratch/$name.svg"
done
# A page of a book as it comes: needs OpenCV too.
"$python" docs/photograph_page.py "$reference" "$scratch/page.jpg"
"$merestone" draw "$scratch/page.jpg" --quiet --find-page --even-light --before-after "$scratch/look.png" \
  --overwrite -o "$scratch/page.svg"
"$python" -c 'import sys; from PIL import Image; look = Image.open(sys.argv[1])
look.resize((look.width * 2 // 3, look.height * 2 // 3), Image.LANCZOS).quantize(24, dither=0).save(sys.argv[2], optimize=True)' \
  "$scratch/look.png" docs/pictures/page-photograph.png
"$python" docs/arrange_pictures.py "$scratch" "$reference"
