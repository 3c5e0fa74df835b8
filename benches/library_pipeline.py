"""The same job by calls to libraries, timed beside the program in the same run.

Blur, breaks, components and contours by OpenCV and scikit-image: what comes to mind first, and no judge of the
drawing, which has false lines along every hard edge; it only says what time such a thing takes on this machine.

    cargo build --release && python benches/library_pipeline.py [--rounds 5] [--program target/release/merestone]

Needs numpy, opencv-python-headless and scikit-image. Both read the picture from disk and write an SVG.
"""

import argparse
import platform
import statistics
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
WIDTH_MM = 170
BLUR_MM = 0.7
LEAST_MM2 = 6


def by_libraries(svg):
    encoded = cv2.imread(str(REFERENCE), cv2.IMREAD_GRAYSCALE) / np.float32(255)
    light = np.where(encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4).astype(np.float32)
    width = WIDTH_MM * PX_PER_MM
    height = round(width * light.shape[0] / light.shape[1])
    light = cv2.resize(light, (width, height), interpolation=cv2.INTER_AREA)
    light = cv2.GaussianBlur(light, (0, 0), BLUR_MM * PX_PER_MM)
    tone = 116 * np.cbrt(np.maximum(light, 0.008856)) - 16
    breaks = threshold_multiotsu(tone, classes=5, nbins=128)
    values = np.digitize(tone, breaks).astype(np.uint8)
    lines = []
    for value in range(len(breaks) + 1):
        _, labels, stats, _ = cv2.connectedComponentsWithStats((values == value).astype(np.uint8), connectivity=4)
        large = stats[:, cv2.CC_STAT_AREA] >= LEAST_MM2 * PX_PER_MM**2
        large[0] = False
        lines += find_contours(large[labels].astype(np.float32), 0.5)
    paths = (
        "<path d='M" + " ".join(f"{x / PX_PER_MM:.3f},{y / PX_PER_MM:.3f}" for y, x in line) + "'/>" for line in lines
    )
    svg.write_text(
        f"<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 {WIDTH_MM} {height / PX_PER_MM:.3f}'>"
        f"<g fill='none' stroke='black' stroke-width='0.35'>{''.join(paths)}</g></svg>"
    )


def by_program(program, svg):
    subprocess.run(
        [program, "draw", REFERENCE, "--picture-width", f"{WIDTH_MM}mm", "-o", svg, "--overwrite", "--quiet"], check=True
    )


def seconds(work):
    began = time.perf_counter()
    work()
    return time.perf_counter() - began


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--program", type=Path, default=ROOT / "target" / "release" / "merestone")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        svg = Path(folder) / "lines.svg"
        libraries, program = [], []
        # In turn, so that whatever else the machine does meets both alike.
        for _ in range(options.rounds + 1):
            libraries.append(seconds(lambda: by_libraries(svg)))
            program.append(seconds(lambda: by_program(options.program, svg)))
    # The first round warms the caches.
    ours, theirs = statistics.median(program[1:]), statistics.median(libraries[1:])
    print(f"OpenCV {cv2.__version__}, scikit-image {skimage.__version__}, {platform.machine()}, {options.rounds} rounds")
    print(f"libraries {theirs:.3f} s, program {ours:.3f} s (with its start), ratio {ours / theirs:.2f}")


if __name__ == "__main__":
    main()
