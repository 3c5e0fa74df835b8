"""Lays the program's outputs side by side as the README's pictures; called by make_pictures.sh.

    python docs/arrange_pictures.py FOLDER REFERENCE
"""

import json
import sys
from pathlib import Path

import numpy as np
from PIL import Image

MOST_BYTES = 300_000
GROUND = 226
GAP = 24


def lightness_to_grey(lightness):
    """sRGB grey (0 to 255) of a lightness L* (CIE 15, IEC 61966-2-1)."""
    y = ((lightness + 16) / 116) ** 3 if lightness > 8 else lightness * 27 / 24389
    return round(255 * (12.92 * y if y <= 0.0031308 else 1.055 * y ** (1 / 2.4) - 0.055))


def row(pictures):
    """Pictures beside each other on a grey table, each by its middle."""
    height = max(p.height for p in pictures) + 2 * GAP
    table = Image.new("L", (sum(p.width + GAP for p in pictures) + GAP, height), GROUND)
    x = GAP
    for p in pictures:
        table.paste(p, (x, (height - p.height) // 2))
        x += p.width + GAP
    return table


def save(picture, name, greys):
    """As a palette of few greys: line and flat tone lose nothing by it."""
    picture.convert("L").quantize(greys, dither=Image.Dither.NONE).save(name, optimize=True)
    size = Path(name).stat().st_size
    print(f"{name}: {picture.width} x {picture.height}, {size // 1000} kB")
    if size > MOST_BYTES:
        sys.exit(f"{name} is too large")


def main():
    folder, reference = Path(sys.argv[1]), Image.open(sys.argv[2]).convert("L")
    sheet = Image.open(folder / "a4.png")
    save(sheet, "examples/still-life-underdrawing.png", 16)

    # Each value is shown as the middle of its range of lightness; bare paper and solid black as themselves.
    breaks = json.loads((folder / "a4.json").read_text())["breaks"]
    edges = [100.0, *breaks, 0.0]
    greys = [lightness_to_grey((a + b) / 2) for a, b in zip(edges, edges[1:])]
    greys[0], greys[-1] = 255, 0
    numbers = np.asarray(Image.open(folder / "values.png"))
    values = Image.fromarray(np.array([0, *greys], dtype=np.uint8)[numbers])
    size = (560, round(560 * values.height / values.width))
    pair = [p.resize(size, Image.Resampling.LANCZOS) for p in (reference, values)]
    save(row(pair), "docs/pictures/values.png", 16)

    save(row([Image.open(folder / f"plain-{k}.png").convert("L") for k in (0, 55, 90)]), "docs/pictures/plainness.png", 8)

    plan, key = (Image.open(folder / f"plan-{page}.png").convert("L") for page in (1, 2))
    # The key's page as far down as it is printed.
    printed = np.flatnonzero((np.asarray(key) < 128).any(axis=1))
    save(row([plan, key.crop((0, 0, key.width, int(printed[-1]) + 40))]), "docs/pictures/value-plan.png", 16)

    structure = Image.open(folder / "structure.png").convert("L")
    printed = np.flatnonzero((np.asarray(structure) < 128).any(axis=1))
    save(row([structure.crop((0, 0, structure.width, int(printed[-1]) + 40))]), "docs/pictures/value-structure.png", 16)
    save(row([Image.open(folder / "work-1.png").convert("L")]), "docs/pictures/working-order.png", 16)

    pair = [Image.open(folder / f"squared-{page}.png").convert("L") for page in (1, 2)]
    save(row(pair), "docs/pictures/squared-reference.png", 16)

    pages = [Image.open(page).convert("L") for page in sorted(folder.glob("packet-*.png"))]
    save(row(pages), "docs/pictures/packet.png", 16)

    # The picture alone, without the bare paper around it: 170 x 200 mm from 20 and 48.5 mm on, at 90 dpi.
    box = tuple(round(mm / 25.4 * 90) for mm in (17, 45, 193, 252))
    pair = [Image.open(folder / f"{name}.png").convert("L").crop(box) for name in ("plain", "by-hand")]
    save(row(pair), "docs/pictures/by-hand.png", 16)

    papers = [sheet, Image.open(folder / "a5.png")]
    papers = [p.convert("L").resize((p.width * 5 // 8, p.height * 5 // 8), Image.Resampling.LANCZOS) for p in papers]
    save(row(papers), "docs/pictures/two-papers.png", 8)


if __name__ == "__main__":
    main()
