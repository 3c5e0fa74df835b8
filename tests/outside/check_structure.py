"""The value structure, checked with NumPy and scikit-image.

    MERESTONE=target/release/merestone python tests/outside/check_structure.py --examples examples --folder /tmp
    ... --pictures FOLDER     # besides, every picture of a folder

A scene of known tones, drawn at the working scale so that no pixel is resampled, has its groups' shares, means and
ranges by NumPy, its keep-alike sets by scikit-image's labels and region properties, and its strongest contrast by a
search over every place of every border with windows of all their pixels. On pictures, areas are labelled anew from the
value map by scikit-image: sizes and shares of the keep-alike list, and that no area on it is missing or named by a wrong
square; and the page, drawn by poppler, has as much ink in its small pictures as their coverage asks for. The exit code
is 1 when anything is off.
"""

import argparse
import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
from check_promises import inputs
from PIL import Image
from skimage.measure import label, regionprops

Image.MAX_IMAGE_PIXELS = None
PX, SQUARE_MM, DPI = 6, 25.0, 600
LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ"


def run(picture, stem, more):
    files = {"pdf": f"{stem}.pdf", "report": f"{stem}.json", "map": f"{stem}-values.png"}
    command = [os.environ["MERESTONE"], "structure", str(picture), "--quiet", "--overwrite", "-o", files["pdf"]]
    command += ["--report", files["report"], "--value-map", files["map"], *more]
    done = subprocess.run(command, capture_output=True, text=True, timeout=600)
    if done.returncode != 0:
        raise SystemExit(f"{' '.join(command)}\nexit code {done.returncode}: {done.stderr}")
    return files["pdf"], json.loads(Path(files["report"]).read_text()), np.array(Image.open(files["map"]))


def lightness(y):
    """CIE 15: L* of a reflectance."""
    y = np.asarray(y, float)
    return np.where(y > (6 / 29) ** 3, 116 * np.cbrt(y) - 16, y * (29 / 3) ** 3)


def linear(code):
    """IEC 61966-2-1: linear light of sRGB codes."""
    c = np.asarray(code, float) / 255
    return np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)


def square_of(x_mm, y_mm):
    return f"{LETTERS[int(x_mm // SQUARE_MM)]}{int(y_mm // SQUARE_MM) + 1}"


def scene():
    """Codes of a picture of 150 x 100 mm at 6 px/mm, with shapes of several tones."""
    h, w = 100 * PX, 150 * PX
    y, x = (np.mgrid[:h, :w] + 0.5) / PX
    codes = np.full((h, w), 236, np.uint8)
    codes[y > 70] = 150
    for cx, cy, radius, code in [(30, 30, 18, 90), (110, 30, 17, 92), (75, 82, 9, 20), (130, 85, 6, 8)]:
        codes[np.hypot(x - cx, y - cy) < radius] = code
    codes[(x > 60) & (x < 84) & (y > 10) & (y < 34)] = 152
    return codes


ZONES = {"left": (5, 5, 60, 60), "right": (90, 10, 50, 45), "low": (0, 75, 150, 25)}


def strongest(areas, light, window_mm):
    """The strongest contrast over every border place, as `src/structure/contrast.rs` defines it."""
    h, w = areas.shape
    half = window_mm * PX / 2
    best = (0.0, None)
    places = []
    for axis in (0, 1):
        a, b = (areas[:-1], areas[1:]) if axis == 0 else (areas[:, :-1], areas[:, 1:])
        ys, xs = np.nonzero(a != b)
        places += [(yy + (1 if axis == 0 else 0.5), xx + (1 if axis == 1 else 0.5), a[yy, xx], b[yy, xx]) for yy, xx in zip(ys, xs)]
    # Sums over windows by summed-area tables, one for each area.
    tables = {}
    for area in np.unique(areas):
        mask = areas == area
        pad = lambda m: np.pad(m.astype(float).cumsum(0).cumsum(1), ((1, 0), (1, 0)))
        tables[area] = pad(mask), pad(mask * light)
    box = lambda t, y0, y1, x0, x1: t[y1, x1] - t[y0, x1] - t[y1, x0] + t[y0, x0]
    strengths = []
    for y, x, a, b in places:
        y0, y1 = max(0, round(y - half)), min(h, round(y + half))
        x0, x1 = max(0, round(x - half)), min(w, round(x + half))
        sides = []
        for area in (a, b):
            count, total = (box(t, y0, y1, x0, x1) for t in tables[area])
            sides.append((count / (2 * half) ** 2, float(lightness(total / count))))
        (p, l), (q, m) = sides
        strength = abs(l - m) * 2 * np.sqrt(p * q)
        strengths.append(strength)
        if strength > best[0]:
            best = (strength, (x / PX, y / PX, sorted((l, m), reverse=True)))
    return best, np.array(strengths)


