#!/bin/sh
# Makes the part of DejaVu Sans Condensed that is embedded: make_part.sh DejaVuSansCondensed.ttf (needs fonttools).
set -eu
cd "$(dirname "$0")"
pyftsubset "$1" --output-file=DejaVuSansCondensed-part.ttf --no-hinting --desubroutinize --layout-features='' \
    --drop-tables+=GSUB,GPOS,GDEF,kern,FFTM --notdef-outline --name-IDs='0,1,2,3,4,5,6,13,14' \
    --unicodes='U+0020-007E,U+00A0-00AC,U+00AE-017F,U+0218-021B,U+0386,U+0388-03CE,U+0400-045F,U+0490-0491,U+2010-2015,U+2018-201E,U+2022,U+2026,U+2030,U+2032-2033,U+2039-203A,U+20AC,U+2190-2193,U+2212'
