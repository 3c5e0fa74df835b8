"""Photographs of a page by a simulated camera (page_camera.py), corrected and drawn, against the page as it was.

    MERESTONE=target/release/merestone python tests/outside/check_page.py --examples examples --folder /tmp

Three renderings of a scene of known lines (flat tones, hatching, a granulated wash) lie on yellow paper, with another
scene showing through at 8 %, under light that falls off by 40 % and a hand's soft shadow, tilted by 25 degrees and saved
as JPEG at 70. The corrected drawing's F1 at 1.0 mm may be 0.03 lower than that of the scene itself, the picture may lie
0.5 mm off, and paper may be 1.5 L* off its white anywhere. The hatched example is photographed too. The map of the flat
page is compared with OpenCV's from the same corners; a rule, a caption and a page number have to go, and stay with
--keep-frame. Prints a table; the exit code is 1 when anything is off.
"""

import argparse
import json
import os
import subprocess
from pathlib import Path

import cv2
import numpy as np
from page_camera import behind, lightness, photograph, to_code, to_light
from PIL import Image
from scipy import ndimage
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import maximum_bipartite_matching
from scipy.spatial import cKDTree
from svgelements import Path as SvgPath
from xml.etree import ElementTree

PPM, MARGIN = 10, 12  # pixels per mm of the scene, mm of paper round it
SIZE = (120, 160)  # of the scene in mm
SHEET = (SIZE[0] + 2 * MARGIN, SIZE[1] + 2 * MARGIN)
PHOTO = (2100, 2800)
F1_LOSS, PLACE_MM, PAPER_L = 0.03, 0.5, 1.5
VALUES_L = {1: 100, 2: 72, 3: 50, 4: 30, 5: 0}
DRAWN = "--paper 140x180mm --margin 10mm --picture-width 120mm --tone-range 0,100 --breaks even --marks none".split()
faults = []


def fault(text):
    faults.append(text)
    print(f"FAULT {text}")


def draw(folder, name, picture, *options, may_fail=False):
    files = {kind: folder / f"{name}{kind}" for kind in (".svg", ".json", "-values.png", "-look.png")}
    command = [os.environ["MERESTONE"], "draw", str(picture), "--quiet", "--overwrite", *options, "-o", files[".svg"],
               "--report", files[".json"], "--value-map", files["-values.png"], "--before-after", files["-look.png"]]
    done = subprocess.run([str(part) for part in command], capture_output=True, text=True, timeout=600)
    if may_fail:
        return done
    if done.returncode != 0:
        raise SystemExit(f"{' '.join(map(str, command))}\nexit code {done.returncode}: {done.stderr}")
    return files, json.loads(files[".json"].read_text())


# ---------------------------------------------------------------- a scene of known lines
def ellipse(x, y, a, b, turn=0.0):
    t = np.linspace(0, 2 * np.pi, 400)
    u, v = a * np.cos(t), b * np.sin(t)
    return np.stack([x + u * np.cos(turn) - v * np.sin(turn), y + u * np.sin(turn) + v * np.cos(turn)], 1)


def scene():
    """Outlines with the value inside each, later ones on top and clear of the borders of the others; paper round them."""
    table = np.array([[8, 95], [112, 88], [112, 150], [8, 150], [8, 95]], float)
    tree = np.array([[70, 14], [104, 20], [98, 74], [84, 60], [66, 78], [70, 14]], float)
    return [(table, 3), (ellipse(38, 48, 26, 32, 0.2), 2), (ellipse(34, 42, 9, 13, -0.3), 1), (tree, 4),
            (ellipse(86, 40, 9, 7), 1), (ellipse(40, 122, 20, 13, 0.1), 5), (ellipse(43, 121, 6, 4), 2),
            (ellipse(86, 116, 15, 18), 1), (ellipse(88, 118, 7, 8), 4)]


