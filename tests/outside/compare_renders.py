"""Compare two renders of one drawing: ink of each has ink of the other within a distance in mm.

Usage: compare_renders.py A.png B.png DPI [DISTANCE_MM]. Exit code 1 and a sentence when they differ.
"""
import sys

import numpy as np
from PIL import Image

# A light soft line is thinner than a pixel at low resolution; this counts a pixel that is about a third ink.
INK_BELOW = 170


def ink(path):
    image = Image.open(path)
    if image.mode in ("RGBA", "LA"):
        white = Image.new("RGBA", image.size, "white")
        image = Image.alpha_composite(white, image.convert("RGBA"))
    return np.asarray(image.convert("L")) < INK_BELOW


def widened(mask, pixels):
    out = mask.copy()
    height, width = mask.shape
    for dy in range(-pixels, pixels + 1):
        for dx in range(-pixels, pixels + 1):
            ys, yd = slice(max(0, -dy), height - max(0, dy)), slice(max(0, dy), height - max(0, -dy))
            xs, xd = slice(max(0, -dx), width - max(0, dx)), slice(max(0, dx), width - max(0, -dx))
            out[yd, xd] |= mask[ys, xs]
    return out


def main():
    a, b, dpi = ink(sys.argv[1]), ink(sys.argv[2]), float(sys.argv[3])
    distance_mm = float(sys.argv[4]) if len(sys.argv) > 4 else 0.2
    if max(abs(a.shape[0] - b.shape[0]), abs(a.shape[1] - b.shape[1])) > 1:
        sys.exit(f"the renders differ in size: {a.shape} and {b.shape} pixels")
    height, width = min(a.shape[0], b.shape[0]), min(a.shape[1], b.shape[1])
    a, b = a[:height, :width], b[:height, :width]
    pixels = max(1, round(distance_mm / 25.4 * dpi))
    lost, extra = int((a & ~widened(b, pixels)).sum()), int((b & ~widened(a, pixels)).sum())
    if lost or extra:
        sys.exit(f"{lost} pixels of ink only in the first render, {extra} only in the second, over {pixels} pixels away")
    print(f"same ink within {pixels} pixels: {int(a.sum())} and {int(b.sum())} pixels")


main()