def check_scene(folder):
    faults = []
    codes = scene()
    picture = folder / "structure-scene.png"
    Image.fromarray(codes).save(picture)
    study = folder / "structure-scene.toml"
    groups = "".join(
        f'[[group]]\nname = "{name}"\nzone = "rect:{x}mm,{y}mm,{w}mm,{h}mm"\nvalue = [1, 5]\n'
        for name, (x, y, w, h) in ZONES.items()
    )
    study.write_text(
        f'format = 1\n[reference]\nfile = "{picture.name}"\n[sheet]\npaper = "170x120mm"\nmargin = "10mm"\n'
        '[tones]\nbreaks = [85, 60, 35, 15]\ntone-range = [0, 100]\npitch = "none"\nkind = "tonal"\n'
        f'[lines]\nplainness = 0\n{groups}'
    )
    _, report, values = run(study, folder / "structure-scene", [])
    got = report["structure"]
    light = linear(codes)
    if values.shape != codes.shape:
        return [f"the working raster is {values.shape}, the scene {codes.shape}: nothing can be compared"], 0
    y, x = (np.mgrid[: codes.shape[0], : codes.shape[1]] + 0.5) / PX
    owner = np.full(codes.shape, -1)
    for k, (zx, zy, zw, zh) in sorted(enumerate(ZONES.values()), key=lambda z: -z[1][2] * z[1][3]):
        owner[(x > zx) & (x < zx + zw) & (y > zy) & (y < zy + zh)] = k
    checked = 0
    for k, group in enumerate(got["groups"]):
        mine = owner == k
        tones = np.sort(lightness(light[mine]))[::-1]
        out = int(0.025 * tones.size)
        wanted = {
            "share": (mine.mean(), 1e-5),
            "reflectance": (light[mine].mean(), 1e-4),
            "lightness": (float(lightness(light[mine].mean())), 0.02),
        }
        for name, (value, within) in wanted.items():
            checked += 1
            if abs(group[name] - value) > within:
                faults.append(f"group {group['name']}: {name} {group[name]}, NumPy has {value:.6f}")
        for got_end, value in zip(group["range"], (tones[out], tones[-1 - out])):
            checked += 1
            if abs(got_end - value) > 0.05:
                faults.append(f"group {group['name']}: range {group['range']}, NumPy has {value:.3f}")
        shares = [(values[mine] == v).mean() for v in range(1, 6)]
        checked += 1
        if np.abs(np.array(group["drawn_shares"]) - shares).max() > 1e-5:
            faults.append(f"group {group['name']}: drawn shares {group['drawn_shares']}, NumPy has {shares}")
    areas = label(values, connectivity=1, background=0)
    (strength, (bx, by, sides)), all_of_them = strongest(areas, light, SQUARE_MM)
    c = got["contrast"]
    checked += 3
    # Ours looks at one place in each cell of a grid of a twelfth of the window: a little below the best of all.
    if not 0.97 * strength <= c["strength"] <= strength + 0.2:
        faults.append(f"strongest contrast {c['strength']}, the search has {strength:.3f} at {bx:.1f}, {by:.1f}")
    if np.abs(np.array(c["lightness"]) - sides).max() > 1.0:
        faults.append(f"its sides {c['lightness']}, the search has {sides}")
    if abs(c["median"] - np.median(all_of_them)) > 0.05 * strength:
        faults.append(f"median {c['median']}, the search has {np.median(all_of_them):.3f}")
    more, n = check_alike(report, values, light)
    names = [[m["squares"][0] for m in s["members"]] for s in got["keep_alike"]["areas"]]
    # The two discs of codes 90 and 92 (0.8 L* apart); band and square of 150 and 152. The dark discs differ by 5 L*, and the
    # last is smaller than half a square.
    checked += 1
    if sorted(map(sorted, names)) != [["A4", "C1"], ["B2", "E2"]]:
        faults.append(f"keep-alike sets {names}")
    return faults + more, checked + n


