"""The working order, checked with shapely (GEOS), poppler and MuPDF.

    MERESTONE=target/release/merestone python tests/outside/check_order.py --examples examples --folder /tmp
    ... --pictures FOLDER     # besides, every picture of a folder; --only NAME for one

From the net file areas are built anew as polygons and cut by the squares: shares of areas, paper and black, which areas a
square lists, and how much of each light lies beside black. The order is made anew from the squares' names, and the hand is
laid on the squares as GEOS adds shapes. In the PDF each box that the report names is drawn where it says, and there are no
others; each square's name stands on the line of its boxes, and its place in the order in its square on the map. The exit
code is 1 when anything is off.
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
from check_plan import Sheet, darkness
from check_promises import inputs
from shapely import affinity
from shapely.geometry import Polygon, box
from shapely.ops import unary_union

LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ"
LEAST_PART_MM2, LEAST_MARK_MM, BESIDE_MM = 1.0, 0.5, 0.5
# Areas are cut from curves flattened in two ways, and the value map that lights are looked up in has pixels of 0.17 mm.
SHARE, SIZE_MM2, LIGHT_MM = 0.002, 0.6, 1.0
DPI = 300
FIGURE, TABLE = [0.3, 0.2, 0.45, 0.5], [0.0, 0.55, 1.0, 0.45]
STUDY = """format = 1
[reference]
file = "{picture}"
[[group]]
name = "figure"
zone = "rect:30%,20%,45%,50%"
value = [1, 5]
[[group]]
name = "table"
zone = "rect:0%,55%,100%,45%"
value = [1, 5]
"""
VARIANTS = [
    ["--begin", "top"],
    ["--begin", "top", "--hand", "left", "--squares", "15mm", "--halves"],
    ["--begin", "point", "--begin-at", "45%,30%", "--wet-for", "6"],
    ["--begin", "groups", "--hand", "left"],
    ["--begin", "top", "--values", "9", "--narrowest", "0.5mm", "--least-area", "1mm2", "--plainness", "0", "--halves"],
]


def run(picture, stem, more):
    files = {"pdf": f"{stem}.pdf", "report": f"{stem}.json", "net": f"{stem}-net.json"}
    study = Path(f"{stem}.toml")
    study.write_text(STUDY.format(picture=Path(picture).resolve().as_posix()))
    command = [os.environ["MERESTONE"], "order", str(study), "--paper", "a4", "--quiet", "--overwrite"]
    command += ["-o", files["pdf"], "--report", files["report"], "--net", files["net"], *more]
    done = subprocess.run(command, capture_output=True, text=True, timeout=600)
    if done.returncode != 0:
        raise SystemExit(f"{' '.join(command)}\nexit code {done.returncode}: {done.stderr}")
    read = lambda name: json.loads(Path(files[name]).read_text())
    return files["pdf"], read("report"), read("net")


def cell(name):
    letters = name.rstrip("0123456789")
    column = 0
    for letter in letters:
        column = column * len(LETTERS) + LETTERS.index(letter) + 1
    return column - 1, int(name[len(letters):]) - 1


def squares_of(report):
    """Every square's rectangle on the sheet, by its name."""
    p, side = report["picture_mm"], report["print"]["squares"]["side_mm"]
    all_squares = {}
    for row in range(report["print"]["squares"]["rows"]):
        for column in range(report["print"]["squares"]["columns"]):
            x, y = p["x"] + column * side, p["y"] + row * side
            right, bottom = min(x + side, p["x"] + p["width"]), min(y + side, p["y"] + p["height"])
            all_squares[f"{LETTERS[column]}{row + 1}"] = box(x, y, right, bottom)
    return all_squares


