"""The promises of the program's net and files, checked with GEOS (shapely), poppler, librsvg and qpdf.

    MERESTONE=target/release/merestone python tests/outside/check_promises.py --examples examples --folder /tmp

Draws the example pictures, pictures that scikit-image carries (`camera`, `coffee`: CC0; `astronaut`: public
domain) and random patchworks, and checks of each: every transition drawn once, no crossing, no loose ends,
every area rebuilt from the lines, exact size in SVG and PDF, and the same bytes with 1, 2 and 8 threads and in
two runs. Prints a table; the exit code is 1 when anything is not as promised.
"""

import argparse
import json
import os
import subprocess
import sys
from collections import Counter
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import shapely
import skimage.data
from PIL import Image
from scipy.spatial import cKDTree
from shapely.geometry import LineString, Point, box
from svgelements import Path as SvgPath

# Coordinates are written in whole micrometres; half a micrometre to either side is rounding.
EPS_MM = 0.0015
# Curves are cut into pieces this short before GEOS sees them.
PIECE_MM = 0.02
# "Nothing is drawn twice": no stretch longer than this lies nearer than that to another line.
DOUBLE_LENGTH_MM, DOUBLE_NEAR_MM = 0.5, 0.02


def patchwork(seed):
    """Random patches of five flat tones with uneven borders: hardly any two alike, many junctions."""
    rng = np.random.default_rng(seed)
    h, w = 400, 480
    y, x = np.mgrid[0:h, 0:w].astype(float)
    for _ in range(3):
        a, b, c, d = rng.uniform(0, 2 * np.pi, 4)
        x, y = x + 6 * np.sin(y / 31 + a) + 2 * np.sin(y / 9 + b), y + 6 * np.sin(x / 27 + c) + 2 * np.sin(x / 8 + d)
    seeds = rng.uniform(0, 1, (28, 2)) * [w, h]
    tones = np.array([14, 70, 115, 170, 240])[rng.integers(0, 5, 28)]
    nearest = cKDTree(seeds).query(np.c_[x.ravel(), y.ravel()])[1]
    flat = tones[nearest].reshape(h, w) + rng.normal(0, 1.5, (h, w))
    return np.clip(flat, 0, 255).round().astype(np.uint8)


def inputs(examples, folder):
    for name in ("still-life-hatched", "still-life-tonal"):
        yield name, Path(examples) / f"{name}.png", []
    for name in ("camera", "coffee", "astronaut"):
        path = folder / f"{name}.png"
        Image.fromarray(getattr(skimage.data, name)()).save(path)
        yield name, path, []
    for seed in (1, 2, 3):
        path = folder / f"patchwork-{seed}.png"
        Image.fromarray(patchwork(seed)).save(path)
        yield f"patchwork-{seed}", path, ["--breaks", "even", "--tone-range", "0,100", "--plainness", "0"]


def draw(program, picture, out, more):
    """Runs the program in `out`; returns the bytes of every file it made."""
    out.mkdir(parents=True)
    names = ["a.svg", "a.pdf"]
    # Marks are in the PDF alone, so its ink could not be compared with the SVG's.
    command = [program, "draw", str(picture), "--paper", "a4", "--quiet", "--marks", "none"]
    command += [part for n in names for part in ("-o", str(out / n))]
    command += ["--report", str(out / "r.json"), "--value-map", str(out / "v.png"), "--net", str(out / "n.json"), *more]
    done = subprocess.run(command, capture_output=True, text=True, timeout=600)
    if done.returncode != 0:
        raise SystemExit(f"{' '.join(command)}\nexit code {done.returncode}: {done.stderr}")
    return {n: (out / n).read_bytes() for n in [*names, "r.json", "v.png", "n.json"]}


def flatten(cubics):
    """Points along a chain of cubics given by 3n+1 control points."""
    p = np.asarray(cubics, float)
    parts = [p[:1]]
    for i in range(0, len(p) - 1, 3):
        c = p[i : i + 4]
        n = max(4, int(np.ceil(np.linalg.norm(np.diff(c, axis=0), axis=1).sum() / PIECE_MM)))
        t = (np.arange(1, n + 1) / n)[:, None]
        s = 1 - t
        parts.append(s**3 * c[0] + 3 * s * s * t * c[1] + 3 * s * t * t * c[2] + t**3 * c[3])
        parts[-1][-1] = c[3]
    return np.concatenate(parts)


def on_edge(p, frame):
    x0, y0, x1, y1 = frame
    return min(abs(p[0] - x0), abs(p[0] - x1), abs(p[1] - y0), abs(p[1] - y1)) <= EPS_MM


