"""Borders of a flat-toned scene by scikit-image's marching squares, for tests/oracles.rs.

Draws smooth shapes of one flat tone each, averaged in linear light over each pixel, on a ground of another
tone, and lets `skimage.measure.find_contours` (Lorensen & Cline 1987, in two dimensions) find the level half
way between both tones, in linear reflectance. The program has not seen this code and this code not the program.

    python tests/oracles/contours.py tests/data/flat-scene.png tests/data/flat-scene-contours.json
"""

import json
import platform
import sys

import numpy as np
import skimage
from PIL import Image
from skimage.measure import find_contours

PX_PER_MM = 4
WIDTH, HEIGHT = 400, 320
FINE = 8
GROUND = 60.0


def reflectance(lightness):
    return ((lightness + 16) / 116) ** 3


def encode(y):
    return np.where(y <= 0.0031308, 12.92 * y, 1.055 * np.maximum(y, 1e-9) ** (1 / 2.4) - 0.055)


def decode(v):
    return np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)


def shapes(x, y):
    """(lightness, inside) of each shape, at places in mm; each stands clear of the others."""
    yield 90.0, (x - 22) ** 2 + (y - 24) ** 2 < 14.0**2
    u, w = (x - 68) * 0.866 + (y - 20) * 0.5, (y - 20) * 0.866 - (x - 68) * 0.5
    yield 10.0, (u / 22) ** 2 + (w / 9) ** 2 < 1
    a = np.arctan2(y - 58, x - 26)
    yield 30.0, np.hypot(x - 26, y - 58) < 12 + 3 * np.cos(3 * a) + 1.1 * np.sin(5 * a)
    # A shape that runs off the picture's edge.
    yield 90.0, np.hypot(x - 96, y - 66) < 17 + 1.5 * np.sin(6 * np.arctan2(y - 66, x - 96))
    yield 10.0, (((x - 62) / 11) ** 4 + ((y - 56) / 9) ** 4) < 1


def main():
    at = (np.arange(WIDTH * FINE) + 0.5) / FINE / PX_PER_MM, (np.arange(HEIGHT * FINE) + 0.5) / FINE / PX_PER_MM
    x, y = np.meshgrid(*at)
    light = np.full(x.shape, reflectance(GROUND))
    regions = []
    for tone, inside in shapes(x, y):
        assert np.allclose(light[inside], reflectance(GROUND)), "shapes must not touch"
        light[inside] = reflectance(tone)
        regions.append((tone, inside))
    mean = light.reshape(HEIGHT, FINE, WIDTH, FINE).mean(axis=(1, 3))
    grey = np.round(encode(mean) * 255).astype(np.uint8)
    Image.fromarray(grey).save(sys.argv[1], optimize=True)

    # From the 8-bit picture as it is stored, not from the shapes.
    seen = decode(grey / 255.0)
    borders = []
    for tone, inside in regions:
        near = inside.reshape(HEIGHT, FINE, WIDTH, FINE).any(axis=(1, 3))
        near = np.pad(near, 3)
        near = np.max([np.roll(near, (i, j), (0, 1)) for i in range(-3, 4) for j in range(-3, 4)], axis=0)[3:-3, 3:-3]
        level = (reflectance(GROUND) + reflectance(tone)) / 2
        field = np.where(near, seen, reflectance(GROUND))
        for line in find_contours(field, level):
            mm = (line[:, ::-1] + 0.5) / PX_PER_MM
            borders.append({"tones": [GROUND, tone], "points_mm": np.round(mm, 4).tolist()})
    assert len(borders) == 5, len(borders)
    out = {
        "made_by": "tests/oracles/contours.py",
        "versions": {"python": platform.python_version(), "numpy": np.__version__, "scikit-image": skimage.__version__},
        "px_per_mm": PX_PER_MM,
        "width_mm": WIDTH / PX_PER_MM,
        "height_mm": HEIGHT / PX_PER_MM,
        "borders": borders,
    }
    with open(sys.argv[2], "w") as f:
        json.dump(out, f, separators=(",", ":"))
        f.write("\n")


main()
