"""Lower bounds of the travel through the nets of `tests/data/stroke-nets.json`: nothing can be shorter.

    python tests/oracles/travel_bound.py tests/data/stroke-nets.json        # adds "bound_mm" to each net

Held & Karp's 1-tree bound (Operations Research 18, 1970, 1138-1162) by subgradient ascent, over the ends of strokes:
an open stroke is an edge at no cost that every tree holds, a closed one is a single place that is as far from others
as the nearest two of their joints. Every way through all strokes and back is such a 1-tree in which each place has
two edges, so no way is shorter than the least 1-tree, whatever the places are charged (the multipliers). Charges are
summed in whole nanometres, so rounding cannot lift the bound.
"""

import json
import sys
from pathlib import Path

import numpy as np
from numba import njit, __version__ as numba_version

NM = 1_000_000
STEPS = 6000


def distances(strokes):
    """Nanometres between all places, rounded down; the mate of each place (or -1). Place 0 is the corner (0, 0)."""
    places, mate = [[(0.0, 0.0)]], [-1]
    for s in strokes:
        k = len(places)
        places += [s["at"]] if s["closed"] else [[s["at"][0]], [s["at"][1]]]
        mate += [-1] if s["closed"] else [k + 1, k]
    owner = np.concatenate([np.full(len(p), k) for k, p in enumerate(places)])
    points = np.concatenate([np.array(p) for p in places])
    d = np.empty((len(places), len(places)), np.int64)
    starts = np.searchsorted(owner, np.arange(len(places)))
    for k, group in enumerate(places):
        to_all = np.min([np.hypot(*(points - p).T) for p in group], axis=0)
        d[k] = np.floor(np.minimum.reduceat(to_all, starts) * NM)
    return d, np.array(mate)


@njit(cache=False)
def one_tree(d, mate, charge):
    """Cost of the least 1-tree under charges, and the number of edges at each place."""
    n = len(d)
    degree = np.zeros(n, np.int64)
    best = np.full(n, np.iinfo(np.int64).max)
    parent = np.full(n, -1)
    inside = np.zeros(n, np.bool_)
    total = np.int64(0)
    inside[0] = True
    left = n - 1
    at = 1
    came = -1
    while True:
        # The place and, with it, the other end of its stroke.
        count = 1 if mate[at] < 0 else 2
        for _ in range(count):
            inside[at] = True
            left -= 1
            for k in range(1, n):
                if not inside[k]:
                    c = d[at, k] + charge[at] + charge[k]
                    if c < best[k]:
                        best[k] = c
                        parent[k] = at
            if mate[at] >= 0 and not inside[mate[at]]:
                total += charge[at] + charge[mate[at]]
                degree[at] += 1
                degree[mate[at]] += 1
                at = mate[at]
        if left == 0:
            break
        at = -1
        least = np.iinfo(np.int64).max
        for k in range(1, n):
            if not inside[k] and best[k] < least:
                least = best[k]
                at = k
        total += least
        came = parent[at]
        degree[at] += 1
        degree[came] += 1
    # The corner's two edges.
    first, second, f, s = np.iinfo(np.int64).max, np.iinfo(np.int64).max, -1, -1
    for k in range(1, n):
        c = d[0, k] + charge[0] + charge[k]
        if c < first:
            second, s = first, f
            first, f = c, k
        elif c < second:
            second, s = c, k
    total += first + second
    degree[0] = 2
    degree[f] += 1
    degree[s] += 1
    return total, degree


def bound(strokes, known):
    """The best bound found, in mm; `known` is a travel that exists, in mm, by which steps are scaled."""
    d, mate = distances(strokes)
    charge = np.zeros(len(d), np.int64)
    best, best_charge, scale, since = -np.inf, charge, 1.5, 0
    last = np.zeros(len(d))
    for _ in range(STEPS):
        total, degree = one_tree(d, mate, charge)
        value = int(total) - 2 * int(charge.sum())
        if value > best:
            best, best_charge, since = value, charge.copy(), 0
        else:
            since += 1
            if since > 40:
                scale, since, charge = scale / 1.6, 0, best_charge.copy()
                if scale < 1e-4:
                    break
        off = degree - 2.0
        if not off.any():
            break
        # Part of the last direction is kept (Volgenant & Jonker 1982).
        last = 0.7 * off + 0.3 * last
        step = scale * max(known * NM - value, 0.0) / float(last @ last)
        charge = charge + np.rint(step * last).astype(np.int64)
    return best / NM


if __name__ == "__main__":
    path = Path(sys.argv[1])
    nets = json.loads(path.read_text())
    for net in nets:
        net["bound_mm"] = round(bound(net["strokes"], net["travel_mm"]) - 0.0005, 3)
        net["bound_by"] = f"1-tree bound of Held and Karp, numba {numba_version}"
        print(net["name"], net["travel_mm"], net["bound_mm"], file=sys.stderr, flush=True)
    path.write_text("[\n" + ",\n".join(json.dumps(net) for net in nets) + "\n]\n")
