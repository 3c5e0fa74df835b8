"""Nets of strokes, and the shortest travel known through them, for `tests/data/stroke-nets.json`.

    python tests/oracles/stroke_travel.py nets MERESTONE FOLDER > nets.json     # once
    python tests/oracles/stroke_travel.py solve nets.json NAME SECONDS          # prints one net with its travel

Four nets are the strokes of drawings of pictures that scikit-image carries (`astronaut`: public domain; `coffee`:
CC0), one is random. An open stroke is its two ends, a closed one the joints at which it may begin, in mm. Travel goes
from (0, 0) through all strokes, each once and either way, and back to (0, 0).

OR-tools' routing solver sees both ends of each open stroke as places, joined at no cost, while every other way costs
a fixed sum more, so that no stroke is broken up; closed strokes begin where they begin now. Guided local search runs
for the time given, then each closed stroke begins where that costs least (exactly, by dynamic programming over the
order), and the time is spent in three such rounds.
"""

import json
import math
import re
import subprocess
import sys
from pathlib import Path

import numpy as np

PENALTY_UM = 300_000


def strokes_of(svg):
    """Ends or joints of all strokes in an SVG of ours."""
    strokes = []
    for data in re.findall(r'<path d="([^"]*)"', svg):
        for part in data.split("M")[1:]:
            numbers = [float(n) for n in re.findall(r"-?[\d.]+", part)]
            points = [numbers[i : i + 2] for i in range(0, len(numbers), 2)]
            joints = points[::3]
            closed = part.endswith("Z") or joints[0] == joints[-1]
            strokes.append({"closed": closed, "at": joints[:-1] if closed else [joints[0], joints[-1]]})
    return strokes


def nets(program, folder):
    import skimage.data
    from PIL import Image

    made = []
    for name, options in (
        ("astronaut", ["--paper", "a4"]),
        ("coffee", ["--paper", "a4", "--soft", "broken"]),
        ("coffee", ["--paper", "a3", "--soft", "broken", "--chain"]),
        ("astronaut", ["--paper", "a2", "--soft", "broken"]),
    ):
        picture = Path(folder) / f"{name}.png"
        Image.fromarray(getattr(skimage.data, name)()).save(picture)
        command = [program, "draw", picture, "--quiet", "--plainness", "0", *options, "--format", "svg", "-o", "-"]
        svg = subprocess.run(command, capture_output=True, text=True, check=True).stdout
        made.append({"name": f"{name} {options[1]}", "strokes": strokes_of(svg)[:2000]})
    rng = np.random.default_rng(7)
    a = rng.uniform(0, 280, (1000, 2))
    b = a + rng.normal(0, 8, (1000, 2))
    pairs = np.round(np.stack([a, b], axis=1), 3).tolist()
    made.append({"name": "random 1000", "strokes": [{"closed": False, "at": p} for p in pairs]})
    print(json.dumps(made))


def begin_best(order, strokes):
    """Where to begin each closed stroke of a fixed order, and the travel: exact."""
    layers = [[(w, s["at"][w], s["at"][w]) for w in range(len(s["at"]))] if s["closed"] else
              [(d, s["at"][d], s["at"][1 - d])] for s, d in ((strokes[i], d) for i, d in order)]
    cost, back = [0.0], []
    ends = [(0.0, 0.0)]
    for layer in layers + [[(0, (0.0, 0.0), (0.0, 0.0))]]:
        step = [min((c + math.dist(e, start), k) for k, (c, e) in enumerate(zip(cost, ends))) for _, start, _ in layer]
        cost, ends = [c for c, _ in step], [end for *_, end in layer]
        back.append([k for _, k in step])
    ways, k = [], 0
    for layer, came in zip(reversed(layers + [[(0, None, None)]]), reversed(back)):
        ways.append(layer[k][0])
        k = came[k]
    return cost[0], [(i, w) for (i, _), w in zip(order, reversed(ways[1:]))]


def nearest_first(strokes):
    left, at, order = set(range(len(strokes))), (0.0, 0.0), []
    while left:
        _, i, w = min((math.dist(at, p), i, w) for i in left for w, p in enumerate(strokes[i]["at"]))
        left.remove(i)
        order.append((i, w))
        at = strokes[i]["at"][w if strokes[i]["closed"] else 1 - w]
    return order


def routed(order, strokes, seconds):
    """One run of the routing solver from an order; the better order."""
    from ortools.constraint_solver import pywrapcp, routing_enums_pb2

    points, owner, mate, route = [(0.0, 0.0)], [None], [-1], []
    for i, w in order:
        k, s = len(points), strokes[i]
        ends = [s["at"][w]] if s["closed"] else [s["at"][w], s["at"][1 - w]]
        points += ends
        owner += [(i, w), (i, w if s["closed"] else 1 - w)][: len(ends)]
        mate += [-1] if s["closed"] else [k + 1, k]
        route += range(k, k + len(ends))
    p = np.array(points)
    d = np.round(np.hypot(*(p[:, None] - p[None]).transpose(2, 0, 1)) * 1000).astype(np.int64) + PENALTY_UM
    for k, m in enumerate(mate):
        if m >= 0:
            d[k, m] = 0
    manager = pywrapcp.RoutingIndexManager(len(points), 1, 0)
    routing = pywrapcp.RoutingModel(manager)
    routing.SetArcCostEvaluatorOfAllVehicles(routing.RegisterTransitMatrix(d.tolist()))
    search = pywrapcp.DefaultRoutingSearchParameters()
    search.local_search_metaheuristic = routing_enums_pb2.LocalSearchMetaheuristic.GUIDED_LOCAL_SEARCH
    search.time_limit.FromSeconds(int(seconds))
    routing.CloseModelWithParameters(search)
    first = routing.ReadAssignmentFromRoutes([route], True)
    found = routing.SolveFromAssignmentWithParameters(first, search)
    visited, at = [], found.Value(routing.NextVar(routing.Start(0)))
    while not routing.IsEnd(at):
        visited.append(manager.IndexToNode(at))
        at = found.Value(routing.NextVar(at))
    better, k = [], 0
    while k < len(visited):
        i, w = owner[visited[k]]
        better.append((i, w))
        if mate[visited[k]] >= 0:
            assert visited[k + 1] == mate[visited[k]], "a stroke was broken up"
            k += 1
        k += 1
    return better


def solve(path, name, seconds):
    import ortools

    net = next(n for n in json.loads(Path(path).read_text()) if n["name"] == name)
    strokes = net["strokes"]
    travel, order = begin_best(nearest_first(strokes), strokes)
    print(f"{name}: nearest first {travel:.3f} mm", file=sys.stderr, flush=True)
    for _ in range(3):
        tried = begin_best(routed(order, strokes, seconds / 3), strokes)
        if tried[0] < travel:
            travel, order = tried
        print(f"{name}: {travel:.3f} mm", file=sys.stderr, flush=True)
    solver = f"OR-tools {ortools.__version__} routing, guided local search"
    print(json.dumps({**net, "travel_mm": round(travel, 3), "solver": solver, "seconds": seconds}))


if __name__ == "__main__":
    if sys.argv[1] == "nets":
        nets(*sys.argv[2:4])
    else:
        solve(sys.argv[2], sys.argv[3], float(sys.argv[4]))
