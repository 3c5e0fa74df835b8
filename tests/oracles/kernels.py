"""Figures of OpenCV, SciPy and scikit-image for the program's pixel kernels, for tests/kernels.rs and unit tests.

Every figure is made at least twice where two libraries share the definition, and the script stops where they
differ. Where the definitions differ from the program's, the test that reads the figure says by how much.

    python tests/oracles/kernels.py tests/data/kernels.json
"""

import heapq
import json
import platform
import sys

import cv2
import numpy as np
import scipy
import skimage
from scipy import ndimage
from skimage.segmentation import watershed

WIDTH, HEIGHT = 44, 33
CROSS = ndimage.generate_binary_structure(2, 1)


def picture(rng):
    """Flat tones with hard borders, a gradation and grain, as whole 255ths."""
    y, x = np.mgrid[0:HEIGHT, 0:WIDTH]
    tone = 40 + 3.5 * x
    tone = np.where((x - 14) ** 2 + (y - 15) ** 2 < 81, 25, tone)
    tone = np.where((x > 28) & (y > 19), 235, tone)
    tone = np.where(np.abs(x + y - 52) < 1, 5, tone)
    return np.clip(np.round(tone + rng.normal(0, 6, tone.shape)), 0, 255).astype(np.uint8)


def gaussians(image):
    """Mirrored borders (SciPy calls them reflect), kernel of 3.5 standard deviations."""
    light = image / 255
    for sigma in (0.7, 2.4, 8.0, 9.0, 16.0):
        radius = int(np.ceil(3.5 * sigma))
        out = ndimage.gaussian_filter(light, sigma, mode="reflect", radius=radius)
        if radius < min(light.shape):
            other = cv2.GaussianBlur(light, (2 * radius + 1,) * 2, sigma, borderType=cv2.BORDER_REFLECT)
            assert np.abs(out - other).max() < 1e-6, sigma
        yield {"sigma_px": sigma, "millionths": np.round(out * 1e6).astype(int).ravel().tolist()}


def bilateral(light, guide, sigma, sigma_l, radius):
    """Joint bilateral mean (Petschnigg et al. 2004) by its definition, over a disc; nothing lies outside the picture."""
    up, down = np.zeros(light.shape), np.zeros(light.shape)
    h, w = light.shape
    for dy in range(-radius, radius + 1):
        for dx in range(-radius, radius + 1):
            if dx * dx + dy * dy > radius * radius:
                continue
            here = (slice(max(0, -dy), min(h, h - dy)), slice(max(0, -dx), min(w, w - dx)))
            there = (slice(max(0, dy), min(h, h + dy)), slice(max(0, dx), min(w, w + dx)))
            weight = np.exp(-(dx * dx + dy * dy) / (2 * sigma**2) - (guide[there] - guide[here]) ** 2 / (2 * sigma_l**2))
            up[here] += weight * light[there]
            down[here] += weight
    return up / down


def bilaterals(image):
    light = image / 255
    # OpenCV's bilateral filter is guided by the picture itself; where its window lies inside, that is one definition.
    radius, sigma, sigma_l = 8, 2.0, 12.0
    scaled = (100 * light).astype(np.float32)
    other = cv2.bilateralFilter(scaled, 2 * radius + 1, sigma_l, sigma)
    inside = (slice(radius, -radius),) * 2
    mine = 100 * bilateral(light, 100 * light, sigma, sigma_l, radius)
    # OpenCV looks its weights up in a table of 4096 steps over the picture's range.
    assert np.abs(mine - other)[inside].max() < 0.02, np.abs(mine - other)[inside].max()
    smooth = ndimage.gaussian_filter(light, 1.5, mode="reflect")
    for name, guide in (("itself", 100 * light), ("its own mean", 100 * smooth)):
        guide = np.round(guide * 1000) / 1000
        for sigma, sigma_l in ((2.0, 12.0), (4.0, 20.0)):
            fits = bilateral(light, guide, sigma * GRID, sigma_l * GRID, int(np.ceil(4 * sigma * GRID)))
            yield {
                "guide_name": name,
                "guide_thousandths": np.round(guide * 1000).astype(int).ravel().tolist(),
                "sigma_px": sigma,
                "sigma_l": sigma_l,
                "millionths": np.round(fits * 1e6).astype(int).ravel().tolist(),
            }


# A grid of cells widens its Gaussian: to the nearest cell (variance 1/12), binomial (1), linear back (1/6) cells.
GRID = float(np.sqrt(1 + 1 / 12 + 1 / 6))


