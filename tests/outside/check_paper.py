"""The sheet on the paper, checked with poppler, MuPDF, librsvg, resvg, pikepdf (QPDF's library) and qpdf.

    MERESTONE=target/release/merestone python tests/outside/check_paper.py --examples examples --folder /tmp

Expected places come from the report and the net, never from the file that is measured: ends of the rules, register
crosses and boundary lines, at 600 dpi, on A4, on letter and on every page of two tiled sheets. resvg's picture is the
program's own PNG, which that crate draws from the SVG. Tiles are cut at their trim lines and rejoined as images, and
compared with the sheet printed whole. Prints a table; the exit code is 1 when anything is off.
"""

import argparse
import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pikepdf
import pymupdf
from PIL import Image
from scipy.ndimage import gaussian_filter, map_coordinates
from scipy.spatial import cKDTree

Image.MAX_IMAGE_PIXELS = None
# How far anything may lie from where it should be.
TOLERANCE_MM = 0.05
DPI = 600
# What no run here changes: how near to its edge a printer prints.
PRINTER_MARGIN_MM = 5
# Rejoined pages: width of the mean before comparing, and the share of a whole line that may differ at one dpi. What differs are
# letters: MuPDF lays glyphs on whole pixels, so a number's place is off by up to half a pixel, and differently on a page and on the
# sheet. On A3 that was 0.278 of a line at 150 dpi, 0.109 at 300 and 0.059 at 600.
MEAN_MM, TILE_SHARE = 0.3, 45
# What a rule's scales are divided by at their longest divisions, in mm, and how long those are (ticks between are shorter).
TEN_MM, INCH_MM, LONG_MM = 10, 25.4, (1.75, 2.1)
LAYERS = {"Reference", "Hard edges", "Soft edges", "Working squares", "Numbers", "Marks"}
faults = []


def fault(text):
    faults.append(text)
    print(f"FAULT {text}")


def draw(folder, name, picture, *options, svg=False, png=False):
    files = [folder / f"{name}.pdf"] + [folder / f"{name}.svg"] * svg + [folder / f"{name}.png"] * png
    command = [os.environ["MERESTONE"], "draw", str(picture), "--quiet", "--overwrite", *options]
    command += [part for f in files for part in ("-o", str(f))]
    command += ["--report", str(folder / f"{name}.json"), "--net", str(folder / f"{name}-net.json")]
    done = subprocess.run(command, capture_output=True, text=True, timeout=600)
    if done.returncode != 0:
        raise SystemExit(f"{' '.join(command)}\nexit code {done.returncode}: {done.stderr}")
    read = lambda path: json.loads(path.read_text())
    return files[0], read(folder / f"{name}.json"), read(folder / f"{name}-net.json")


def darkness(grey):
    return 1 - np.asarray(grey, np.float32) / 255


def by_poppler(pdf, page, folder):
    out = folder / "poppler"
    subprocess.run(
        ["pdftoppm", "-r", str(DPI), "-gray", "-singlefile", "-f", str(page + 1), "-l", str(page + 1), pdf, out],
        check=True,
    )
    return darkness(Image.open(f"{out}.pgm"))


def by_mupdf(pdf, page, dpi=DPI):
    with pymupdf.open(pdf) as document:
        pixmap = document[page].get_pixmap(dpi=dpi, colorspace=pymupdf.csGRAY)
        return darkness(np.frombuffer(pixmap.samples, np.uint8).reshape(pixmap.height, pixmap.stride)[:, : pixmap.width])


def sample(image, points_mm, px_per_mm):
    # The middle of the first pixel lies half a pixel from the edge.
    rows_columns = points_mm[..., ::-1].reshape(-1, 2).T * px_per_mm - 0.5
    return map_coordinates(image, rows_columns, order=1).reshape(points_mm.shape[:-1])


def offset(image, at, normal, reach, px_per_mm):
    """How far a line that should pass through each point lies along the normal there, in mm."""
    steps = np.linspace(-reach, reach, int(reach * 200) + 1)
    ink = sample(image, at[:, None] + steps[None, :, None] * normal[:, None], px_per_mm)
    total = ink.sum(axis=1)
    return np.where(total > 1e-3, (ink * steps).sum(axis=1) / np.maximum(total, 1e-3), np.inf)