def crossings(lines, ends):
    """Pairs of lines that meet anywhere but in an end they share, and lines that cross themselves."""
    found = []
    tree = shapely.STRtree(lines)
    for i, line in enumerate(lines):
        if not line.is_simple:
            found.append(f"transition {i} crosses itself")
    for i, j in zip(*tree.query(lines, predicate="intersects")):
        if i >= j:
            continue
        shared = [Point(a) for a in ends[i] for b in ends[j] if np.hypot(*np.subtract(a, b)) <= EPS_MM]
        meet = lines[i].intersection(lines[j])
        if meet.is_empty:
            # The predicate is exact, the overlay rounds: a bare touch can get lost in it. Ask where they are nearest.
            meet = Point(shapely.shortest_line(lines[i], lines[j]).coords[0])
        for part in getattr(meet, "geoms", [meet]):
            if not any(part.within(s.buffer(2 * EPS_MM)) for s in shared):
                at = part.representative_point()
                found.append(f"transitions {i} and {j} meet at {at.x:.3f}, {at.y:.3f} ({part.geom_type})")
    return found


def doubles(lines):
    """Stretches of a line that run beside another line or beside another part of the same one."""
    found = []
    tree = shapely.STRtree(lines)
    bands = shapely.buffer(lines, DOUBLE_NEAR_MM)
    for i, j in zip(*tree.query(bands, predicate="intersects")):
        if i == j:
            continue
        near = lines[j].intersection(bands[i])
        for part in shapely.get_parts(shapely.line_merge(near) if near.geom_type == "MultiLineString" else near):
            if part.length > DOUBLE_LENGTH_MM:
                found.append(f"transition {j} runs beside {i} for {part.length:.2f} mm at {part.centroid.wkt}")
    for i, line in enumerate(lines):
        n = int(line.length / 0.01) + 1
        p = shapely.get_coordinates(shapely.line_interpolate_point(line, np.linspace(0, line.length, n)))
        step = line.length / max(n - 1, 1)
        pairs = cKDTree(p).query_pairs(DOUBLE_NEAR_MM, output_type="ndarray")
        if len(pairs):
            gap = (pairs[:, 1] - pairs[:, 0]) * step
            gap = np.minimum(gap, line.length - gap) if line.is_ring else gap
            own = np.unique(pairs[gap > 0.5][:, 0])
            if len(own) * step > DOUBLE_LENGTH_MM:
                found.append(f"transition {i} runs beside itself for {len(own) * step:.2f} mm")
    return found


def loose_ends(net, lines, ends, frame):
    found = []
    at = {j["id"]: (j["x"], j["y"]) for j in net["junctions"]}
    degree = Counter()
    for t, line, (a, b) in zip(net["transitions"], lines, ends):
        closed = t["from"] is None and t["to"] is None and np.hypot(*np.subtract(a, b)) <= EPS_MM
        for which, end in (("from", a), ("to", b)):
            if t[which] is not None:
                degree[t[which]] += 1
                if np.hypot(*np.subtract(at[t[which]], end)) > EPS_MM:
                    found.append(f"transition {t['id']} does not reach its junction at {end}")
            elif not closed and not on_edge(end, frame):
                found.append(f"transition {t['id']} has a loose end at {end}")
        if closed and line.length < 1e-6:
            found.append(f"transition {t['id']} has no length")
    for j, p in at.items():
        if degree[j] < 3 and not (on_edge(p, frame) and degree[j] >= 1):
            found.append(f"junction {j} at {p} joins {degree[j]} transitions")
    return found


def areas(net, lines, frame, value_map):
    """Faces between the lines must be the areas: as many, as large, of the value the map shows inside."""
    found = []
    rim = box(*frame).exterior
    noded = shapely.unary_union([*lines, rim], grid_size=0.0005)
    faces = [f for f in shapely.polygonize([noded]).geoms if f.area > 0.01]
    if len(faces) != len(net["areas"]):
        found.append(f"{len(faces)} faces between the lines, {len(net['areas'])} areas in the net")
    x0, y0, x1, y1 = frame
    values = np.asarray(value_map)
    h, w = values.shape
    got = []
    for face in faces:
        # The most inner point, so that the staircase of the map does not matter.
        p = shapely.maximum_inscribed_circle(face, tolerance=0.05).coords[0]
        px = int(np.clip((p[0] - x0) / (x1 - x0) * w, 0, w - 1)), int(np.clip((p[1] - y0) / (y1 - y0) * h, 0, h - 1))
        got.append((int(values[px[1], px[0]]), face.area, face.length))
    for value in range(1, 10):
        ours = sorted((a, l) for v, a, l in got if v == value)
        theirs = sorted(a["size_mm2"] for a in net["areas"] if a["value"] == value)
        if len(ours) != len(theirs):
            found.append(f"value {value}: {len(ours)} faces on the map, {len(theirs)} areas")
            continue
        for (area, around), size in zip(ours, theirs):
            if abs(area - size) > 0.15 * around + 0.02 * size:
                found.append(f"value {value}: a face of {area:.1f} mm2 for an area of {size:.1f} mm2")
    return found