def check_alike(report, values, light=None):
    """Faults of the areas of the keep-alike list against scikit-image's labels."""
    faults, checked = [], 0
    px = values.shape[1] / report["picture_mm"]["width"]
    regions = regionprops(label(values, connectivity=1, background=0))
    least = report["structure"]["keep_alike"]["least_mm2"]
    large = [r for r in regions if r.area >= least * px * px]
    for of_set in report["structure"]["keep_alike"]["areas"]:
        tones = [m["lightness"] for m in of_set["members"]]
        checked += 1
        if max(tones) - min(tones) > of_set["within"] + 1e-6:
            faults.append(f"{of_set} reaches over {max(tones) - min(tones):.2f} L*")
        for m in of_set["members"]:
            share = [r for r in large if abs(r.area / values.size - m["share"]) < 2e-6]
            share = [r for r in share if values[tuple(r.coords[0])] == of_set["value"]]
            checked += 1
            if not share:
                faults.append(f"no area of value {of_set['value']} has a share of {m['share']}")
                continue
            named = []
            for r in share:
                squares = [square_of((x + 0.5) / px, (y + 0.5) / px) for y, x in r.coords]
                names, counts = np.unique(squares, return_counts=True)
                named.append(counts[list(names).index(m["squares"][0])] == counts.max() if m["squares"][0] in names else False)
                if light is not None and abs(lightness(light[tuple(r.coords.T)].mean()) - m["lightness"]) > 0.05:
                    faults.append(f"area in {m['squares']}: L* {m['lightness']}, NumPy has another")
            if not any(named):
                faults.append(f"{m['squares'][0]} does not hold most of an area of {m['share']}")
    return faults, checked


def check_page(pdf, report, folder):
    """Ink of the two small pictures on the page, as poppler draws it, against shares and coverage."""
    stem = folder / "structure-page"
    subprocess.run(["pdftoppm", "-f", "1", "-l", "1", "-r", str(DPI), "-gray", "-png", "-singlefile", pdf, stem], check=True)
    page = 1 - np.array(Image.open(f"{stem}.png").convert("L"), float) / 255
    mm = DPI / 25.4
    # Edge of the page as for the key: the printer's margin and 6 mm; three pictures beside each other, 6 mm apart.
    edge = 11.0
    room = (page.shape[1] / mm - 2 * edge - 12) / 3
    picture = report["picture_mm"]
    faults, worst = [], 0.0
    tall = (page.shape[0] / mm - 2 * edge) * 0.36
    share = min(room / picture["width"], tall / picture["height"])
    w, h = picture["width"] * share, picture["height"] * share
    for k, thumb in enumerate(report["structure"]["thumbnails"]):
        left = edge + k * (room + 6)
        # The frame's upper line: the first row that is dark over all of the picture's width.
        across = page[:, round((left + 1) * mm) : round((left + w - 1) * mm)].mean(axis=1)
        top = np.flatnonzero(across > 0.98)[0] / mm
        # Within the frame's line, 0.18 mm wide.
        inset = 0.12
        cut = page[
            round((top + inset) * mm) : round((top + h - inset) * mm),
            round((left + inset) * mm) : round((left + w - inset) * mm),
        ]
        wanted = sum(s * c for s, c in zip(thumb["shares"], thumb["coverage"]))
        worst = max(worst, abs(cut.mean() - wanted))
        if abs(cut.mean() - wanted) > 0.02:
            faults.append(f"the picture in {thumb['values']} values has {cut.mean():.3f} of ink, {wanted:.3f} is due")
    return faults, worst


def main():
    options = argparse.ArgumentParser()
    options.add_argument("--examples", required=True)
    options.add_argument("--folder", required=True)
    options.add_argument("--pictures")
    given = options.parse_args()
    folder = Path(given.folder)
    faults, checked = check_scene(folder)
    wrong = len(faults)
    print(f"scene: {checked} figures")
    for fault in faults:
        print(f"  FAULT {fault}")
    pictures = list(inputs(given.examples, folder))
    if given.pictures:
        paths = sorted(p for p in Path(given.pictures).iterdir() if p.suffix in (".jpg", ".png"))
        pictures += [(p.stem, p, []) for p in paths]
    sets = 0
    for name, path, more in pictures:
        pdf, report, values = run(path, folder / f"structure-{name}", ["--paper", "a4", *more])
        faults, n = check_alike(report, values)
        on_page, worst = check_page(pdf, report, folder)
        faults += on_page
        got = report["structure"]
        total = sum(g["share"] for g in got["groups"]) + got["rest_share"]
        if abs(total - 1) > 1e-4:
            faults.append(f"shares add up to {total}")
        if len(got["groups"]) > 7:
            faults.append(f"{len(got['groups'])} groups")
        wrong += len(faults)
        sets += len(got["keep_alike"]["areas"])
        print(f"{name}: {len(got['groups'])} groups, {n} figures of {len(got['keep_alike']['areas'])} sets, ink off by {worst:.4f} at most")
        for fault in faults:
            print(f"  FAULT {fault}")
    sys.exit(1 if wrong or sets < 3 else 0)


if __name__ == "__main__":
    main()