def check_shares(sheet, report, net, all_squares):
    order, last = report["order"], report["values"]
    by_name = {square["name"]: square for square in order["squares"]}
    faults = []
    if sorted(by_name) + sorted(order["bare"]) != sorted(by_name) + sorted(set(all_squares) - set(by_name)):
        faults.append("a square is neither in the order nor bare, or in both")
    text_of = {part["area"]: part for square in order["squares"] for part in square["areas"]}
    parts = {}
    for name, square in all_squares.items():
        for area, polygon in sheet.areas.items():
            if polygon.intersects(square):
                parts[area, name] = polygon.intersection(square).area
    most = {}
    for (area, name), size in parts.items():
        most[area] = max(most.get(area, 0), size)
    black = unary_union([sheet.areas[a] for a in sheet.areas if net["areas"][a]["value"] == last])
    inked = lambda area: net["areas"][area]["value"] > 1 or area in text_of
    for name, square in all_squares.items():
        own = {area: size for (area, of), size in parts.items() if of == name and inked(area)}
        wanted = {a: s for a, s in own.items() if s >= LEAST_PART_MM2 or s >= most[a]}
        listed = {part["area"]: part for part in by_name[name]["areas"]} if name in by_name else {}
        for area in set(wanted) ^ set(listed):
            size = own.get(area, 0)
            # What lies on the limit may be counted either way.
            if abs(size - LEAST_PART_MM2) > 0.05 and abs(size - most[area]) > 0.05:
                faults.append(f"{name}: area {area} of {size:.2f} mm2 is listed, or is not")
        for area, part in listed.items():
            if abs(part["size_mm2"] - own.get(area, 0)) > SIZE_MM2:
                faults.append(f"{name}: area {area} has {own.get(area, 0):.2f} mm2 there, not {part['size_mm2']}")
            if abs(part["share"] - own.get(area, 0) / square.area) > SHARE:
                faults.append(f"{name}: area {area} has {own.get(area, 0) / square.area:.4f}, not {part['share']}")
            if abs(part["value"] - net["areas"][area]["value"]) > 0.5:
                faults.append(f"{name}: area {area} has another number than its value")
        if name not in by_name:
            continue
        of = by_name[name]
        # With halves, only what is labelled with the whole value is black or paper.
        halved = {a for a, part in text_of.items() if part["value"] % 1}
        for value, kind in ((last, "black"), (1, "paper")):
            share = sum(
                s for (a, n), s in parts.items() if n == name and net["areas"][a]["value"] == value and a not in halved
            ) / square.area
            if abs(share - of[kind]) > SHARE + 0.002 * len(halved):
                faults.append(f"{name}: {share:.4f} is {kind}, not {of[kind]}")
        steps = ["lights"] if of["lights"] else []
        numbers = {part["value"] for part in of["areas"]} | {float(net["thin"][d["thin"]]["value"]) for d in of["darks"]}
        steps += sorted(numbers)
        told = [s["value"] if s["value"] is not None else "lights" for s in of["steps"]]
        if told != steps or any((s["step"] == "black") != (s["value"] == last) for s in of["steps"]):
            faults.append(f"{name}: its steps are {told}, not {steps}")
        for light in of["lights"]:
            if light["thin"] is None:
                length = sheet.areas[light["area"]].boundary.intersection(square).length
            else:
                width = float(np.median(net["thin"][light["thin"]]["width_mm"]))
                # Half a millimetre beyond its edge, square to it, on either side.
                part = sheet.thin[light["thin"]].intersection(square)
                length = sum(beside(line, width / 2 + BESIDE_MM, black) for line in shapely.get_parts(part))
            if abs(length - light["length_mm"]) > LIGHT_MM:
                faults.append(f"{name}: a light of {length:.2f} mm, not {light['length_mm']}")
    return faults


def beside(line, off, black):
    """How much of a line has black so far to one of its sides."""
    count = max(2, int(line.length / 0.05))
    along = np.linspace(0, line.length, count + 1)
    points = shapely.get_coordinates(shapely.line_interpolate_point(line, along))
    steps = np.diff(points, axis=0)
    across = np.stack([steps[:, 1], -steps[:, 0]], axis=1) / np.hypot(*steps.T)[:, None]
    middles = (points[1:] + points[:-1]) / 2
    sides = [shapely.contains_xy(black, *(middles + sign * off * across).T) for sign in (1, -1)]
    return float((sides[0] | sides[1]).sum() * line.length / count)


