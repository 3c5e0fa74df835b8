"""The value plan, checked with shapely (GEOS), poppler and pikepdf.

    MERESTONE=target/release/merestone python tests/outside/check_plan.py --examples examples --folder /tmp
    ... --pictures FOLDER     # besides, every picture of a folder; --only NAME for one

From the net file areas are built anew as polygons. Every area has one number or is listed; each number's box lies in its
area's polygon and touches no line, no other number and no leader (STRtree); leaders end in their areas and cross nothing
of the kind; a number has at least 0.95 of the most room that a search all over its area finds. In the PDF as poppler draws
it each number is as high as the report says (ISO 3098-1: the height of figures) and its ink lies in its box; each patch
of the key reflects what Murray & Davies ask for, within 0.01. The exit code is 1 when anything is off.
"""

import argparse
import json
import os
import subprocess
import sys
from collections import Counter
from pathlib import Path

import numpy as np
import pikepdf
import shapely
from check_promises import flatten, inputs
from PIL import Image
from shapely.geometry import LineString, Point, Polygon, box
from shapely.ops import polygonize, unary_union

Image.MAX_IMAGE_PIXELS = None
# Antialiasing makes edges paler, which shows less the finer the picture is.
DPI, PATCH_DPI = 600, 2400
# Least distance of a box from a line, and rounding, in mm.
GAP_MM, SLACK_MM = 0.35, 0.01
STEPS_MM, FOLLOWED, SHARE = (1.0, 0.02), 12, 0.95
# ISO 3098-1 names lettering by its height; round figures reach a little beyond (the font's 3 by 4 %).
BEYOND, PIXELS_MM = 1.045, 0.09
VARIANTS = [
    [],
    ["--halves", "--tints", "--square-grid", "--plainness", "0"],
    ["--values", "9", "--narrowest", "0.5mm", "--least-area", "1mm2", "--plainness", "0", "--mirror"],
]


def run(picture, stem, more):
    files = {"pdf": f"{stem}.pdf", "report": f"{stem}.json", "net": f"{stem}-net.json"}
    command = [os.environ["MERESTONE"], "plan", str(picture), "--paper", "a4", "--quiet", "--overwrite"]
    command += ["-o", files["pdf"], "--report", files["report"], "--net", files["net"], *more]
    done = subprocess.run(command, capture_output=True, text=True, timeout=600)
    if done.returncode != 0:
        raise SystemExit(f"{' '.join(command)}\nexit code {done.returncode}: {done.stderr}")
    read = lambda name: json.loads(Path(files[name]).read_text())
    return files["pdf"], read("report"), read("net")


class Sheet:
    """Areas and lines of a net, in mm on the sheet as shown."""

    def __init__(self, report, net):
        width = report["sheet_mm"]["width"]
        # Of the views only mirrored ones are made here: x from the other edge.
        def shown(points):
            points = np.array(points, float)
            if report["print"]["mirrored"]:
                points[..., 0] = width - points[..., 0]
            return points
        p = report["picture_mm"]
        x0, y0, x1, y1 = p["x"], p["y"], p["x"] + p["width"], p["y"] + p["height"]
        edge = LineString(shown([(x0, y0), (x1, y0), (x1, y1), (x0, y1), (x0, y0)]))
        curves = [shown(flatten(t["cubics"])) for t in net["transitions"]]
        self.thin = [LineString(shown(flatten(t["cubics"]))) for t in net["thin"]]
        self.lines = [LineString(c) for c in curves] + [edge] + self.thin
        whole = unary_union([LineString(c) for c in curves] + [edge])
        faces = list(polygonize(whole))
        tree = shapely.STRtree(faces)
        self.areas = {}
        for t, curve in zip(net["transitions"], curves):
            # What lies beside the line at nine places, by the most voices: near a tip one may be mistaken.
            lengths = np.hypot(*np.diff(curve, axis=0).T)
            long = np.flatnonzero(lengths > min(0.005, lengths.max() / 2))
            for k in long[np.linspace(0, len(long) - 1, 9).astype(int)]:
                a, b = curve[k], curve[k + 1]
                normal = np.array([b[1] - a[1], a[0] - b[0]]) / np.hypot(*(b - a))
                if report["print"]["mirrored"]:
                    normal = -normal
                # Seen on the sheet, y down: the left of a way to the right lies above it.
                for side, sign in (("left", 1), ("right", -1)):
                    at = Point((a + b) / 2 + sign * 0.004 * normal)
                    found = [f for f in tree.query(at) if faces[f].contains(at)]
                    if found:
                        self.areas.setdefault(t[side], Counter())[found[0]] += 1
        self.areas = {area: faces[votes.most_common(1)[0][0]] for area, votes in self.areas.items()}
        if not net["transitions"]:
            self.areas = {0: Polygon(edge.coords)}
        pieces = np.concatenate([np.stack([c.coords[:-1], c.coords[1:]], axis=1) for c in self.lines])
        self.pieces = shapely.STRtree(shapely.linestrings(pieces))

    def room(self, boxes):
        """Distance of each box from the nearest line."""
        found, distance = self.pieces.query_nearest(boxes, return_distance=True, all_matches=False)
        room = np.zeros(len(boxes))
        room[found[0]] = distance
        return room

    def most_room(self, area, width, height):
        polygon = self.areas[area]
        step, last = STEPS_MM
        x0, y0, x1, y1 = polygon.bounds
        if x1 - x0 < width or y1 - y0 < height:
            return 0.0
        grid = lambda low, high: np.append(np.arange(low, high, step), (low + high) / 2)
        xs, ys = np.meshgrid(grid(x0 + width / 2, x1 - width / 2), grid(y0 + height / 2, y1 - height / 2))
        at = np.stack([xs.ravel(), ys.ravel()], axis=1)
        shapely.prepare(polygon)

        def look(at):
            inside = shapely.contains_xy(polygon, at[:, 0], at[:, 1])
            half = np.array([width, height]) / 2
            room = np.zeros(len(at))
            if inside.any():
                low, high = at[inside] - half, at[inside] + half
                room[inside] = self.room(shapely.box(low[:, 0], low[:, 1], high[:, 0], high[:, 1]))
            return room

        room = look(at)
        best = np.argsort(-room)[:FOLLOWED]
        at, room = at[best], room[best]
        ways = np.array([(x, y) for x in (-1, 0, 1) for y in (-1, 0, 1)], float)
        while step > last:
            step /= 2
            tried = (at[:, None] + step * ways).reshape(-1, 2)
            found = look(tried).reshape(len(at), -1)
            pick = found.argmax(axis=1)
            at, room = tried.reshape(len(at), -1, 2)[np.arange(len(at)), pick], found.max(axis=1)
        return room.max()