def straight(image, start, end, px_per_mm, reach=0.3):
    """Median distance of a straight stretch from where it should be: a line that crosses it does not count."""
    start, end = np.array(start, float), np.array(end, float)
    way = (end - start) / np.linalg.norm(end - start)
    at = start + np.linspace(0, 1, 25)[:, None] * (end - start)
    normal = np.repeat([[-way[1], way[0]]], 25, axis=0)
    return abs(np.median(offset(image, at, normal, reach, px_per_mm)))


def cross_off(image, middle, px_per_mm):
    x, y = middle
    worst = 0
    # Clear of the middle and of the ends; dashes of trim lines lie along the arms and have the same middle.
    for a, b in ((0.4, 2.8), (-2.8, -0.4)):
        worst = max(worst, straight(image, (x + a, y), (x + b, y), px_per_mm))
        worst = max(worst, straight(image, (x, y + a), (x, y + b), px_per_mm))
    return worst


def rule_off(image, rule, px_per_mm):
    """The ends of both scales: only divisions of ten, and of an inch, are as long as where they are looked at."""
    worst = 0
    for along, side in ((0, -1), (rule["mm"], -1), (0, 1), (rule["inches"] * 25.4, 1)):
        x, y = rule["x"], rule["y"]
        # A rule to the right has its mm above it, one that runs down at its left.
        ends = [(x + side * s, y + along) if rule["down"] else (x + along, y + side * s) for s in (1.75, 2.1)]
        worst = max(worst, straight(image, *ends, px_per_mm))
    return worst


def divisions_off(image, rule, low, high, px_per_mm):
    """How many of a rule's longest divisions lie between two corners of a page, and how far the worst is off."""
    count, worst = 0, 0
    for step, number, side in ((TEN_MM, rule["mm"] / TEN_MM, -1), (INCH_MM, rule["inches"], 1)):
        for along in step * np.arange(round(number) + 1):
            x, y = rule["x"], rule["y"]
            ends = np.array([(x + side * s, y + along) if rule["down"] else (x + along, y + side * s) for s in LONG_MM])
            if (ends > low).all() and (ends < high).all():
                count, worst = count + 1, max(worst, straight(image, *ends, px_per_mm))
    return count, worst


def check_assembly(name, page, report, image, px_per_mm):
    """The rules of the page that shows how the others go together, which the printer is measured by."""
    width, height = page["size_mm"]
    # Laid out from the page's edge: 5 mm inside what the printer reaches, and 3 mm more from foot and right.
    edge = PRINTER_MARGIN_MM + 5
    foot = {"x": edge, "y": height - edge - 3, "down": False}
    # The longest division at 200 mm is there on the long rule alone.
    counts = []
    for mm, inches in ((200, 8), (100, 4)):
        count, off = divisions_off(image, {**foot, "mm": mm, "inches": inches}, np.zeros(2), np.array(page["size_mm"]), px_per_mm)
        counts.append((off, count, mm))
        if off <= TOLERANCE_MM:
            break
    off, count, mm = counts[-1]
    print(f"{name}, assembly: {count} divisions of a rule of {mm} mm are off by {off:.3f} mm at most")
    if not (off <= TOLERANCE_MM and count > 0):
        fault(f"{name}, assembly: the rule along the foot is off: {counts}")


def places(net):
    """Points along the boundary lines with their normals, where no other line is near and the line is straight."""
    points, normals, line = [], [], []
    # Thin marks are drawn too, so a line beside one is not alone; they are measured like the others.
    for k, transition in enumerate([*net["transitions"], *net["thin"]]):
        p = np.array(transition["cubics"], float)
        for i in range(0, len(p) - 3, 3):
            a, b, c, d = p[i : i + 4]
            # Close enough that no line beside a long straight one is overlooked.
            count = max(21, int(np.linalg.norm([b - a, c - b, d - c], axis=1).sum() / 0.1))
            t = np.linspace(0, 1, count)[1:-1, None]
            at = (1 - t) ** 3 * a + 3 * t * (1 - t) ** 2 * b + 3 * t**2 * (1 - t) * c + t**3 * d
            way = 3 * (1 - t) ** 2 * (b - a) + 6 * t * (1 - t) * (c - b) + 3 * t**2 * (d - c)
            way /= np.maximum(np.linalg.norm(way, axis=1, keepdims=True), 1e-9)
            points.append(at)
            normals.append(np.c_[-way[:, 1], way[:, 0]])
            line.append(np.full(len(at), k))
    points, normals, line = np.vstack(points), np.vstack(normals), np.concatenate(line)
    # Straight and alone: whatever is within 1.5 mm lies on the tangent and runs along it.
    keep = []
    for i, near in enumerate(cKDTree(points).query_ball_point(points, 1.5)):
        near = np.array(near)
        across = np.abs((points[near] - points[i]) @ normals[i])
        alike = np.abs(normals[near] @ normals[i])
        keep.append((line[near] == line[i]).all() and across.max() < 0.06 and alike.min() > 0.99)
    keep = np.array(keep)
    return points[keep], normals[keep]


