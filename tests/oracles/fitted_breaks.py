"""Exact one-dimensional least-squares breaks of weighted lightness histograms, for tests/oracles.rs.

Written apart from the program: Fisher's natural breaks (W. D. Fisher, "On grouping for maximum homogeneity",
1958) by dynamic programming over all partitions with NumPy, checked below against all partitions of a small
histogram one by one, and never worse than k-means of SciPy from many starts (which may stop short of the best).

    python tests/oracles/fitted_breaks.py tests/data/fitted-breaks.json
"""

import itertools
import json
import platform
import sys

import numpy as np
import scipy
from scipy.cluster.vq import kmeans2

BINS = 1024


def centres(bins=BINS):
    return (np.arange(bins) + 0.5) * 100.0 / bins


def within(weights, x):
    """cost[i, j]: weighted sum of squares of bins i to j-1 about their own mean."""
    w = np.concatenate([[0.0], np.cumsum(weights)])
    m = np.concatenate([[0.0], np.cumsum(weights * x)])
    s = np.concatenate([[0.0], np.cumsum(weights * x * x)])
    n = len(w)
    i, j = np.arange(n)[:, None], np.arange(n)[None, :]
    mass = w[j] - w[i]
    with np.errstate(divide="ignore", invalid="ignore"):
        cost = s[j] - s[i] - np.where(mass > 0, (m[j] - m[i]) ** 2 / mass, 0.0)
    cost = np.maximum(cost, 0.0)
    cost[j < i] = np.inf
    return cost


def fisher(weights, x, k):
    """Least sum of squares of k classes of neighbouring bins, and where each class but the first begins."""
    x = x - (weights * x).sum() / weights.sum()
    cost = within(weights, x)
    best, back = cost[0].copy(), []
    for _ in range(k - 1):
        total = best[:, None] + cost
        back.append(total.argmin(axis=0))
        best = total.min(axis=0)
    cuts, end = [], len(weights)
    for b in reversed(back):
        end = int(b[end])
        cuts.append(end)
    return float(best[-1]), sorted(cuts)


def check_against_all_partitions():
    rng = np.random.default_rng(5)
    weights, x = rng.integers(0, 9, 14).astype(float), centres(14)
    cost = within(weights, x)
    for k in range(2, 6):
        by_hand = min(
            sum(cost[a, b] for a, b in zip((0, *c), (*c, 14)))
            for c in itertools.combinations(range(1, 14), k - 1)
        )
        assert abs(fisher(weights, x, k)[0] - by_hand) < 1e-6 * max(by_hand, 1.0), k


def check_against_kmeans(weights, x, k, sse):
    points = np.repeat(x, weights)
    points = points[:: max(1, len(points) // 20_000)]
    thin = np.bincount(np.searchsorted(x, points), minlength=BINS)
    best, _ = fisher(thin.astype(float), x, k)
    for seed in range(6):
        found, label = kmeans2(points, k, seed=seed, minit="++")
        got = ((points - found[label]) ** 2).sum()
        assert got >= best * (1 - 1e-9) - 1e-6, (k, got, best)
    assert sse >= 0


def histograms():
    rng = np.random.default_rng(11)
    x = centres()

    def bump(at, wide, much):
        return much * np.exp(-0.5 * ((x - at) / wide) ** 2)

    yield "five bumps", bump(92, 3, 900) + bump(70, 4, 500) + bump(50, 5, 300) + bump(31, 3, 400) + bump(8, 3, 700)
    yield "one slope", 40 + 3 * x
    yield "paper and ink", bump(97, 0.8, 9000) + bump(6, 0.8, 5000) + 12
    yield "six spikes", sum(np.where(np.arange(BINS) == b, 1000 + 300 * i, 0) for i, b in enumerate((20, 300, 420, 610, 900, 1010)))
    yield "ragged", rng.pareto(1.2, BINS) * 20
    yield "high key, long tail", bump(88, 6, 1500) + np.exp((x - 90) / 18) * 60


def main():
    check_against_all_partitions()
    x = centres()
    out = {
        "made_by": "tests/oracles/fitted_breaks.py",
        "versions": {"python": platform.python_version(), "numpy": np.__version__, "scipy": scipy.__version__},
        "bins": BINS,
        "histograms": [],
    }
    for name, raw in histograms():
        weights = np.round(raw).astype(int)
        rows = []
        for k in range(2, 10):
            if k > np.count_nonzero(weights):
                continue
            sse, cuts = fisher(weights.astype(float), x, k)
            check_against_kmeans(weights, x, k, sse)
            rows.append({"values": k, "sum_of_squares": sse, "first_bins": cuts})
        out["histograms"].append({"name": name, "weights": weights.tolist(), "fits": rows})
    with open(sys.argv[1], "w") as f:
        json.dump(out, f, separators=(",", ":"))
        f.write("\n")


main()