def rendered(kind, rng, outlines):
    """Linear reflectance of the scene, four times finer and then averaged."""
    fine = 4 * PPM
    value = np.ones((SIZE[1] * fine, SIZE[0] * fine), np.uint8)
    for outline, v in outlines:
        cv2.fillPoly(value, [np.round((outline * fine - 0.5) * 16).astype(np.int32)], v, shift=4)
    mean = lambda a: cv2.resize(a.astype(np.float32), (SIZE[0] * PPM, SIZE[1] * PPM), interpolation=cv2.INTER_AREA)
    light = {v: float(((l + 16) / 116) ** 3 if l > 8 else l / 903.3) for v, l in VALUES_L.items()}
    reflect = np.vectorize(light.get)(np.arange(6), 1.0).astype(np.float32)
    if kind != "hatch":
        y = mean(reflect[value])
        if kind == "wash":
            grain = ndimage.gaussian_filter(rng.standard_normal(y.shape), 3)
            y = ndimage.gaussian_filter(y, 2.5)
            tone = lightness(y) + np.where(y < 0.98, 2, 0) * grain / grain.std()
            y = np.where(tone > 8, ((tone + 16) / 116) ** 3, tone / 903.3).clip(0, 1).astype(np.float32)
        return y
    ink = np.zeros(value.shape, bool)
    yy, xx = np.mgrid[0 : value.shape[0], 0 : value.shape[1]].astype(np.float32) / fine
    for v, turns in ((2, [0.7]), (3, [0.7, 2.0]), (4, [0.7, 2.0, 1.3])):
        share = 1 - reflect[v] ** (1 / len(turns))
        for turn in turns:
            wave = 0.06 * np.sin(0.9 * xx + 1.3 * yy)
            ink |= (value == v) & (((xx * np.cos(turn) + yy * np.sin(turn) + wave) / 0.9) % 1 < share)
    return mean(1.0 - (ink | (value == 5)))


# ---------------------------------------------------------------- how far lines agree
def points(lines, step):
    at, way = [], []
    for p in lines:
        s = np.r_[0, np.cumsum(np.hypot(*np.diff(p, axis=0).T))]
        n = max(1, round(s[-1] / step))
        d = (np.arange(n) + 0.5) / n * s[-1]
        get = lambda d: np.stack([np.interp(d, s, p[:, 0]), np.interp(d, s, p[:, 1])], 1)
        at.append(get(d))
        chord = get(np.minimum(d + 0.5, s[-1])) - get(np.maximum(d - 0.5, 0))
        way.append(chord / np.maximum(np.hypot(*chord.T), 1e-9)[:, None])
    return (np.vstack(at), np.vstack(way)) if at else (np.zeros((0, 2)), np.zeros((0, 2)))


def matched(a, b, reach):
    """Share of the first points with one of their own among the second, near and in like direction."""
    if not len(a[0]) or not len(b[0]):
        return 0.0
    pairs = cKDTree(a[0]).sparse_distance_matrix(cKDTree(b[0]), reach, output_type="ndarray")
    i, j = pairs["i"].astype(int), pairs["j"].astype(int)
    like = np.abs((a[1][i] * b[1][j]).sum(1)) > 0.85
    graph = csr_matrix((np.ones(like.sum(), np.int8), (i[like], j[like])), shape=(len(a[0]), len(b[0])))
    return float((maximum_bipartite_matching(graph, perm_type="column") >= 0).mean())


def f1(truth, answer, reach=1.0):
    # The other side is cut finer, so that every point can have one of its own.
    recall = matched(points(truth, 0.2), points(answer, 0.1), reach)
    precision = matched(points(answer, 0.2), points(truth, 0.1), reach)
    return 2 * recall * precision / max(recall + precision, 1e-9)


def drawn_lines(svg, picture):
    lines = []
    root = ElementTree.parse(svg).getroot()
    for group in root.iter():
        if group.get("id") in ("boundary", "thin"):
            for path in group.iter("{http://www.w3.org/2000/svg}path"):
                p = np.array(SvgPath(path.get("d")).npoint(np.linspace(0, 1, 400)))
                lines.append(p - [picture["x"], picture["y"]])
    return lines


