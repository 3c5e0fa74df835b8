"""Travel through the nets of `tests/data/stroke-nets.json` by an integer programme: what HiGHS finds, and its bound.

    python tests/oracles/travel_programme.py tests/data/stroke-nets.json NAME SECONDS    # prints one line of JSON

The strokes are a rural postman's required edges (Orloff 1974; programme and cuts as in Ghiani & Laporte 2000): travel
gives each place an even number of edges and joins all parts. A closed stroke asks only that travel touches one of its
joints, so the programme allows a little more than a plotter may do, and what it finds is never too long. Travel is
looked for among the NEAR places nearest to each; the bound holds for these.
"""

import json
import sys
import time
from pathlib import Path

import highspy
import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

NEAR = 10


def build(strokes):
    """Places, how many ends of open strokes each has, the part each belongs to, and pairs of near places."""
    index, places, odd, joined = {}, [], [], []

    def place(p):
        key = (round(p[0] * 1000), round(p[1] * 1000))
        if key not in index:
            index[key] = len(places)
            places.append(p)
            odd.append(0)
        return index[key]

    place((0.0, 0.0))
    for s in strokes:
        at = [place(p) for p in s["at"]]
        joined += [(at[0], k) for k in at]
        if not s["closed"]:
            odd[at[0]] += 1
            odd[at[1]] += 1
    p = np.array(places)
    n = len(p)
    a, b = np.array(joined).T
    _, part = connected_components(coo_matrix((np.ones(len(a)), (a, b)), (n, n)), directed=False)
    pairs = set()
    _, near = cKDTree(p).query(p, k=min(n, 4 * NEAR))
    for i in range(n):
        # The nearest, and the nearest of other parts: within a part travel is short already.
        others = [j for j in near[i][1:] if part[j] != part[i]][:NEAR]
        for j in [*near[i][1 : NEAR + 1], *others, *([] if i else near[0][1:])]:
            if i != j:
                pairs.add((min(i, j), max(i, j)))
    pairs = np.array(sorted(pairs))
    return p, np.array(odd) % 2, part, pairs


def solve(strokes, seconds):
    p, odd, part, pairs = build(strokes)
    cost = np.hypot(*(p[pairs[:, 0]] - p[pairs[:, 1]]).T)
    n, m = len(p), len(pairs)
    h = highspy.Highs()
    h.setOptionValue("output_flag", False)
    h.setOptionValue("mip_rel_gap", 1e-4)
    h.setOptionValue("threads", 1)
    inf = highspy.kHighsInf
    for c in cost:
        h.addCol(float(c), 0.0, 2.0, 0, np.array([]), np.array([]))
    for _ in range(n):
        h.addCol(0.0, 0.0, inf, 0, np.array([]), np.array([]))
    touching = [[] for _ in range(n)]
    for e, (i, j) in enumerate(pairs):
        touching[i].append(e)
        touching[j].append(e)
    for v in range(n):
        columns = np.array([*touching[v], m + v], dtype=np.int32)
        values = np.array([1.0] * len(touching[v]) + [-2.0])
        h.addRow(float(odd[v]), float(odd[v]), len(columns), columns, values)
    cuts = set()

    def cut(parts):
        inside = np.isin(part, list(parts))
        crossing = np.flatnonzero(inside[pairs[:, 0]] != inside[pairs[:, 1]]).astype(np.int32)
        key = tuple(crossing)
        if key in cuts:
            return False
        cuts.add(key)
        h.addRow(2.0, inf, len(crossing), crossing, np.ones(len(crossing)))
        return True

    count = part.max() + 1
    for k in range(count):
        cut({k})

    def groups(x):
        used = x > 1e-6
        q = part[pairs[used]]
        _, g = connected_components(coo_matrix((np.ones(len(q)), (q[:, 0], q[:, 1])), (count, count)), directed=False)
        return g

    def cut_apart(x):
        g = groups(x)
        return sum(cut(set(np.flatnonzero(g == k))) for k in range(g.max() + 1)) if g.max() else 0

    began = time.monotonic()
    while True:
        h.run()
        x = np.array(h.getSolution().col_value[:m])
        if not cut_apart(x):
            break
    print(f"relaxed {h.getObjectiveValue():.3f} mm, {time.monotonic() - began:.0f} s", file=sys.stderr, flush=True)
    for k in range(m + n):
        h.changeColIntegrality(k, highspy.HighsVarType.kInteger)
    bound, found = 0.0, None
    while time.monotonic() - began < seconds:
        # Parts that are apart are cut off before a programme is solved to the end.
        h.setOptionValue("time_limit", h.getRunTime() + max(1.0, min(seconds / 5, seconds - (time.monotonic() - began))))
        h.run()
        info = h.getInfo()
        bound = max(bound, info.mip_dual_bound)
        x = np.rint(np.array(h.getSolution().col_value[:m]))
        added = cut_apart(x) if len(x) == m and x.any() else 0
        print(f"{info.objective_function_value:.3f} mm, bound {bound:.3f}, {added} parts apart, "
              f"{time.monotonic() - began:.0f} s", file=sys.stderr, flush=True)
        if not added:
            found = info.objective_function_value
            break
    return found, bound, time.monotonic() - began


if __name__ == "__main__":
    net = next(n for n in json.loads(Path(sys.argv[1]).read_text()) if n["name"] == sys.argv[2])
    found, bound, took = solve(net["strokes"], float(sys.argv[3]))
    version = highspy.Highs().version()
    print(json.dumps({"name": net["name"], "solver": f"integer programme by HiGHS {version}",
                      "travel_mm": found and round(found, 3), "bound_mm": round(bound, 3), "seconds": round(took)}))