def check_order(report):
    """The order from the squares' names alone, and the hand as GEOS lays it."""
    order, p = report["order"], report["picture_mm"]
    names = [square["name"] for square in order["squares"]]
    side = report["print"]["squares"]["side_mm"]
    along = -1 if order["hand"] == "left" else 1
    key = lambda name: (cell(name)[1], along * cell(name)[0])
    if order["begin"] == "top":
        wanted = sorted(names, key=key)
    elif order["begin"] == "point":
        c, r = int(0.45 * p["width"] / side), int(0.30 * p["height"] / side)
        ring = lambda name: max(abs(cell(name)[0] - c), abs(cell(name)[1] - r))
        wanted = sorted(names, key=lambda name: (ring(name), *key(name)))
    else:
        w, h = p["width"], p["height"]
        figure, table = (box(x * w, y * h, (x + a) * w, (y + b) * h) for x, y, a, b in (FIGURE, TABLE))
        if figure.area < table.area:
            table = table.difference(figure)
        def group(square):
            x, y, a, b = square["rect_mm"]
            shares = [zone.intersection(box(x, y, x + a, y + b)).area / (a * b) for zone in (figure, table)]
            enough = [k for k in (0, 1) if shares[k] >= 0.25]
            return enough[0] if enough else 2 if max(shares) == 0 else int(np.argmax(shares))
        groups = {square["name"]: group(square) for square in order["squares"]}
        wanted = sorted(names, key=lambda name: (groups[name], *key(name)))
    faults = [] if names == wanted else [f"the order is {names}, not {wanted}"]
    aside, down = order["hand_mm"]
    rects = [box(x, y, x + w, y + h) for x, y, w, h in (s["rect_mm"] for s in order["squares"])]
    def passes(wet_for):
        times, lain_on = 0, set()
        for now, rect in enumerate(rects):
            # The hand's rectangle moved along with the tip over the whole square: the hull of its places at the corners.
            x0, y0, x1, y1 = rect.bounds
            hand = box(0, 0, aside, down) if order["hand"] == "right" else box(-aside, 0, 0, down)
            swept = unary_union([affinity.translate(hand, x, y) for x in (x0, x1) for y in (y0, y1)]).convex_hull
            for before in range(now):
                if now - before <= wet_for(before) and swept.intersection(rects[before]).area > 1e-3:
                    times += 1
                    lain_on.add(before)
        return {"squares": len(lain_on), "times": times}
    black = [any(s["step"] == "black" for s in square["steps"]) for square in order["squares"]]
    wet = passes(lambda k: order["wet_for"] if black[k] else min(1, order["wet_for"]))
    ever = passes(lambda k: len(rects))
    for name, got in (("wet", wet), ("ever", ever)):
        if got != order[name]:
            faults.append(f"the hand lies on {name} ink {got}, not {order[name]}")
    return faults


