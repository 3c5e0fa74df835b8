"""The net's areas as polygons, against GEOS (through shapely): one coverage without gap, overlap or crossing.

    cargo build --release --examples
    MERESTONE=target/release/merestone python tests/outside/check_areas.py --examples examples --folder /tmp

The polygons come from examples/tint_sheet.rs, which is built on the library's public net; the same picture is drawn with
--net by the program. GEOS says whether the polygons are valid (OGC simple features) and a valid coverage, whether they fill
the picture, whether the curves of the net file, flattened by this script, cross anywhere but at their ends, and whether each
line lies on the border of just the two areas that the file names. A coverage stays one when GEOS simplifies it.
"""

import argparse
import json
import os
import subprocess
from pathlib import Path

import numpy as np
import shapely
from check_promises import inputs

CHORD_MM = 0.002


def flattened(points):
    """A chain of cubics as a line string within CHORD_MM of it."""
    p = np.asarray(points, float)
    out = [p[0]]
    for k in range(0, len(p) - 1, 3):
        a, b, c, d = p[k : k + 4]
        # Chords of n pieces lie within |second difference| * 3/4 / n^2 (Wang 1984).
        bend = max(np.hypot(*(a - 2 * b + c)), np.hypot(*(b - 2 * c + d)))
        n = max(1, int(np.ceil(np.sqrt(0.75 * bend / CHORD_MM))))
        t = np.linspace(0, 1, n + 1)[1:, None]
        out.extend((1 - t) ** 3 * a + 3 * (1 - t) ** 2 * t * b + 3 * (1 - t) * t * t * c + t**3 * d)
    return shapely.LineString(out)


def check_polygons(name, text, report):
    """Validity, coverage and sizes; the polygons."""
    rows = [line.split("\t") for line in text.splitlines()]
    polygons = shapely.from_wkt([row[2] for row in rows])
    assert shapely.is_valid(polygons).all(), f"{name}: {shapely.is_valid_reason(polygons[~shapely.is_valid(polygons)])}"
    assert shapely.coverage_is_valid(polygons), f"{name}: not a coverage"
    union = shapely.coverage_union_all(polygons)
    width, height = (report["picture_mm"][k] for k in ("width", "height"))
    # The net covers whole working pixels, so the picture's edge may lie half a pixel off.
    off = np.abs(np.array(union.bounds) - [0, 0, width, height]).max()
    assert off < 0.15, f"{name}: the areas end {off:.3f} mm off the picture"
    assert union.geom_type == "Polygon" and not union.interiors, f"{name}: the areas leave a hole"
    box = shapely.box(*union.bounds)
    assert abs(shapely.area(polygons).sum() - box.area) < 1e-6 * box.area, f"{name}: areas overlap or leave a gap"
    # A pixel that a line crosses counts for one side: sizes by pixels differ by the border's length times some of one.
    sizes = np.array([float(row[1]) for row in rows])
    share = np.abs(sizes - shapely.area(polygons)) / (0.06 * shapely.length(polygons))
    assert share.max() < 1, f"{name}: area {share.argmax()} is {sizes[share.argmax()]} mm2 by its pixels"
    simple = shapely.coverage_simplify(polygons, 0.1)
    assert shapely.coverage_is_valid(simple), f"{name}: not a coverage once simplified"
    return polygons


def check_lines(name, net, polygons, corner):
    """No line crosses another, and each lies between its two areas."""
    lines = [flattened(np.subtract(t["cubics"], corner)) for t in net["transitions"]]
    assert shapely.is_simple(lines).all(), f"{name}: a line meets itself"
    tree = shapely.STRtree(lines)
    met = 0
    for a, b in tree.query(lines, predicate="intersects").T:
        if a >= b:
            continue
        ends = [[(line.coords[0]), (line.coords[-1])] for line in (lines[a], lines[b])]
        shared = [p for p in ends[0] for q in ends[1] if np.hypot(*np.subtract(p, q)) < 1e-6]
        away = shapely.intersection(lines[a], lines[b])
        if shared:
            away = shapely.difference(away, shapely.buffer(shapely.MultiPoint(shared), 0.006))
        assert away.is_empty, f"{name}: lines {a} and {b} meet at {away.wkt[:80]}"
        met += 1
    for t, line in zip(net["transitions"], lines):
        sides = [polygons[t[side]] for side in ("left", "right")]
        far = max(shapely.hausdorff_distance(line, shapely.intersection(line, shapely.buffer(side.boundary, 0.008))) for side in sides)
        assert far < 0.01, f"{name}: line {t['id']} leaves the border of its areas by {far:.3f} mm"
    return met


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--examples", required=True, type=Path)
    parser.add_argument("--folder", required=True, type=Path)
    options = parser.parse_args()
    program = Path(os.environ["MERESTONE"]).resolve()
    example = program.parent / "examples" / "tint_sheet"
    folder = options.folder / "areas"
    folder.mkdir(parents=True, exist_ok=True)
    for name, picture, _ in inputs(options.examples, folder):
        net_file, report_file = folder / f"{name}.json", folder / f"{name}-report.json"
        command = [program, "draw", picture, "--quiet", "--overwrite", "--net", net_file, "--report", report_file]
        subprocess.run([*command, "-o", folder / f"{name}.svg"], check=True)
        subprocess.run([example, picture, folder], check=True, stdout=subprocess.DEVNULL)
        net, report = json.loads(net_file.read_text()), json.loads(report_file.read_text())
        polygons = check_polygons(name, (folder / "tint-sheet.wkt").read_text(), report)
        assert len(polygons) == len(net["areas"]), f"{name}: the example has other areas than the program"
        met = check_lines(name, net, polygons, [report["picture_mm"][k] for k in ("x", "y")])
        print(f"{name}: {len(polygons)} areas are a coverage, {len(net['transitions'])} lines meet in {met} pairs, at ends only")


if __name__ == "__main__":
    main()
