"""The squared reference, checked with shapely (GEOS), Pillow and MuPDF.

    MERESTONE=target/release/merestone python tests/outside/check_squared.py --examples examples --folder /tmp
    ... --pictures FOLDER     # besides, every picture of a folder; --only NAME for one

The page as MuPDF draws it is compared with the reference as Pillow places it: moved by fractions of a pixel until it fits
best (phase correlation, scikit-image), it has to lie where the report says within 0.05 mm, on the sheet and in each
enlargement, and be the same grey. Names of squares stand beside their columns and rows. Boundary lines of the net file, cut by
the squares by GEOS, are as long as the report says, and the longest are enlarged. The exit code is 1 when anything is off.
"""

import argparse
import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pymupdf
import shapely
from check_order import squares_of
from check_promises import flatten, inputs
from PIL import Image
from shapely.geometry import LineString
from skimage.registration import phase_cross_correlation

# Viewers move an image to whole pixels of the page, and poppler by half a pixel of the image besides.
DPI = 600
PLACE_MM, LINE_MM, GREY = 0.05, 0.02, 0.04
# How a viewer fills in between the picture's own pixels, which are 1 mm large in some enlargements, is the viewer's own: a place
# is no surer than this share of such a pixel (up to 0.06 of one was found with MuPDF's against Pillow's bicubic curve).
PIXEL_SHARE = 0.1
# A line that runs along the edge of a square, within rounding and flattening, is in either of the two.
EDGE_MM = 0.0015
VARIANTS = [[], ["--enlarged", "12", "--enlarge-by", "3", "--squares", "20mm"], ["--rotate", "90", "--enlarged", "2"]]


def run(picture, stem, more):
    files = {"pdf": f"{stem}.pdf", "report": f"{stem}.json", "net": f"{stem}-net.json"}
    command = [os.environ["MERESTONE"], "squared", str(picture), "--paper", "a4", "--quiet", "--overwrite", "--keep-frame"]
    command += ["-o", files["pdf"], "--report", files["report"], "--net", files["net"], *more]
    done = subprocess.run(command, capture_output=True, text=True, timeout=600)
    if done.returncode != 0:
        raise SystemExit(f"{' '.join(command)}\nexit code {done.returncode}: {done.stderr}")
    read = lambda name: json.loads(Path(files[name]).read_text())
    return files["pdf"], read("report"), read("net")


def drawn(pdf, page):
    with pymupdf.open(pdf) as opened:
        made = opened[page - 1].get_pixmap(dpi=DPI, colorspace=pymupdf.csGRAY)
        return np.frombuffer(made.samples, np.uint8).reshape(made.h, made.stride)[:, : made.w].astype(np.float32) / 255


def grey_of(picture):
    """Grey of a picture, the luminance of its colours in linear light (IEC 61966-2-1), encoded by the same curve."""
    rgb = np.asarray(Image.open(picture).convert("RGB"), float) / 255
    light = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4) @ [0.2126, 0.7152, 0.0722]
    return np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)


def placed(grey, rect, picture_mm, turned, scale):
    """The part of a picture that fills a rectangle (mm on it), at a scale in pixels per mm, as Pillow resamples it."""
    px = grey.shape[1] / picture_mm[0], grey.shape[0] / picture_mm[1]
    x, y, w, h = rect
    out = max(1, round(w * scale)), max(1, round(h * scale))
    image = Image.fromarray(grey.astype(np.float32), "F")
    part = image.resize(out, Image.Resampling.BOX if px[0] > scale else Image.Resampling.BICUBIC,
                        box=(x * px[0], y * px[1], (x + w) * px[0], (y + h) * px[1]))
    return np.rot90(np.asarray(part), -1) if turned else np.asarray(part)


