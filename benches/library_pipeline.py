"""The same job by calls to libraries, timed beside the program in the same run, on A4, A3 and A1.

Blur, breaks, components and contours by OpenCV and scikit-image: what comes to mind first, and no judge of the
drawing, which has false lines along every hard edge; it only says what time such a thing takes on this machine.

    cargo build --release && python benches/library_pipeline.py [--rounds 5] [--papers a4 a3 a1]

Needs numpy, opencv-python-headless and scikit-image. Both read the same picture from disk, the still life enlarged to
6 pixels to each mm of the paper, and write an SVG. Besides the whole job, the stages from light to areas are compared: the
program's own timings of tone and areas with blur, breaks and components.
"""

import argparse
import json
import platform
import subprocess
import tempfile
import time
from pathlib import Path

import cv2
import numpy as np
import skimage
from skimage.filters import threshold_multiotsu
from skimage.measure import find_contours

ROOT = Path(__file__).resolve().parent.parent
REFERENCE = ROOT / "examples" / "still-life-hatched.png"
PX_PER_MM = 6
# What margins of 20 mm leave of each paper's width (ISO 216).
WIDTHS_MM = {"a4": 170, "a3": 257, "a2": 380, "a1": 554}
BLUR_MM = 0.7
LEAST_MM2 = 6


def areas_by_libraries(light):
    """For each value its areas of the least size, from light."""
    light = cv2.GaussianBlur(light, (0, 0), BLUR_MM * PX_PER_MM)
    tone = 116 * np.cbrt(np.maximum(light, 0.008856)) - 16
    breaks = threshold_multiotsu(tone, classes=5, nbins=128)
    values = np.digitize(tone, breaks).astype(np.uint8)
    areas = []
    for value in range(len(breaks) + 1):
        _, labels, stats, _ = cv2.connectedComponentsWithStats((values == value).astype(np.uint8), connectivity=4)
        large = stats[:, cv2.CC_STAT_AREA] >= LEAST_MM2 * PX_PER_MM**2
        large[0] = False
        areas.append(large[labels])
    return areas


def by_libraries(picture, svg):
    """Seconds from light to areas."""
    encoded = cv2.imread(str(picture), cv2.IMREAD_GRAYSCALE) / np.float32(255)
    light = np.where(encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4).astype(np.float32)
    began = time.perf_counter()
    areas = areas_by_libraries(light)
    stages = time.perf_counter() - began
    lines = [line for area in areas for line in find_contours(area.astype(np.float32), 0.5)]
    paths = (
        "<path d='M" + " ".join(f"{x / PX_PER_MM:.3f},{y / PX_PER_MM:.3f}" for y, x in line) + "'/>" for line in lines
    )
    height, width = light.shape
    svg.write_text(
        f"<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 {width / PX_PER_MM:.3f} {height / PX_PER_MM:.3f}'>"
        f"<g fill='none' stroke='black' stroke-width='0.35'>{''.join(paths)}</g></svg>"
    )
    return stages


def by_program(program, picture, paper, svg):
    """Seconds from light to areas, by its own timings."""
    report = svg.with_suffix(".json")
    command = [program, "draw", picture, "--paper", paper, "--picture-width", f"{WIDTHS_MM[paper]}mm", "-o", svg]
    subprocess.run([*command, "--report", report, "--timings", "--overwrite", "--quiet"], check=True)
    timings = json.loads(report.read_text())["timings_ms"]
    return (timings["tone"] + timings["areas"]) / 1000


def timed(work):
    """Seconds of the whole and of its stages."""
    began = time.perf_counter()
    stages = work()
    return time.perf_counter() - began, stages


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--papers", nargs="*", choices=WIDTHS_MM, default=["a4", "a3", "a1"])
    parser.add_argument("--program", type=Path, default=ROOT / "target" / "release" / "merestone")
    options = parser.parse_args()
    print(f"OpenCV {cv2.__version__}, scikit-image {skimage.__version__}, {platform.machine()}, {options.rounds} rounds")
    drawn = cv2.imread(str(REFERENCE), cv2.IMREAD_GRAYSCALE)
    with tempfile.TemporaryDirectory() as folder:
        svg, picture = Path(folder) / "lines.svg", Path(folder) / "reference.png"
        for paper in options.papers:
            width = WIDTHS_MM[paper] * PX_PER_MM
            size = width, round(width * drawn.shape[0] / drawn.shape[1])
            smaller = width < drawn.shape[1]
            cv2.imwrite(str(picture), cv2.resize(drawn, size, interpolation=cv2.INTER_AREA if smaller else cv2.INTER_CUBIC))
            libraries, program = [], []
            # In turn, so that whatever else the machine does meets both alike.
            for _ in range(options.rounds + 1):
                libraries.append(timed(lambda: by_libraries(picture, svg)))
                program.append(timed(lambda: by_program(options.program, picture, paper, svg)))
            # The first round warms the caches.
            theirs, ours = (np.median(np.array(runs[1:]), axis=0) for runs in (libraries, program))
            for k, what in enumerate(("whole job", "light to areas")):
                print(
                    f"{paper} {size[0]} x {size[1]} px, {what}: libraries {theirs[k]:.3f} s, "
                    f"program {ours[k]:.3f} s, ratio {ours[k] / theirs[k]:.2f}"
                )


if __name__ == "__main__":
    main()