def moved(matrix, points):
    a, b, c, d, e, f = matrix
    points = np.asarray(points, float)
    return points @ np.array([[a, b], [c, d]]) + [e, f]


def shown_to_page(page, report):
    """From the sheet as shown to the page; the report has it from the sheet as it is (here never turned)."""
    a, b, c, d, e, f = page["sheet_to_page"]
    return [-a, b, c, d, e + a * report["sheet_mm"]["width"], f] if report["print"]["mirrored"] else [a, b, c, d, e, f]


def check_places(name, pdf, report, net, folder):
    points, normals = places(net)
    tiled = len(report["print"]["pages"]) > 1
    px_per_mm = DPI / 25.4
    seen = 0
    for number, page in enumerate(report["print"]["pages"]):
        if page["name"] == "assembly":
            check_assembly(name, page, report, by_poppler(pdf, number, folder), px_per_mm)
            continue
        shown = shown_to_page(page, report)
        at = moved(page["sheet_to_page"], points)
        normal = moved([*page["sheet_to_page"][:4], 0, 0], normals)
        low, high = np.zeros(2), np.array(page["size_mm"])
        if tiled:
            left, top, width, height = page["trimmed_mm"]
            low, high = moved(shown, [[left, top], [left + width, top + height]])
        # Clear of trim lines and of the crosses on them.
        inner = ((at > low + 4) & (at < high - 4)).all(axis=1)
        at, normal = at[inner][::5], normal[inner][::5]
        crosses = [tuple(c) for c in page["crosses_mm"]]
        for middle in moved(shown, report["print"]["crosses_mm"]):
            # A cross that a trim line, or the page's own cross, passes by is left to the other measures.
            if (middle > low + 4).all() and (middle < high - 4).all():
                crosses.append(tuple(middle))
        rules, parts = [], []
        for rule in report["print"]["rules"]:
            x, y = moved(shown, [[rule["x"], rule["y"]]])[0]
            parts.append({**rule, "x": x, "y": y})
            length = max(rule["mm"], rule["inches"] * 25.4)
            end = np.array([x, y + length] if rule["down"] else [x + length, y])
            if ([x, y] > low + 4).all() and (end < high - 4).all():
                rules.append({**rule, "x": x, "y": y})
        for renderer, image in (("poppler", by_poppler(pdf, number, folder)), ("mupdf", by_mupdf(pdf, number))):
            divisions = [divisions_off(image, r, low + 4, high - 4, px_per_mm) for r in parts]
            worst = {
                "crosses": max((cross_off(image, c, px_per_mm) for c in crosses), default=0),
                "rules": max((rule_off(image, r, px_per_mm) for r in rules), default=0),
                "divisions": max((off for _, off in divisions), default=0),
                "lines": np.abs(offset(image, at, normal, 0.6, px_per_mm)).max() if len(at) else 0,
            }
            counts = {"crosses": len(crosses), "rules": len(rules), "lines": len(at)}
            counts["divisions"] = sum(count for count, _ in divisions)
            seen += counts["divisions"]
            text = ", ".join(f"{counts[k]} {k} {worst[k]:.3f} mm" for k in worst)
            print(f"{name}, {page['name']}, {renderer}: {text}")
            for k, off in worst.items():
                if not off <= TOLERANCE_MM:
                    fault(f"{name}, {page['name']}, {renderer}: {k} are off by {off:.3f} mm")
            if not tiled and min(counts.values()) == 0:
                fault(f"{name}: nothing to measure: {counts}")
            if min(counts["crosses"], counts["lines"]) == 0:
                fault(f"{name}, {page['name']}: nothing to measure: {counts}")
    # A rule of 200 mm has 21 tens and 9 inches; some lie too near a trim line, or are cut by it.
    if seen < 60:
        fault(f"{name}: only {seen} divisions of rules were measured")