def check_pages(pdf, report, folder):
    order, faults = report["order"], []
    mm = 25.4 / 72
    boxes = {}
    for square in order["squares"]:
        for step in square["steps"]:
            boxes.setdefault(step["page"], []).append((square["name"], step["box_mm"]))
    with pymupdf.open(pdf) as opened:
        if len(opened) != order["pages"]:
            faults.append(f"{len(opened)} pages, not {order['pages']}")
        for number, page in enumerate(opened, 1):
            size = [page.rect.width * mm, page.rect.height * mm]
            if max(abs(a - b) for a, b in zip(size, order["page_mm"])) > 0.01:
                faults.append(f"page {number} is {size}")
            own = boxes.get(number, [])
            # Squares of the boxes' own side among all paths that are drawn.
            drawn = [d["rect"] for d in page.get_drawings() if d["type"] == "s"]
            drawn = [r for r in drawn if abs(r.width * mm - 3.4) < 0.02 and abs(r.height * mm - 3.4) < 0.02]
            if len(drawn) != len(own):
                faults.append(f"page {number}: {len(drawn)} boxes are drawn, {len(own)} reported")
            image, scale = darkness(pdf, number, DPI, folder), DPI / 25.4
            words = [(w[4], w[0] * mm, (w[1] + w[3]) / 2 * mm, w[2] * mm) for w in page.get_text("words")]
            for name, (x, y, w, h) in own:
                at = lambda px, py: image[int(py * scale) - 1 : int(py * scale) + 2, int(px * scale) - 1 : int(px * scale) + 2].max()
                sides = [at(x, y + h / 2), at(x + w, y + h / 2), at(x + w / 2, y), at(x + w / 2, y + h)]
                inner = image[int((y + 0.4) * scale) : int((y + h - 0.4) * scale), int((x + 0.4) * scale) : int((x + w - 0.4) * scale)]
                if min(sides) < 0.6 or inner.max() > 0.05:
                    faults.append(f"{name}: its box at {x}, {y} is not drawn, or is not empty")
                # A name may be several lines of boxes above.
                left = [word for word in words if word[0] == name and word[3] <= x and -0.5 < y + h / 2 - word[2] < 40]
                if not left:
                    faults.append(f"{name} does not stand beside its box")
        x, y, w, h = order["map_mm"]
        scale = w / report["picture_mm"]["width"]
        words = [(t[4], (t[0] + t[2]) / 2 * mm, (t[1] + t[3]) / 2 * mm) for t in opened[0].get_text("words")]
        for place, square in enumerate(order["squares"], 1):
            left, top, width, height = square["rect_mm"]
            if min(width, height) * scale < 5:
                continue
            middle = x + (left + width / 2) * scale, y + (top + height / 2) * scale
            # MuPDF's boxes of words are as high as the font, whose middle lies a little above that of its figures.
            if not any(t == str(place) and abs(a - middle[0]) < 0.2 and abs(b - middle[1]) < 0.8 for t, a, b in words):
                faults.append(f"{place} is not on the map in {square['name']}")
    return faults


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--examples", default="examples")
    parser.add_argument("--folder", type=Path, required=True)
    parser.add_argument("--pictures", type=Path)
    parser.add_argument("--only")
    args = parser.parse_args()
    folder = args.folder / "order"
    folder.mkdir(parents=True, exist_ok=True)
    pictures = list(inputs(args.examples, folder))
    if args.pictures:
        pictures += [(p.stem, p, []) for p in sorted(args.pictures.iterdir()) if p.suffix in (".jpg", ".png")]
    wrong = boxes = lights = 0
    for name, picture, more in (p for p in pictures if args.only in (None, p[0])):
        for k, variant in enumerate(VARIANTS):
            # Options may be given once.
            own = [o for i in range(0, len(more), 2) if more[i] not in variant for o in more[i : i + 2]]
            pdf, report, net = run(picture, folder / f"{name}-{k}", own + variant)
            order = report["order"]
            faults = check_shares(Sheet(report, net), report, net, squares_of(report))
            faults += check_order(report)
            faults += check_pages(pdf, report, folder)
            own_boxes = sum(len(square["steps"]) for square in order["squares"])
            own_lights = sum(len(square["lights"]) for square in order["squares"])
            boxes, lights = boxes + own_boxes, lights + own_lights
            wrong += bool(faults)
            print(
                f"{name:22} {k} {len(order['squares']):4} squares {len(order['bare']):4} bare {own_boxes:5} boxes "
                f"{own_lights:3} lights {order['pages']:2} pages; hand on wet ink {order['wet']['squares']:3} "
                f"({order['wet']['times']}), ever {order['ever']['squares']:3} ({order['ever']['times']})"
            )
            for fault in faults[:20]:
                print(f"  FAULT {fault}")
    sys.exit(1 if wrong or boxes < 20 or (lights == 0 and args.only is None) else 0)


if __name__ == "__main__":
    main()
