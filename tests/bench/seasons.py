"""The seasons of src/stats/season-simulation.ts with numpy, vectorised over the seasons.

Reads {way, lines, positions, seasons, seed, commonLogScaleSd} as JSON lines from standard input, one question a line, and answers
each with {seconds, means, variances} of the units taken per line. The law is the same: one factor per season and one per line
and season, the first life of a position given its age, later ones new, and breakage at a constant rate beside wear. The way is
"lives", each followed to its end (of breakages one time to come is kept for a position and season), or "counts", drawn from
their law at the scale of the season as src/stats/season-counts.ts does, with as many steps, nodes and places.
"""

import json
import sys
import time

import numpy as np


def simulate(asked):
    counts = asked["way"] == "counts"
    seasons = asked["seasons"]
    rng = np.random.Generator(np.random.SFC64(asked["seed"]))
    common = rng.standard_normal(seasons) * asked["commonLogScaleSd"]
    by_line = [[] for _ in asked["lines"]]
    for position in asked["positions"]:
        by_line[position["line"]].append(position)
    demand = []
    for line, positions in zip(asked["lines"], by_line):
        power, rate = 1 / line["shape"], line["breakageRate"]
        scales = line["scale"] * np.exp(common + line["logScaleSd"] * rng.standard_normal(seasons))
        if counts:
            demand.append(draw_counts(rng, line, positions, np.log(scales)))
            continue
        hardness = scales ** -line["shape"]
        taken = np.zeros(seasons, dtype=np.int32)
        for position in positions:
            age, horizon = position["age"], position["horizon"]
            # The part in place: its cumulative hazard is what its age has spent and one exponential more.
            spent = rng.standard_exponential(seasons)
            if age > 0:
                spent += age ** line["shape"] * hardness
            np.power(spent, power, out=spent)
            spent *= scales
            ends = spent - age if age > 0 else spent
            if rate > 0:
                follow_broken(rng, taken, scales, power, rate, ends, horizon)
            else:
                follow(rng, taken, scales, power, ends, horizon)
        demand.append(taken)
    return demand


def draw_counts(rng, line, positions, logs):
    shape, rate = line["shape"], line["breakageRate"]
    low, high = logs.min(), logs.max()
    longest = max(position["horizon"] for position in positions)
    steps = max(24, int(np.ceil(6 * (shape * np.exp(-low) + rate) * longest)))
    step = longest / steps
    intervals = int(np.ceil(3 * shape * (high - low)))
    per_node = int(np.ceil(128 / intervals))
    nodes = np.exp(low + np.arange(intervals + 1) * (high - low) / intervals)[:, None]
    places = np.rint((logs - low) / (high - low) * intervals * per_node).astype(np.int64)
    # Chances of new parts: at least n + 1 replacements by each point of the grid, a row for each node.
    points = np.arange(steps + 1) * step
    half = -np.expm1(-((points[:-1] + step / 2) / nodes) ** shape - rate * (points[:-1] + step / 2))
    tail = -np.expm1(-((points / nodes) ** shape) - rate * points)
    size = 2 * steps
    turned = np.fft.rfft(half, size)
    rises = []
    while tail[:, -1].max() > 1e-8:
        rises.append(np.diff(tail))
        tail = np.zeros_like(tail)
        tail[:, 1:] = np.fft.irfft(turned * np.fft.rfft(rises[-1], size), size)[:, :steps]
    weights = between_nodes(intervals, per_node)
    taken = np.zeros(logs.size, dtype=np.int32)
    reference = nodes[intervals // 2]
    harder = (reference / nodes) ** shape
    for position in positions:
        # Horizons of this bench are all the longest.
        left = np.append(longest - points[:-1] - step / 2, longest)
        age = position["age"]
        hazards = ((age + left) / reference) ** shape - (age / reference) ** shape
        ended = -np.expm1(-harder * hazards - rate * left)
        above = np.column_stack([ended[:, -1]] + [(ended[:, :-1] * rise).sum(axis=1) for rise in rises])
        most = 1 - weights @ above
        uniform = rng.random(logs.size)
        for n in range(most.shape[1]):
            more = uniform > most[:, n][places]
            if not more.any():
                break
            taken += more
    return taken


def between_nodes(intervals, per_node):
    """Lagrange's weights of the six nearest nodes, a row for each place."""
    weights = np.zeros((intervals * per_node + 1, intervals + 1))
    count = min(6, intervals + 1)
    for place, row in enumerate(weights):
        x = place / per_node
        first = max(0, min(intervals + 1 - count, int(x) + 1 - count // 2))
        for i in range(count):
            others = [j for j in range(count) if j != i]
            row[first + i] = np.prod([(x - first - j) / (i - j) for j in others])
    return weights


def follow(rng, taken, scales, power, ends, horizon):
    active = np.flatnonzero(ends < horizon)
    ends = ends[active]
    while active.size > 0:
        taken[active] += 1
        lives = rng.standard_exponential(active.size)
        np.power(lives, power, out=lives)
        lives *= scales[active]
        ends += lives
        on = np.flatnonzero(ends < horizon)
        active, ends = active[on], ends[on]


def follow_broken(rng, taken, scales, power, rate, ends, horizon):
    breaks = rng.standard_exponential(ends.size)
    breaks /= rate
    active = np.flatnonzero(np.minimum(ends, breaks) < horizon)
    ends, breaks = ends[active], breaks[active]
    while active.size > 0:
        taken[active] += 1
        broken = np.flatnonzero(breaks <= ends)
        ends[broken] = breaks[broken]
        breaks[broken] += rng.standard_exponential(broken.size) / rate
        lives = rng.standard_exponential(active.size)
        np.power(lives, power, out=lives)
        lives *= scales[active]
        ends += lives
        on = np.flatnonzero(np.minimum(ends, breaks) < horizon)
        active, ends, breaks = active[on], ends[on], breaks[on]


for text in sys.stdin:
    asked = json.loads(text)
    started = time.perf_counter()
    demand = simulate(asked)
    seconds = time.perf_counter() - started
    means = [float(taken.mean()) for taken in demand]
    variances = [float(taken.var(ddof=1)) for taken in demand]
    print(json.dumps({"seconds": seconds, "means": means, "variances": variances}), flush=True)