def check_shared_crosses(name, report):
    """Each cross of a page's own lies at one place of the sheet on both pages that share it."""
    found = []
    for page in report["print"]["pages"]:
        a, b, c, d, e, f = page["sheet_to_page"]
        for x, y in page["crosses_mm"]:
            found.append(np.linalg.solve([[a, c], [b, d]], [x - e, y - f]))
    pairs = cKDTree(found).query_pairs(0.01) if found else set()
    if not found or 2 * len(pairs) != len(found):
        fault(f"{name}: {len(found)} crosses make {len(pairs)} pairs")
    print(f"{name}: {len(pairs)} crosses coincide on neighbours")


def check_svg(name, picture, paper, folder):
    pdf, report, net = draw(folder, name, picture, "--paper", paper, "--marks", "none", svg=True, png=True)
    points, normals = places(net)
    points, normals = points[::5], normals[::5]
    out = folder / f"{name}-rsvg.png"
    size = [str(DPI)] * 2
    subprocess.run(
        ["rsvg-convert", "--dpi-x", size[0], "--dpi-y", size[1], "-b", "white", "-o", out, folder / f"{name}.svg"],
        check=True,
    )
    width = report["sheet_mm"]["width"]
    images = {
        "poppler": by_poppler(pdf, 0, folder),
        "rsvg-convert": darkness(Image.open(out).convert("L")),
        "resvg": darkness(Image.open(folder / f"{name}.png").convert("L")),
    }
    offs = {}
    for renderer, image in images.items():
        px_per_mm = image.shape[1] / width if renderer == "resvg" else DPI / 25.4
        offs[renderer] = offset(image, points, normals, 0.6, px_per_mm)
    for renderer in ("rsvg-convert", "resvg"):
        apart = np.abs(offs[renderer] - offs["poppler"]).max()
        print(f"{name}: SVG by {renderer} and PDF are at most {apart:.3f} mm apart on {len(points)} places")
        if not apart <= TOLERANCE_MM:
            fault(f"{name}: SVG by {renderer} and PDF are {apart:.3f} mm apart")


def without_marks(pdf):
    """The same PDF with the layer of marks switched off: trim lines lie half inside the trimmed page."""
    out = pdf.with_name(f"{pdf.stem}-plain.pdf")
    with pikepdf.open(pdf) as document:
        optional = document.Root.OCProperties
        off = [g for g in optional.OCGs if str(g.Name) == "Marks"]
        optional.D.OFF = pikepdf.Array(off)
        optional.D.ON = pikepdf.Array([g for g in optional.OCGs if str(g.Name) != "Marks"])
        document.save(out)
    return out


def rejoined(pages, shape, px_per_mm, wrong_mm=0.0):
    """The pages cut at their trim lines, laid together; `wrong_mm` moves the first of them."""
    sheet = np.full(shape, np.nan, np.float32)
    for k, (image, shown, (left, top, width, height)) in enumerate(pages):
        edge = lambda mm: int(np.ceil(mm * px_per_mm - 0.5))
        rows = np.arange(edge(top), min(edge(top + height), shape[0]))
        columns = np.arange(edge(left), min(edge(left + width), shape[1]))
        x, y = np.meshgrid((columns + 0.5) / px_per_mm, (rows + 0.5) / px_per_mm)
        at = moved(shown, np.stack([x.ravel(), y.ravel()], axis=1)) + (wrong_mm if k == 0 else 0)
        part = sample(image, at, px_per_mm).reshape(x.shape)
        if not np.isnan(sheet[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]).all():
            fault("two pages claim the same part of the sheet")
        sheet[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1] = part
    # What no page shows has to be bare.
    return np.nan_to_num(sheet)