def sides(net):
    """Each transition parts two areas of different value, and says so."""
    value = {a["id"]: a["value"] for a in net["areas"]}
    return [
        f"transition {t['id']}: values {t['values']} between areas of {value[t['left']]} and {value[t['right']]}"
        for t in net["transitions"]
        if t["values"] != [value[t["left"]], value[t["right"]]] or t["values"][0] == t["values"][1]
    ]


def svg_lines(files):
    root = ElementTree.fromstring(files["a.svg"])
    name = "{http://www.w3.org/2000/svg}"
    group = next((g for g in root.iter(name + "g") if g.get("id") == "boundary"), None)
    return root, [] if group is None else [p for p in group.iter(name + "path")]


def sizes(files, out, report, net):
    """A4 is 210 mm x 297 mm (ISO 216); the SVG's lines are the net's; PDF and SVG show the same in the same place."""
    found = []
    root, paths = svg_lines(files)
    sheet = report["sheet_mm"]
    width, height = (sheet["width"], sheet["height"]) if isinstance(sheet, dict) else sheet
    if sorted((width, height)) != [210, 297]:
        found.append(f"A4 is {width} mm x {height} mm in the report")
    if (root.get("width"), root.get("height")) != (f"{width:g}mm", f"{height:g}mm"):
        found.append(f"SVG is {root.get('width')} x {root.get('height')}")
    if [float(v) for v in root.get("viewBox").split()] != [0, 0, width, height]:
        found.append(f"viewBox is {root.get('viewBox')}")
    if len(paths) != len(net["transitions"]):
        found.append(f"{len(paths)} paths in the SVG, {len(net['transitions'])} transitions in the net")
    # A closed line may begin anywhere, so the points where its cubics join are compared, not its ends.
    ours = [q for t in net["transitions"] for q in t["cubics"][::3]]
    drawn = [(q.x, q.y) for p in paths for part in SvgPath(p.get("d")) for q in (part.start, part.end) if q is not None]
    if ours and drawn:
        apart = max(cKDTree(ours).query(drawn)[0].max(), cKDTree(drawn).query(ours)[0].max())
        if apart > 0.002:
            found.append(f"the SVG's paths lie up to {apart:.3f} mm off the net's transitions")
    # The PDF: page size by poppler, viewer preference and soundness by qpdf.
    info = subprocess.run(["pdfinfo", out / "a.pdf"], capture_output=True, text=True, check=True).stdout
    page = next(line for line in info.splitlines() if line.startswith("Page size:")).split()
    for points, mm in ((float(page[2]), width), (float(page[4]), height)):
        if abs(points * 25.4 / 72 - mm) > 0.005:
            found.append(f"PDF page is {points} pt, {mm} mm wanted")
    check = subprocess.run(["qpdf", "--check", out / "a.pdf"], capture_output=True, text=True)
    if check.returncode != 0:
        found.append(f"qpdf --check: {check.stdout}{check.stderr}")
    whole = subprocess.run(["qpdf", "--json", out / "a.pdf"], capture_output=True, text=True, check=True).stdout
    if '"/PrintScaling": "/None"' not in whole:
        found.append("the PDF does not tell the viewer not to scale")
    # Both drawn at 300 dpi, by poppler and by librsvg: the ink has to lie in the same box.
    subprocess.run(["pdftoppm", "-r", "300", "-gray", "-singlefile", out / "a.pdf", out / "p"], check=True)
    subprocess.run(
        ["rsvg-convert", "--dpi-x", "300", "--dpi-y", "300", "--background-color", "white", "-o", out / "s.png", out / "a.svg"],
        check=True,
    )
    boxes = []
    for name in ("p.pgm", "s.png"):
        dark = np.argwhere(np.asarray(Image.open(out / name).convert("L")) < 160)
        boxes.append([*dark.min(axis=0), *dark.max(axis=0)] if len(dark) else [0, 0, 0, 0])
    if np.abs(np.subtract(*boxes)).max() > 2:
        found.append(f"PDF and SVG differ at 300 dpi: ink in {boxes[0]} and {boxes[1]}")
    return found