def squares(image):
    for radius in (1, 3, 50):
        shape = np.ones((2 * radius + 1,) * 2, np.uint8)
        large, small = cv2.dilate(image, shape), cv2.erode(image, shape)
        assert (large == ndimage.maximum_filter(image, 2 * radius + 1, mode="nearest")).all()
        assert (small == skimage.morphology.erosion(image, shape)).all()
        yield {"radius": radius, "largest": large.ravel().tolist(), "smallest": small.ravel().tolist()}


def discs(image):
    for radius in (1.0, 2.4, 3.0, 4.8):
        r = int(radius)
        y, x = np.mgrid[-r : r + 1, -r : r + 1]
        shape = (x * x + y * y <= radius * radius).astype(np.uint8)
        closed = cv2.morphologyEx(image, cv2.MORPH_CLOSE, shape)
        assert (closed == skimage.morphology.closing(image, shape, mode="ignore")).all(), radius
        yield {"radius_px": radius, "closed": closed.ravel().tolist()}


def numbered(values):
    """Ids in the order of first pixels, 0 for value 0."""
    ids = np.zeros(values.shape, int)
    for value in np.unique(values[values > 0]):
        count, labels = cv2.connectedComponents((values == value).astype(np.uint8), connectivity=4)
        other, n = ndimage.label(values == value, CROSS)
        pairs = np.unique(np.stack([labels.ravel(), other.ravel()]), axis=1).shape[1]
        assert count == n + 1 == pairs, "OpenCV and SciPy see different components"
        ids[other > 0] = other[other > 0] + ids.max()
    flat = ids.ravel()
    firsts = sorted((np.flatnonzero(flat == i)[0], i) for i in range(1, ids.max() + 1))
    new = np.zeros(ids.max() + 1, int)
    for k, (_, i) in enumerate(firsts):
        new[i] = k + 1
    return new[ids]


def components(rng):
    for name, values in (
        ("three values, ragged", rng.integers(0, 4, (19, 23))),
        ("spiral and comb", np.array([[1] * 15, [0] * 14 + [1], [1] * 13 + [0, 1], [1] + [0] * 11 + [1, 0, 1], [1, 0] * 6 + [1, 0, 1], [1] * 13 + [0, 1]])),
        ("one row", rng.integers(1, 3, (1, 17))),
        ("one column", rng.integers(1, 3, (17, 1))),
    ):
        yield {
            "name": name,
            "width": values.shape[1],
            "values": values.ravel().tolist(),
            "ids": numbered(values).ravel().tolist(),
        }


def distances(rng):
    for name, mask in (
        ("sparse", rng.random((29, 37)) < 0.01),
        ("dense", rng.random((21, 24)) < 0.3),
        ("one corner", np.pad([[True]], ((0, 40), (0, 11)))),
    ):
        squared = ndimage.distance_transform_edt(~mask) ** 2
        assert np.abs(squared - np.round(squared)).max() < 1e-9
        yield {
            "name": name,
            "width": mask.shape[1],
            "target": mask.astype(int).ravel().tolist(),
            "squared": np.round(squared).astype(int).ravel().tolist(),
        }


def least_pass(cost, core):
    """Least largest cost on any way from `core` to each pixel, by Dijkstra's search with max for plus."""
    h, w = cost.shape
    best = np.full(cost.shape, np.iinfo(int).max)
    queue = [(0, int(y), int(x)) for y, x in np.argwhere(core)]
    best[core] = 0
    while queue:
        d, y, x = heapq.heappop(queue)
        if d > best[y, x]:
            continue
        for v, u in ((y, x - 1), (y, x + 1), (y - 1, x), (y + 1, x)):
            if 0 <= v < h and 0 <= u < w and max(d, cost[v, u]) < best[v, u]:
                best[v, u] = max(d, cost[v, u])
                heapq.heappush(queue, (int(best[v, u]), v, u))
    return best


def floods(rng):
    """Who may have each pixel (bit k: core k+1), and what scikit-image's watershed gives it."""
    h, w = 26, 31
    cores = np.zeros((h, w), int)
    for value, (y, x) in enumerate(((3, 4), (8, 24), (20, 9), (21, 27)), 1):
        cores[y : y + 2 + value % 2, x : x + 3] = value
    y, x = np.mgrid[0:h, 0:w]
    bowls = np.min([np.hypot(y - a, x - b) for a, b in ((4, 5), (9, 25), (21, 10), (22, 28))], axis=0)
    for name, cost in (
        ("flat", np.zeros((h, w), int)),
        ("bowls", np.round(bowls * 3).astype(int)),
        ("rough", rng.integers(0, 64, (h, w))),
        ("wall with a gate", np.where((x == 15) & (y != 13), 40, 1)),
    ):
        cost = np.where(cores > 0, 0, cost)
        if name == "flat":
            # On flat cost the flood arrives in the order of steps: the nearest core by city blocks.
            reach = [ndimage.distance_transform_cdt(cores != k, "taxicab") for k in range(1, 5)]
        else:
            reach = [least_pass(cost, cores == k) for k in range(1, 5)]
        least = np.min(reach, axis=0)
        allowed = sum((r == least).astype(int) << k for k, r in enumerate(reach))
        other = watershed(cost, cores, connectivity=1)
        assert ((allowed >> (other - 1)) & 1).all(), name
        single = (allowed & (allowed - 1)) == 0
        print(f"flood {name}: {single.mean():.1%} of the pixels have one answer", file=sys.stderr)
        yield {
            "name": name,
            "width": w,
            "cores": cores.ravel().tolist(),
            "cost": cost.ravel().tolist(),
            "may_have": allowed.ravel().tolist(),
            "watershed": other.ravel().tolist(),
        }