def check_places(sheet, report, net):
    """Faults of the places of numbers and leaders, and the least share of the most room."""
    plan, faults = report["plan"], []
    labels = plan["labels"]
    boxes = [box(x, y, x + w, y + h) for x, y, w, h in (label["box_mm"] for label in labels)]
    numbers = Counter(a for label in labels if not label["again"] for a in label["areas"])
    numbers.update(l["area"] for l in plan["listed"] if l["area"] is not None)
    if numbers != Counter(range(len(net["areas"]))):
        faults.append("an area has no number, or several")
    values = [a["value"] for a in net["areas"]]
    least = 1.0
    if boxes:
        room = sheet.room(boxes)
        tree = shapely.STRtree(boxes)
    for k, (label, b) in enumerate(zip(labels, boxes)):
        name = f"{label['text']} at {label['box_mm'][:2]}"
        if room[k] < GAP_MM - SLACK_MM or abs(room[k] - label["clearance_mm"]) > SLACK_MM:
            faults.append(f"{name}: {room[k]:.3f} mm from a line, {label['clearance_mm']} in the report")
        if (tree.query(b) != k).any() or len(tree.query(b.buffer(0.4))) > 1:
            faults.append(f"{name} touches another number")
        off = [abs(label["value"] - values[a]) for a in label["areas"]]
        if off and max(off) > (0.5 if plan["halves"] else 0):
            faults.append(f"{name} has another value than its area")
        if not label["leaders_mm"]:
            if not sheet.areas[label["areas"][0]].contains(b):
                faults.append(f"{name} is not in its area")
            if not label["again"]:
                most = sheet.most_room(label["areas"][0], *label["box_mm"][2:])
                share = label["clearance_mm"] / most if most else 1.0
                least = min(least, share)
                if share < SHARE:
                    faults.append(f"{name}: {label['clearance_mm']} mm of room, there is {most:.3f}")
    leaders = [(label, k, LineString(l)) for label in labels for k, l in enumerate(label["leaders_mm"])]
    for i, (label, k, leader) in enumerate(leaders):
        name = f"leader of {label['text']} at {label['box_mm'][:2]}"
        end = Point(leader.coords[-1])
        of_areas = len(label["areas"])
        good = (
            sheet.areas[label["areas"][k]].contains(end)
            if k < of_areas
            else sheet.thin[label["thin"][k - of_areas]].distance(end) < SLACK_MM
        )
        if not good:
            faults.append(f"{name} ends elsewhere")
        if len(tree.query(leader, predicate="dwithin", distance=0.3)) > 0:
            faults.append(f"{name} touches a number")
        if any(leader.distance(other) < 1e-6 for _, _, other in leaders[:i]):
            faults.append(f"{name} crosses another")
    return faults, least


def darkness(pdf, page, dpi, folder, crop=()):
    out = folder / "page"
    command = ["pdftoppm", "-r", str(dpi), "-gray", "-singlefile", "-f", str(page), "-l", str(page), pdf, out]
    for option, pixels in zip(("-x", "-y", "-W", "-H"), crop):
        command += [option, str(pixels)]
    subprocess.run(command, check=True)
    return 1 - np.asarray(Image.open(f"{out}.pgm"), np.float32) / 255