# ---------------------------------------------------------------- the checks
def sheet_of(picture):
    m = MARGIN * PPM
    return np.pad(picture, m, constant_values=1.0)


def misplaced(report, corners, kept):
    """Largest distance in mm between a place of the picture and where the program takes it from, over a grid."""
    own = np.array([[0, 0], [SHEET[0], 0], SHEET, [0, SHEET[1]]], np.float32)
    to_sheet = cv2.getPerspectiveTransform(corners.astype(np.float32), own)
    x, y, w, h = kept
    taken = np.array(report["page"]["picture_corners_px"], np.float32)
    from_picture = cv2.getPerspectiveTransform(np.array([[0, 0], [w, 0], [w, h], [0, h]], np.float32), taken)
    grid = np.stack(np.meshgrid(np.linspace(0, w, 9), np.linspace(0, h, 9)), -1).reshape(-1, 1, 2)
    there = cv2.perspectiveTransform(cv2.perspectiveTransform(grid, from_picture), to_sheet)
    return float(np.hypot(*(there - grid - [x, y]).reshape(-1, 2).T).max())


def paper_off(look, bare):
    """How far the paper is from white in the corrected half of the picture before and after, over patches of 2 mm."""
    seen = np.asarray(Image.open(look))
    # The right half lies between the last two gaps of ground (grey 200); its height says the rest.
    columns = np.nonzero((seen == 200).all(0))[0]
    gaps = np.split(columns, np.nonzero(np.diff(columns) > 1)[0] + 1)
    left, right = gaps[-2][-1] + 1, gaps[-1][0]
    half = seen[:, left:right]
    rows = np.nonzero((half != 200).any(1))[0]
    after = to_light(half[rows[0] : rows[-1] + 1])
    cells = (bare.shape[1] // (2 * PPM), bare.shape[0] // (2 * PPM))
    small = cv2.resize(after.astype(np.float32), cells, interpolation=cv2.INTER_AREA)
    paper = cv2.resize(bare.astype(np.float32), cells, interpolation=cv2.INTER_AREA) > 0.999
    return float(np.abs(lightness(small[paper]) - 100).max())


def renderings(folder):
    outlines, rng = scene(), np.random.default_rng(11)
    truth = [o for o, _ in outlines]
    back = sheet_of(rendered("hatch", rng, [(o[:, ::-1] * [0.75, 1.3], v) for o, v in outlines]))
    print(f"{'rendering':10} {'F1 itself':>10} {'photographed':>13} {'off mm':>8} {'paper L*':>9}")
    for kind in ("flat", "hatch", "wash"):
        picture = rendered(kind, rng, outlines)
        plain = folder / f"page-{kind}.png"
        Image.fromarray(to_code(picture)).save(plain)
        files, report = draw(folder, f"page-{kind}-itself", plain, *DRAWN)
        itself = f1(truth, drawn_lines(files[".svg"], report["picture_mm"]))
        photo = folder / f"page-{kind}.jpg"
        data, corners = photograph(behind(sheet_of(picture), back, 0.08, 4), SHEET, PHOTO, rng)
        photo.write_bytes(data)
        fix = ["--find-page", "--even-light", "--true-shape", f"{SHEET[0]}x{SHEET[1]}mm", "--crop",
               f"rect:{MARGIN}mm,{MARGIN}mm,{SIZE[0]}mm,{SIZE[1]}mm"]
        files, report = draw(folder, f"page-{kind}", photo, *DRAWN, *fix)
        again = f1(truth, drawn_lines(files[".svg"], report["picture_mm"]))
        off = misplaced(report, corners, (MARGIN, MARGIN, *SIZE))
        whole, _ = draw(folder, f"page-{kind}-whole", photo, *fix[:4], "--keep-frame")
        value = ndimage.minimum_filter(sheet_of(rendered("flat", rng, outlines)), 2 * PPM + 1) > 0.99
        paper = paper_off(whole["-look.png"], value)
        print(f"{kind:10} {itself:10.3f} {again:13.3f} {off:8.3f} {paper:9.2f}")
        if again < itself - F1_LOSS:
            fault(f"{kind}: F1 fell from {itself:.3f} to {again:.3f}")
        if off > PLACE_MM:
            fault(f"{kind}: the picture lies {off:.2f} mm off")
        if paper > PAPER_L:
            fault(f"{kind}: paper is {paper:.1f} L* off white somewhere")
        if kind == "hatch":
            given = [f"{x:.3f}px,{y:.3f}px" for x, y in corners]
            by_hand(folder, photo, given, corners)


def by_hand(folder, photo, given, corners):
    """The same corners given: the map against OpenCV's, by where a grid of places of the flat page lies."""
    _, report = draw(folder, "page-given", photo, "--corners", *given, "--true-shape", f"{SHEET[0]}x{SHEET[1]}mm",
                     "--crop", "rect:25%,20%,50%,40%")
    w, h = report["page"]["flat"]["size_px"]
    left, top, width, height = report["page"]["kept_px"]
    own = np.array([[0, 0], [w, 0], [w, h], [0, h]], np.float32)
    rounded = np.array([[float(f"{x:.3f}"), float(f"{y:.3f}")] for x, y in corners])
    # OpenCV solves in double precision but takes floats; DLT over all four by findHomography is exact.
    opencv, _ = cv2.findHomography(own.astype(np.float64), rounded)
    kept = np.array([[left, top], [left + width, top], [left + width, top + height], [left, top + height]], np.float64)
    want = cv2.perspectiveTransform(kept[:, None], opencv)[:, 0]
    off = np.abs(want - np.array(report["page"]["picture_corners_px"])).max()
    print(f"map against OpenCV {cv2.__version__}: {off:.1e} px apart")
    if off > 1e-3:
        fault(f"the map of the flat page is {off:.4f} px off OpenCV's")


def example(folder, examples):
    """The hatched still life photographed: about as much line as by itself, most of it where it was."""
    picture = to_light(np.asarray(Image.open(examples / "still-life-hatched.png").convert("L")))
    h, w = picture.shape
    edge = round(0.08 * w)
    sheet = np.pad(picture, edge, constant_values=1.0)
    mm = (sheet.shape[1] / 10, sheet.shape[0] / 10)
    data, _ = photograph(sheet, mm, PHOTO, np.random.default_rng(5), tilt=(-15, 18), turn=-4)
    photo = folder / "page-still-life.jpg"
    photo.write_bytes(data)
    size = ["--paper", "a4", "--marks", "none"]
    files, report = draw(folder, "page-still-life-itself", examples / "still-life-hatched.png", *size)
    itself = drawn_lines(files[".svg"], report["picture_mm"])
    share = edge / sheet.shape[1] * 100, edge / sheet.shape[0] * 100
    crop = f"rect:{share[0]}%,{share[1]}%,{100 - 2 * share[0]}%,{100 - 2 * share[1]}%"
    files, report = draw(folder, "page-still-life", photo, *size, "--find-page", "--even-light", "--true-shape",
                         f"{mm[0]}x{mm[1]}mm", "--crop", crop)
    again = f1(itself, drawn_lines(files[".svg"], report["picture_mm"]))
    print(f"the still life against its own photograph: F1 {again:.3f} at 1.0 mm")
    # From measuring: hatching photographed anew is another drawing of the same tones.
    if again < 0.7:
        fault(f"the still life's lines agree only to {again:.2f}")


def framed(folder):
    """A rule, a caption and a page number on a photographed page."""
    picture = rendered("flat", np.random.default_rng(2), scene())
    sheet = sheet_of(picture)
    mm = lambda v: round(v * PPM)
    # The rule, 0.5 mm wide, a millimetre outside the picture.
    rule = [mm(MARGIN - 1.5), mm(MARGIN - 1.5), mm(SHEET[0] - MARGIN + 1.5), mm(SHEET[1] - MARGIN + 1.5)]
    ruled = sheet.copy()
    ruled[rule[1] : rule[3], rule[0] : rule[2]] = 0.03
    ruled[rule[1] + mm(0.5) : rule[3] - mm(0.5), rule[0] + mm(0.5) : rule[2] - mm(0.5)] = sheet[
        rule[1] + mm(0.5) : rule[3] - mm(0.5), rule[0] + mm(0.5) : rule[2] - mm(0.5)]
    text = np.ascontiguousarray((sheet * 255).astype(np.uint8))
    for words, x, y, tall in (("Plate 7. A table, two jars", 40, SHEET[1] - 4, 0.9), ("112", 132, 6, 0.8)):
        cv2.putText(text, words, (mm(x), mm(y)), cv2.FONT_HERSHEY_DUPLEX, tall, 20, 2, cv2.LINE_AA)
    lettered = text / np.float32(255)
    for name, page in (("rule", ruled), ("caption", lettered), ("rule-and-caption", np.minimum(ruled, lettered))):
        data, corners = photograph(page, SHEET, PHOTO, np.random.default_rng(7), tilt=(12, 8), shadow=0.2)
        photo = folder / f"page-{name}.jpg"
        photo.write_bytes(data)
        fix = ["--find-page", "--even-light", "--true-shape", f"{SHEET[0]}x{SHEET[1]}mm"]
        _, report = draw(folder, f"page-{name}", photo, *fix)
        frame = report["page"]["frame"] or {"rules": 0, "captions": []}
        _, kept = draw(folder, f"page-{name}-kept", photo, *fix, "--keep-frame")
        print(f"{name}: {frame['rules']} rule, {len(frame['captions'])} captions left out")
        if kept["page"]["frame"] is not None:
            fault(f"{name}: something was left out in spite of --keep-frame")
        if (frame["rules"] > 0) != name.startswith("rule"):
            fault(f"{name}: {frame['rules']} rules were seen")
        if name == "caption" and len(frame["captions"]) != 2:
            fault(f"{name}: {len(frame['captions'])} captions were seen, not 2")
        if name.startswith("rule"):
            inner = MARGIN - 1.0
            off = misplaced(report, corners, (inner, inner, SHEET[0] - 2 * inner, SHEET[1] - 2 * inner))
            # Clear of the rule's blur, so a little inside it.
            print(f"{name}: inside of the rule {off:.2f} mm off")
            if off > PLACE_MM:
                fault(f"{name}: the inside of the rule is {off:.2f} mm off")


def refusals(folder, examples):
    """What cannot be a page is refused in one sentence, with the right exit code, and nothing is written."""
    still = examples / "still-life-hatched.png"
    for name, options, code, part in (
        ("crossed", ["--corners", "10%,10%", "90%,90%", "90%,10%", "10%,90%"], 2, "cross"),
        ("in-line", ["--corners", "10%,10%", "50%,10%", "90%,10%", "10%,90%"], 2, "in one line"),
        ("outside", ["--corners", "10%,10%", "120%,10%", "90%,90%", "10%,90%"], 2, "outside"),
        ("mirrored", ["--corners", "10%,90%", "90%,90%", "90%,10%", "10%,10%"], 2, "anticlockwise"),
        ("no-page", ["--find-page"], 1, "corners"),
    ):
        done = draw(folder, f"page-{name}", still, *options, may_fail=True)
        said = done.stderr.strip()
        if done.returncode != code or part not in said or "\n" in said:
            fault(f"{name}: exit code {done.returncode}: {said}")
        if (folder / f"page-{name}.svg").exists():
            fault(f"{name}: a file was written")


def main():
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--examples", type=Path, default=Path("examples"))
    options.add_argument("--folder", type=Path, default=Path("/tmp"))
    asked = options.parse_args()
    asked.folder.mkdir(parents=True, exist_ok=True)
    refusals(asked.folder, asked.examples)
    framed(asked.folder)
    renderings(asked.folder)
    example(asked.folder, asked.examples)
    print("FAULTS" if faults else "all well")
    raise SystemExit(1 if faults else 0)


if __name__ == "__main__":
    main()
