"""The plotter's strokes against theory, counted with NetworkX on the exported net.

    MERESTONE=target/release/merestone python tests/outside/check_plotter.py --examples examples --folder /tmp

With hard and soft edges joined, lines whole and nothing drawn twice, a pencil needs per connected part of the net at
least max(1, odd ends / 2) strokes (Euler 1736), where every contact with the picture's edge is an end of its own. The
SVG has to have just so many paths, each transition in one place, and as much line as the net, within 0.01 %.
"""

import argparse
import json
import os
import subprocess
import sys
from collections import Counter
from pathlib import Path
from xml.etree import ElementTree

import networkx as nx
import numpy as np
from check_promises import inputs
from svgelements import Path as SvgPath

SVG = "{http://www.w3.org/2000/svg}"


def fewest_strokes(net):
    """Least number of strokes, by NetworkX."""
    graph = nx.MultiGraph()
    for t in net["transitions"]:
        a, b = t["from"], t["to"]
        closed = a is None and b is None and t["cubics"][0] == t["cubics"][-1]
        ends = [("own", t["id"])] * 2 if closed else [
            ("edge", t["id"], k) if j is None else ("junction", j) for k, j in enumerate((a, b))]
        graph.add_edge(*ends)
    parts = (graph.subgraph(part) for part in nx.connected_components(graph))
    return sum(max(1, sum(d % 2 for _, d in part.degree()) // 2) for part in parts)


def length_of_cubics(points):
    """Length of a chain of cubics by 64 chords each, extrapolated (the error of chords falls with their square)."""
    p = np.asarray(points, float)
    total = 0.0
    for k in range(0, len(p) - 1, 3):
        a, b, c, d = p[k : k + 4]
        lengths = []
        for n in (32, 64):
            t = np.linspace(0, 1, n + 1)[:, None]
            q = (1 - t) ** 3 * a + 3 * (1 - t) ** 2 * t * b + 3 * (1 - t) * t * t * c + t**3 * d
            lengths.append(np.hypot(*np.diff(q, axis=0).T).sum())
        total += lengths[1] + (lengths[1] - lengths[0]) / 3
    return total


def points_of(path):
    """Control points of one path, which has to be one stroke of cubics."""
    found = []
    for segment in SvgPath(path.get("d")):
        name = type(segment).__name__
        if name == "Move":
            assert not found, "a path is one stroke"
            found = [segment.end]
        else:
            assert name == "CubicBezier", name
            found += [segment.control1, segment.control2, segment.end]
    return [(p.x, p.y) for p in found]


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--examples", default="examples")
    parser.add_argument("--folder", type=Path, required=True)
    args = parser.parse_args()
    program = os.environ["MERESTONE"]
    folder = args.folder / "plotter"
    folder.mkdir(parents=True, exist_ok=True)
    wrong = 0
    for name, picture, more in inputs(args.examples, folder):
        out = {n: folder / f"{name}.{n}" for n in ("svg", "json", "net.json", "plain.svg")}
        command = [program, "draw", picture, "--quiet", "--overwrite", "--chain", "--thin", "none", *more]
        command += ["-o", out["plain.svg"], "--report", out["json"], "--net", out["net.json"]]
        command += ["--plotter", out["svg"], "--plotter-edges", "joined"]
        subprocess.run([str(part) for part in command], check=True, timeout=600)
        net, figures = json.loads(out["net.json"].read_text()), json.loads(out["json"].read_text())["plotter"]
        paths = ElementTree.parse(out["svg"]).getroot().findall(f".//{SVG}g[@id='boundary']/{SVG}path")
        least = fewest_strokes(net)
        drawn = Counter(int(t) for path in paths for t in path.get("data-transitions").split())
        once = drawn == Counter(range(len(net["transitions"])))
        whole = sum(length_of_cubics(t["cubics"]) for t in net["transitions"])
        down = sum(length_of_cubics(points_of(path)) for path in paths)
        off = abs(down / whole - 1) if whole else 0.0
        said = figures["strokes"] == len(paths) and abs(figures["down_mm"] / max(down, 1e-9) - 1) < 1e-4
        good = len(paths) == least and once and off < 1e-4 and said and least > 0
        wrong += not good
        print(f"{name:22} {len(net['transitions']):4} transitions {len(paths):4} strokes, least {least:4}; "
              f"{down:9.2f} mm drawn, {whole:9.2f} in the net, {off * 100:.4f} % apart; "
              f"{figures['up_mm']:8.1f} mm of travel{'' if good else '   WRONG'}")
    sys.exit(1 if wrong else 0)


if __name__ == "__main__":
    main()
