#!/bin/sh
# Check one drawing's SVG and PDF with tools that are not ours.
#
# Usage: check_outputs.sh OUT.svg OUT.pdf
# Needs xmllint, qpdf, pdfinfo and pdftoppm (poppler), rsvg-convert (librsvg), python3 with numpy and Pillow
# (PYTHON names another interpreter). A missing tool is a failure, never a pass.
set -eu

svg=$1
pdf=$2
python=${PYTHON:-python3}
dpi=300
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT

fail() {
    echo "check_outputs: $1" >&2
    exit 1
}

for tool in xmllint qpdf pdfinfo pdftoppm rsvg-convert "$python"; do
    command -v "$tool" >/dev/null || fail "$tool is not installed"
done
for file in "$svg" "$pdf"; do
    [ -s "$file" ] || fail "$file is missing or empty"
done

xmllint --noout --nonet "$svg" || fail "$svg is not well formed"
qpdf --check "$pdf" >"$work/qpdf.txt" 2>&1 || { cat "$work/qpdf.txt" >&2; fail "qpdf finds fault with $pdf"; }

# The sheet in mm as the SVG states it, against the boxes of the PDF in points.
side() { xmllint --xpath "string(/*/@$1)" "$svg"; }
case "$(side width) $(side height)" in
    *mm\ *mm) ;;
    *) fail "$svg does not state its size in mm" ;;
esac
width=$(side width); width=${width%mm}
height=$(side height); height=${height%mm}
[ "$(side viewBox)" = "0 0 $width $height" ] || fail "the viewBox of $svg is not its size in mm"
pdfinfo -box "$pdf" >"$work/info.txt" 2>&1 || fail "pdfinfo cannot read $pdf"
awk -v w="$width" -v h="$height" '
    /^(MediaBox|CropBox|TrimBox):/ {
        seen++
        if (($4 - w * 72 / 25.4) ^ 2 > 1e-4 || ($5 - h * 72 / 25.4) ^ 2 > 1e-4) { print; bad = 1 }
    }
    END { if (seen != 3) { print "found", seen + 0, "boxes, not 3"; bad = 1 } exit bad }
' "$work/info.txt" >&2 || fail "the boxes of $pdf are not $width x $height mm"
[ "$(pdfinfo "$pdf" | awk '/^Pages:/ { print $2 }')" = 1 ] || fail "$pdf has not one page"
# qpdf shows the catalog's /PrintScaling once the streams are laid open.
qpdf --qdf --object-streams=disable "$pdf" "$work/open.pdf"
grep -aq '/PrintScaling /None' "$work/open.pdf" || fail "$pdf does not ask to be printed unscaled"

# Both drawn by other programs, the ink is in the same places.
pdftoppm -r $dpi -png -singlefile "$pdf" "$work/pdf" || fail "pdftoppm cannot draw $pdf"
pixels() { awk -v mm="$1" -v dpi=$dpi 'BEGIN { printf "%d", mm / 25.4 * dpi + 0.5 }'; }
rsvg-convert --unlimited -b white -w "$(pixels "$width")" -h "$(pixels "$height")" -o "$work/svg.png" "$svg" \
    || fail "rsvg-convert cannot draw $svg"
"$python" "$(dirname "$0")/compare_renders.py" "$work/pdf.png" "$work/svg.png" $dpi \
    || fail "$svg and $pdf do not show the same drawing"
if [ -n "${KEEP:-}" ]; then cp "$work/pdf.png" "$work/svg.png" "$KEEP"; fi
echo "check_outputs: $svg and $pdf are sound, $width x $height mm"