def check_tiles(name, picture, paper, page, dpi, options, folder):
    for mirror in ([], ["--mirror"]):
        both = ["--paper", paper, *options, *mirror]
        whole_pdf, whole, _ = draw(folder, f"{name}-whole", picture, *both)
        tiled_pdf, report, _ = draw(folder, f"{name}-tiles", picture, *both, "--print-on", page)
        px_per_mm = dpi / 25.4
        single = by_mupdf(without_marks(whole_pdf), 0, dpi)
        plain = without_marks(tiled_pdf)
        pages = [
            (by_mupdf(plain, k, dpi), shown_to_page(p, report), p["trimmed_mm"])
            for k, p in enumerate(report["print"]["pages"])
            if p["name"] != "assembly"
        ]
        smooth = lambda image: gaussian_filter(image, MEAN_MM * px_per_mm)
        # A whole line of 0.35 mm after the mean: its width over sqrt(2 pi) widths of the mean.
        line = 0.35 / (np.sqrt(2 * np.pi) * MEAN_MM)
        base = smooth(single)
        differs = lambda **wrong: np.abs(smooth(rejoined(pages, single.shape, px_per_mm, **wrong)) - base) / line
        difference = differs()
        off, wrong = difference.max(), differs(wrong_mm=0.5).max()
        row, column = np.unravel_index(difference.argmax(), difference.shape)
        place = f"{(column + 0.5) / px_per_mm:.1f}, {(row + 0.5) / px_per_mm:.1f} mm"
        said = f"{name}{' mirrored' if mirror else ''}: {len(pages)} pages of {page}"
        print(f"{said} differ from the whole by {off:.3f} of a line at {place}; with the first page moved 0.5 mm by {wrong:.3f}")
        if not off < TILE_SHARE / dpi:
            fault(f"{said}: a line is lost, shifted or doubled at {place}: {off:.3f}")
        if not wrong > TILE_SHARE / dpi:
            fault(f"{said}: the comparison does not see a page moved by 0.5 mm")
        check_shared_crosses(name, report)


def check_file(name, pdf, size_pt, layers):
    for command in (["qpdf", "--check", pdf], ["pdfinfo", "-box", pdf]):
        done = subprocess.run(command, capture_output=True, text=True)
        if done.returncode != 0:
            fault(f"{' '.join(map(str, command))}: {done.stdout}{done.stderr}")
    boxes = [line.split()[1:] for line in done.stdout.splitlines() if line.startswith(("MediaBox", "TrimBox", "CropBox"))]
    for box in boxes:
        # pdfinfo prints hundredths of a point.
        if len(boxes) != 3 or np.abs(np.array(box, float) - [0, 0, *size_pt]).max() > 0.006:
            fault(f"{name}: a box is {box}, not {size_pt}")
    with pikepdf.open(pdf) as document:
        root = document.Root
        found = {str(g.Name) for g in root.OCProperties.OCGs}
        if not layers <= found:
            fault(f"{name}: the layers are {sorted(found)}, not {sorted(layers)}")
        if root.ViewerPreferences.PrintScaling != "/None" or str(root.Lang) != "en" or "/Title" not in document.docinfo:
            fault(f"{name}: PrintScaling, language or title is missing")
        fonts = [o for o in document.objects if isinstance(o, pikepdf.Dictionary) and o.get("/Type") == "/FontDescriptor"]
        if not fonts or not all("/FontFile2" in f or "/FontFile3" in f for f in fonts):
            fault(f"{name}: a font is not embedded")
        print(f"{name}: {len(found)} layers ({', '.join(sorted(found))}), {len(fonts)} embedded font(s), boxes {boxes[0]}")


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--examples", default="examples")
    parser.add_argument("--folder", required=True)
    parser.add_argument("--only", choices=("places", "tiles"), help="only one half of the checks")
    args = parser.parse_args()
    folder = Path(args.folder) / "paper"
    folder.mkdir(parents=True, exist_ok=True)
    picture = Path(args.examples) / "still-life-tonal.png"

    if args.only != "tiles":
        # ISO 216: A4 is 210 x 297 mm; letter is 8.5 x 11 in; a point is 1/72 in.
        for paper, size_pt in (("a4", [210 / 25.4 * 72, 297 / 25.4 * 72]), ("letter", [612, 792])):
            pdf, report, net = draw(folder, paper, picture, "--paper", paper, "--margin", "22mm", "--underlay", "10%")
            check_file(paper, pdf, size_pt, LAYERS)
            pdf, report, net = draw(folder, paper, picture, "--paper", paper, "--margin", "22mm")
            check_places(paper, pdf, report, net, folder)
            check_svg(f"{paper}-plain", picture, paper, folder)
        for name, paper, page, more in (("a3-on-a4", "a3", "a4", []), ("18x24-on-letter", "18x24in", "letter", ["--mirror"])):
            pdf, report, net = draw(folder, name, picture, "--paper", paper, "--print-on", page, *more)
            check_places(name, pdf, report, net, folder)
            check_shared_crosses(name, report)
    if args.only != "places":
        check_tiles("A3 on A4", picture, "a3", "a4", 300, [], folder)
        check_tiles("18x24 in on letter", picture, "18x24in", "letter", 300, [], folder)
        check_tiles("A1 on A4", picture, "a1", "a4", 150, ["--orientation", "landscape"], folder)
    print(f"{len(faults)} faults")
    sys.exit(1 if faults else 0)


if __name__ == "__main__":
    main()