def lightness(y):
    return 116 * np.cbrt(y) - 16 if y > 216 / 24389 else y * 24389 / 27


def merged(values, reflectance, px_per_mm, doubt):
    """Greedy merging with every cost made anew at each union: slow, and no heap to be wrong about."""
    ids = numbered(values) - 1
    n = ids.max() + 1
    areas = {
        i: {
            "leaf": int(i),
            "pixels": float((ids == i).sum()),
            "light": float(reflectance[ids == i].sum()),
            "shares": np.bincount(values[ids == i], minlength=10).astype(float),
            "value": int(values[ids == i][0]),
            "height": 0.0,
        }
        for i in range(n)
    }
    at = ids.copy()
    unions = []
    for node in range(n, 2 * n - 1):
        borders = {}
        for a, b in ((at[:, :-1], at[:, 1:]), (at[:-1], at[1:])):
            for p, q in zip(a.ravel(), b.ravel()):
                if p != q:
                    key = (int(min(p, q)), int(max(p, q)))
                    borders[key] = borders.get(key, 0) + 1
        best = None
        for (i, j), edges in sorted(borders.items()):
            p, q = areas[i], areas[j]
            cost = 0.0
            if p["value"] != q["value"]:
                step = lightness(p["light"] / p["pixels"]) - lightness(q["light"] / q["pixels"])
                size = p["pixels"] * q["pixels"] / (p["pixels"] + q["pixels"]) / px_per_mm**2
                cost = max(0.0, size * step**2 / (edges * np.pi / 4 / px_per_mm) - doubt)
            if best is None or (cost, i, j) < best:
                best = (cost, i, j)
        cost, i, j = best
        p, q = areas.pop(i), areas.pop(j)
        height = max(cost, p["height"], q["height"])
        shares = p["shares"] + q["shares"]
        value = int(np.argmax(shares))
        unions.append({"leaves": [p["leaf"], q["leaf"]], "height": height, "value": value})
        areas[node] = {
            "leaf": min(p["leaf"], q["leaf"]),
            "pixels": p["pixels"] + q["pixels"],
            "light": p["light"] + q["light"],
            "shares": shares,
            "value": value,
            "height": height,
        }
        at[(at == i) | (at == j)] = node
    return unions


def merges(rng):
    for name, shape, most, doubt in (
        ("no doubt", (9, 12), 4, 0.0),
        ("doubt", (9, 12), 4, 60.0),
        ("two values", (12, 10), 2, 5.0),
        ("nine values", (8, 8), 9, 20.0),
    ):
        values = rng.integers(1, most + 1, shape)
        values = np.where(rng.random(shape) < 0.5, np.roll(values, 1, axis=1), values)
        light = np.round((1 - (values - 0.5) / 9 + rng.uniform(-0.05, 0.05, shape)) * 1e4) / 1e4
        yield {
            "name": name,
            "width": shape[1],
            "px_per_mm": 2.0,
            "doubt": doubt,
            "values": values.ravel().tolist(),
            "ten_thousandths": np.round(light * 1e4).astype(int).ravel().tolist(),
            "unions": merged(values, light, 2.0, doubt),
        }


def main():
    rng = np.random.default_rng(23)
    image = picture(rng)
    out = {
        "made_by": "tests/oracles/kernels.py",
        "versions": {
            "python": platform.python_version(),
            "numpy": np.__version__,
            "scipy": scipy.__version__,
            "opencv": cv2.__version__,
            "scikit-image": skimage.__version__,
        },
        "width": WIDTH,
        "picture": image.ravel().tolist(),
        "gaussian": list(gaussians(image)),
        "bilateral": list(bilaterals(image)),
        "square": list(squares(image)),
        "disc": list(discs(image)),
        "components": list(components(rng)),
        "distance": list(distances(rng)),
        "flood": list(floods(rng)),
        "merge": list(merges(rng)),
    }
    with open(sys.argv[1], "w") as f:
        json.dump(out, f, separators=(",", ":"))
        f.write("\n")


main()
