"""Travel through the nets of `tests/data/stroke-nets.json` by an integer programme: what HiGHS finds, and its bound.

    python tests/oracles/travel_programme.py tests/data/stroke-nets.json NAME SECONDS    # prints one line of JSON

The strokes are a rural postman's required edges (Orloff 1974; programme and cuts as in Ghiani & Laporte 2000): travel
gives each place an even number of edges and joins all parts; first without whole numbers, cut by what each solution
breaks, then with them. A closed stroke asks only that travel touches one of its
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
from scipy.sparse.csgraph import breadth_first_order, connected_components, maximum_flow
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
    ends = np.array(odd)
    pairs = set()
    _, near = cKDTree(p).query(p, k=min(n, 60 * NEAR))
    for i in range(n):
        # The nearest, and of each of the nearest other parts the nearest two: within a part travel is short already.
        others, taken = [], {}
        for j in near[i][1:]:
            k = part[j]
            if k != part[i] and taken.get(k, 0) < 2 and (k in taken or len(taken) < NEAR):
                taken[k] = taken.get(k, 0) + 1
                others.append(j)
        own = [j for j in near[i][1:] if part[j] == part[i]][: NEAR if ends[i] else 0]
        for j in [*own, *others, *([] if i else near[0][1 : 10 * NEAR])]:
            if i != j:
                pairs.add((min(i, j), max(i, j)))
    pairs = np.array(sorted(pairs))
    # No place needs more travel than strokes that end there: it could go straight on instead (triangle inequality).
    twice = (ends - ends % 2) // 2
    for s in strokes:
        if s["closed"]:
            twice[sorted({place(q) for q in s["at"]})] += 1
    return p, ends % 2, part, pairs, twice


def solve(strokes, seconds):
    p, odd, part, pairs, twice = build(strokes)
    cost = np.hypot(*(p[pairs[:, 0]] - p[pairs[:, 1]]).T)
    n, m = len(p), len(pairs)
    h = highspy.Highs()
    h.setOptionValue("output_flag", False)
    h.setOptionValue("mip_rel_gap", 1e-4)
    h.setOptionValue("threads", 1)
    inf = highspy.kHighsInf
    for c in cost:
        h.addCol(float(c), 0.0, 2.0, 0, np.array([]), np.array([]))
    for v in range(n):
        h.addCol(0.0, 0.0, float(twice[v]) if v else inf, 0, np.array([]), np.array([]))
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

    def odd_cut(places):
        """Travel leaves a set with an odd number of odd places at least once (Edmonds & Johnson 1973)."""
        inside = np.isin(np.arange(n), places)
        crossing = np.flatnonzero(inside[pairs[:, 0]] != inside[pairs[:, 1]]).astype(np.int32)
        key = (1, *crossing)
        if key in cuts or not len(crossing):
            return False
        cuts.add(key)
        h.addRow(1.0, inf, len(crossing), crossing, np.ones(len(crossing)))
        return True

    def clusters(joined, size):
        count, g = connected_components(coo_matrix((np.ones(len(joined)), (joined[:, 0], joined[:, 1])), (size, size)), directed=False)
        return [np.flatnonzero(g == k) for k in range(count)] if count > 1 else []

    def leaving(inside):
        return inside[pairs[:, 0]] != inside[pairs[:, 1]]

    def cut_off(x):
        """Adds what a solution breaks: parts that are apart, and odd sets that travel does not leave."""
        added = 0
        for least in (1e-6, 0.2, 0.45, 0.7, 0.95):
            used = pairs[x > least]
            for found in clusters(part[used], count):
                inside = np.isin(part, found)
                if x[leaving(inside)].sum() < 2 - 1e-6:
                    added += cut(set(found))
            for found in clusters(used, n):
                inside = np.isin(np.arange(n), found)
                if odd[found].sum() % 2 and x[leaving(inside)].sum() < 1 - 1e-6:
                    added += odd_cut(found)
        return added

    def min_cuts(x):
        """Parts that less than two edges join to the corner, each by a minimum cut (exact)."""
        a, b = part[pairs].T
        apart = a != b
        flow = np.rint(1e6 * x[apart]).astype(np.int32)
        g = coo_matrix((np.concatenate([flow, flow]), (np.concatenate([a[apart], b[apart]]), np.concatenate([b[apart], a[apart]]))), (count, count)).tocsr()
        g.eliminate_zeros()
        added, seen = 0, set()
        for k in range(count):
            if k == part[0] or k in seen:
                continue
            result = maximum_flow(g, k, part[0])
            if result.flow_value < 2e6 - 10:
                rest = (g - result.flow).tocsr()
                rest.data[rest.data < 0] = 0
                rest.eliminate_zeros()
                found = set(breadth_first_order(rest, k, return_predecessors=False))
                seen |= found
                added += cut(found)
        return added

    began = time.monotonic()
    bound = 0.0
    while time.monotonic() - began < seconds:
        h.run()
        x = np.array(h.getSolution().col_value[:m])
        assert h.getModelStatus() == highspy.HighsModelStatus.kOptimal, "the places looked at are too few"
        bound = max(bound, h.getObjectiveValue())
        if not cut_off(x) and not min_cuts(x):
            break
    print(f"relaxed {h.getObjectiveValue():.3f} mm, {time.monotonic() - began:.0f} s", file=sys.stderr, flush=True)
    for k in range(m + n):
        h.changeColIntegrality(k, highspy.HighsVarType.kInteger)
    found = None
    while time.monotonic() - began < seconds:
        # Parts that are apart are cut off before a programme is solved to the end.
        h.setOptionValue("time_limit", h.getRunTime() + max(1.0, min(seconds / 5, seconds - (time.monotonic() - began))))
        h.run()
        print(h.modelStatusToString(h.getModelStatus()), file=sys.stderr)
        info = h.getInfo()
        bound = max(bound, info.mip_dual_bound if np.isfinite(info.mip_dual_bound) else 0.0)
        x = np.rint(np.array(h.getSolution().col_value[:m]))
        added = cut_off(x) if len(x) == m and x.any() else 0
        print(f"{info.objective_function_value:.3f} mm, bound {bound:.3f}, {added} parts apart, "
              f"{time.monotonic() - began:.0f} s", file=sys.stderr, flush=True)
        if not added and h.getModelStatus() == highspy.HighsModelStatus.kOptimal:
            found = info.objective_function_value
        if not added:
            break
    return found, bound, time.monotonic() - began


if __name__ == "__main__":
    net = next(n for n in json.loads(Path(sys.argv[1]).read_text()) if n["name"] == sys.argv[2])
    found, bound, took = solve(net["strokes"], float(sys.argv[3]))
    version = highspy.Highs().version()
    print(json.dumps({"name": net["name"], "solver": f"integer programme by HiGHS {version}",
                      "travel_mm": found and round(found, 3), "bound_mm": round(bound, 3), "seconds": round(took)}))
