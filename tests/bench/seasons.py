"""The seasons of src/stats/season-simulation.ts with numpy, vectorised over the seasons.

Reads {lines, positions, seasons, seed, commonLogScaleSd} as JSON lines from standard input, one question a line, and answers
each with {seconds, means, variances} of the units taken per line. The law is the same: one factor per season and one per line
and season, the first life of a position given its age, later ones new, and breakage at a constant rate beside wear, of which
one time to come is kept for a position and season.
"""

import json
import sys
import time

import numpy as np


def simulate(asked):
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