def fit(image, wanted, at, scale, name, pixel_mm):
    """Faults of a picture of pixels so large that is to lie in an image with its corner at `at` (all in mm)."""
    # The window begins at a whole pixel, so what is left of a pixel is a shift to be expected.
    left, top = (np.asarray(at) * scale).round().astype(int)
    left_over = np.asarray(at) * scale - [left, top]
    seen = image[top : top + wanted.shape[0], left : left + wanted.shape[1]]
    if seen.shape != wanted.shape:
        return [f"{name} reaches out of the page"], 0.0
    # Grid lines are on the page and not in the picture: they are left out of both.
    inner = np.s_[12:-12, 12:-12]
    shift = phase_cross_correlation(wanted[inner], seen[inner], upsample_factor=20, normalization=None)[0]
    off = np.hypot(shift[1] + left_over[0], shift[0] + left_over[1]) / scale
    faults = [f"{name} lies {off:.3f} mm off its place"] if off > max(PLACE_MM, PIXEL_SHARE * pixel_mm) else []
    differ = float(np.median(np.abs(seen[inner] - wanted[inner])))
    if differ > GREY:
        faults.append(f"{name} is another grey: {differ:.3f} off")
    return faults, off


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--examples", default="examples")
    parser.add_argument("--folder", type=Path, required=True)
    parser.add_argument("--pictures", type=Path)
    parser.add_argument("--only")
    args = parser.parse_args()
    folder = args.folder / "squared"
    folder.mkdir(parents=True, exist_ok=True)
    pictures = list(inputs(args.examples, folder))
    if args.pictures:
        pictures += [(p.stem, p, []) for p in sorted(args.pictures.iterdir()) if p.suffix in (".jpg", ".png")]
    wrong = looked_at = 0
    for name, picture, more in (p for p in pictures if args.only in (None, p[0])):
        grey = grey_of(picture)
        for k, variant in enumerate(VARIANTS):
            pdf, report, net = run(picture, folder / f"{name}-{k}", more + variant)
            p, of, scale = report["picture_mm"], report["squared"], DPI / 25.4
            size, turned = (p["width"], p["height"]), report["print"]["turned"] == 90
            faults = []
            if of["picture_px"] != [grey.shape[1], grey.shape[0]]:
                faults.append(f"the picture has {of['picture_px']} pixels")
            # Turned clockwise, the sheet's left bottom corner comes to lie at its top left.
            height = report["sheet_mm"]["height"]
            at = (height - p["y"] - p["height"], p["x"]) if turned else (p["x"], p["y"])
            pixel_mm = size[0] / grey.shape[1]
            wanted = placed(grey, (0, 0, *size), size, turned, scale)
            own, worst = fit(drawn(pdf, 1), wanted, at, scale, "the picture", pixel_mm)
            faults += own
            all_squares = squares_of(report)
            sheet_pages = len(report["print"]["pages"])
            for square in of["enlarged"]:
                x0, y0, x1, y1 = all_squares[square["name"]].bounds
                rect = x0 - p["x"], y0 - p["y"], x1 - x0, y1 - y0
                wanted = placed(grey, rect, size, False, scale * square["scale"])
                image = drawn(pdf, sheet_pages + square["page"])
                own, off = fit(image, wanted, square["rect_mm"][:2], scale, f"{square['name']} enlarged", pixel_mm * square["scale"])
                faults, worst, looked_at = faults + own, max(worst, off), looked_at + 1
                if max(abs(square["rect_mm"][2 + i] - rect[2 + i] * square["scale"]) for i in (0, 1)) > 0.01:
                    faults.append(f"{square['name']} is not {square['scale']} times as large")
            lines = [LineString(flatten(t["cubics"])) for t in net["transitions"] if not t.get("suppressed")]
            lines = shapely.union_all([*lines, *(LineString(flatten(t["cubics"])) for t in net["thin"])])
            for square in of["squares"]:
                outline, mm = all_squares[square["name"]], square["line_mm"]
                least, most = (lines.intersection(outline.buffer(by, join_style="mitre")).length for by in (-EDGE_MM, EDGE_MM))
                if not least - LINE_MM <= mm <= most + LINE_MM:
                    faults.append(f"{square['name']}: {least:.3f} to {most:.3f} mm of line, not {mm}")
            names = [s["name"] for s in of["squares"]]
            if sorted(names) != sorted(all_squares) or [s["name"] for s in of["enlarged"]] != names[: len(of["enlarged"])]:
                faults.append("the squares are not all there, or others are enlarged than those with most line")
            if any(a["line_mm"] < b["line_mm"] for a, b in zip(of["squares"], of["squares"][1:])):
                faults.append("the squares are out of order")
            with pymupdf.open(pdf) as opened:
                if len(opened) != sheet_pages + of["pages"]:
                    faults.append("pages are missing")
                mm = 25.4 / 72
                for square in of["enlarged"]:
                    x, y, w, h = square["rect_mm"]
                    words = opened[sheet_pages + square["page"] - 1].get_text("words")
                    under = [t for t in words if t[4] == square["name"] and 0 < t[1] * mm - y - h < 2 + 3 * square["scale"] and abs(t[0] * mm - x) < 3 * square["scale"]]
                    if not under:
                        faults.append(f"{square['name']} has no name under it")
                if not turned:
                    side = report["print"]["squares"]["side_mm"]
                    words = [(t[4], (t[0] + t[2]) / 2 * mm, t[1] * mm) for t in opened[0].get_text("words")]
                    for column in range(report["print"]["squares"]["columns"]):
                        left, right = column * side, min((column + 1) * side, p["width"])
                        middle, letter = p["x"] + (left + right) / 2, "ABCDEFGHJKLMNPQRSTUVWXYZ"[column]
                        if right - left > 4 and not any(t == letter and abs(a - middle) < 0.1 and b < p["y"] for t, a, b in words):
                            faults.append(f"column {letter} has no name above it")
            wrong += bool(faults)
            print(f"{name:22} {k} {len(names):4} squares, {len(of['enlarged']):3} enlarged; off by {worst:.3f} mm at most")
            for fault in faults[:20]:
                print(f"  FAULT {fault}")
    sys.exit(1 if wrong or looked_at < 2 else 0)


if __name__ == "__main__":
    main()