def check_heights(pdf, report, folder):
    """Faults of the numbers as poppler draws them; tints are paler than half black, lines are kept out by their distance."""
    image, scale = darkness(pdf, 1, DPI, folder), DPI / 25.4
    faults, heights = [], []
    for label in report["plan"]["labels"]:
        x, y, w, h = label["box_mm"]
        around = 0.12
        rows = slice(int((y - around) * scale), int(np.ceil((y + h + around) * scale)))
        columns = slice(int((x - around) * scale), int(np.ceil((x + w + around) * scale)))
        ink = image[rows, columns] > 0.6
        up, across = np.flatnonzero(ink.any(axis=1)), np.flatnonzero(ink.any(axis=0))
        name = f"{label['text']} at {label['box_mm'][:2]}"
        if len(up) == 0:
            faults.append(f"{name} is not drawn")
            continue
        height = (up[-1] + 1 - up[0]) / scale
        heights.append(height / label["height_mm"])
        if not label["height_mm"] - PIXELS_MM < height < label["height_mm"] * BEYOND + PIXELS_MM:
            faults.append(f"{name} is {height:.2f} mm high instead of {label['height_mm']}")
        inside = up[0] / scale >= around - PIXELS_MM and (up[-1] + 1) / scale <= around + h + 2 * PIXELS_MM
        inside &= across[0] / scale >= around - PIXELS_MM and (across[-1] + 1) / scale <= around + w + 2 * PIXELS_MM
        if not inside:
            faults.append(f"{name} reaches out of its box")
    return faults, heights


def check_patches(pdf, report, folder):
    """Faults of the key's patches, and how far their reflectance is off at most."""
    faults, worst = [], 0.0
    scale = PATCH_DPI / 25.4
    for value in report["plan"]["key"]:
        x, y, w, h = value["patch_mm"]
        # The pixels around the patch, each by the share of it that lies in the patch.
        left, top = int(x * scale), int(y * scale)
        crop = [left, top, int((x + w) * scale) + 1 - left, int((y + h) * scale) + 1 - top]
        image = darkness(pdf, 2, PATCH_DPI, folder, crop)
        part = lambda start, length, first, size: np.clip(
            np.minimum(np.arange(first + 1, first + size + 1), (start + length) * scale)
            - np.maximum(np.arange(first, first + size), start * scale), 0, 1)
        weight = part(y, h, top, image.shape[0])[:, None] * part(x, w, left, image.shape[1])[None]
        covered = float((image * weight).sum() / weight.sum())
        worst = max(worst, abs(covered - value["coverage"]))
        if abs(covered - value["coverage"]) > 0.01:
            faults.append(f"patch {value['value']} covers {covered:.4f} instead of {value['coverage']}")
        if value["made"] not in ("paper", "solid"):
            # CIE 15: what is left of the paper is the value's mean reflectance.
            L = value["lightness"]
            Y = ((L + 16) / 116) ** 3 if L > 8 else L * 27 / 24389
            if abs(1 - covered - Y) > 0.01:
                faults.append(f"patch {value['value']} reflects {1 - covered:.4f}, L* {L} asks for {Y:.4f}")
    return faults, worst


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--examples", default="examples")
    parser.add_argument("--folder", type=Path, required=True)
    parser.add_argument("--pictures", type=Path)
    parser.add_argument("--only")
    args = parser.parse_args()
    folder = args.folder / "plan"
    folder.mkdir(parents=True, exist_ok=True)
    pictures = list(inputs(args.examples, folder))
    if args.pictures:
        pictures += [(p.stem, p, []) for p in sorted(args.pictures.iterdir()) if p.suffix in (".jpg", ".png")]
    pictures = [p for p in pictures if args.only in (None, p[0])]
    wrong = numbers = 0
    for name, picture, more in pictures:
        for k, variant in enumerate(VARIANTS):
            # Options may be given once.
            own = [o for i in range(0, len(more), 2) if more[i] not in variant for o in more[i : i + 2]]
            pdf, report, net = run(picture, folder / f"{name}-{k}", own + variant)
            faults, least = check_places(Sheet(report, net), report, net)
            more_faults, heights = check_heights(pdf, report, folder)
            faults += more_faults
            more_faults, worst = check_patches(pdf, report, folder)
            faults += more_faults
            with pikepdf.open(pdf) as opened:
                if len(opened.pages) != 1 + report["plan"]["key_pages"]:
                    faults.append("pages are missing")
            labels = report["plan"]["labels"]
            led = sum(len(label["leaders_mm"]) for label in labels)
            numbers += len(labels)
            wrong += bool(faults)
            print(
                f"{name:22} {k} {len(net['areas']):4} areas {len(labels):4} numbers {led:4} leaders "
                f"{len(report['plan']['listed']):3} listed; least room {least:.3f} of the most; heights "
                f"{min(heights):.3f} to {max(heights):.3f}; patches off by {worst:.4f} at most"
            )
            for fault in faults:
                print(f"  FAULT {fault}")
    sys.exit(1 if wrong or numbers < 20 else 0)


if __name__ == "__main__":
    main()