def check(program, name, picture, more, folder):
    first = draw(program, picture, folder / "1", ["--threads", "1", *more])
    found = []
    for run, threads in (("2", "2"), ("8", "8"), ("again", "1")):
        other = draw(program, picture, folder / run, ["--threads", threads, *more])
        found += [f"{n}: other bytes with {threads} threads (run {run})" for n in first if first[n] != other[n]]
    report, net = json.loads(first["r.json"]), json.loads(first["n.json"])
    r = report["picture_mm"]
    frame = r["x"], r["y"], r["x"] + r["width"], r["y"] + r["height"]
    flat = [flatten(t["cubics"]) for t in net["transitions"]]
    ends = [(f[0], f[-1]) for f in flat]
    lines = [LineString(f) for f in flat]
    value_map = Image.open(folder / "1" / "v.png")
    if value_map.mode != "P":
        found.append(f"the value map is no palette picture: {value_map.mode}")
    found += crossings(lines, ends) + doubles(lines) + loose_ends(net, lines, ends, frame)
    found += areas(net, lines, frame, value_map) + sides(net) + sizes(first, folder / "1", report, net)
    length = sum(line.length for line in lines)
    print(f"{name:22} {len(net['areas']):5} areas {len(lines):5} transitions {length / 1000:7.2f} m   {len(found)} faults")
    for fault in found[:12]:
        print(f"    {fault}")
    if len(found) > 12:
        print(f"    and {len(found) - 12} more")
    return bool(found), length


def check_the_checks():
    """Nets made by hand: the sound one has no fault, each of the others has its own."""
    frame = (0, 0, 30, 20)

    def straight(*ends):
        a, b = np.array(ends, float)
        return [list(a + (b - a) * t) for t in (0, 1 / 3, 2 / 3, 1)]

    def faults(chains, joins):
        flat = [flatten(c) for c in chains]
        lines, ends = [LineString(f) for f in flat], [(f[0], f[-1]) for f in flat]
        at = sorted({i for pair in joins for i in pair if i is not None})
        where = {i: e for pair, two in zip(joins, ends) for i, e in zip(pair, two) if i is not None}
        net = {
            "junctions": [{"id": i, "x": where[i][0], "y": where[i][1]} for i in at],
            "transitions": [{"id": n, "from": a, "to": b} for n, (a, b) in enumerate(joins)],
        }
        return crossings(lines, ends), doubles(lines), loose_ends(net, lines, ends, frame)

    star = [straight((15, 10), (0, 0)), straight((15, 10), (30, 5)), straight((15, 10), (10, 20))]
    sound = faults(star, [(1, None)] * 3)
    assert sound == ([], [], []), sound
    cross = faults([straight((0, 5), (30, 6)), straight((10, 0), (11, 20))], [(None, None)] * 2)
    assert len(cross[0]) == 1 and not cross[1] and not cross[2], cross
    double = faults([straight((0, 5), (30, 5)), straight((0, 5.01), (30, 5.01))], [(None, None)] * 2)
    assert not double[0] and double[1] and not double[2], double
    short = faults([straight((0, 5), (29, 5))], [(None, None)])
    assert not short[0] and not short[1] and len(short[2]) == 1, short
    two = faults(star[:2], [(1, None)] * 2)
    assert len(two[2]) == 1, two
    loop = faults([[[5, 5], [25, 25], [25, -5], [5, 15]]], [(1, 2)])
    assert loop[0], loop


def main():
    check_the_checks()
    parser = argparse.ArgumentParser()
    parser.add_argument("--examples", default="examples")
    parser.add_argument("--folder", required=True)
    parser.add_argument("--only", help="check only the picture of this name")
    args = parser.parse_args()
    program = os.path.abspath(os.environ["MERESTONE"])
    folder = Path(args.folder) / "promises"
    folder.mkdir(parents=True, exist_ok=True)
    bad, lines = 0, 0.0
    for name, picture, more in inputs(args.examples, folder):
        if args.only in (None, name):
            fault, length = check(program, name, picture, more, folder / name)
            bad += fault
            lines += length
    if lines <= 0:
        sys.exit("no picture gave any line: nothing was checked")
    if bad:
        sys.exit(f"{bad} pictures are not as promised")


if __name__ == "__main__":
    main()
