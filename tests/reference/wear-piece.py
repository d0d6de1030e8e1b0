"""Writes wear-piece.json: likelihood, posterior and remaining life of single pieces with fixed hyper-parameters.

Independent of the product's code: joint normal laws written out as matrices, the rate integrated on 4001 nodes, the
level on 2001 nodes, grades as rectangle probabilities of a multivariate normal law. Bent paths have no such law: there
the level is followed on a grid from one observation to the next, with the error of a reading where it belongs, on the
wear and not on the straightened scale.
Program: Python 3.11+ with numpy and scipy 1.10 or later. Call: python3 wear-piece.py > wear-piece.json
"""
import json
import numpy as np
from scipy import stats
from scipy.special import erfcx, ndtr

HYPER = dict(rate=0.9, spread=0.35, noise=0.06, reading=1.2, exponent=1.1, bend=0)
START_SD, GRADE_SD, SLIP = 0.015, 0.1, 0.02
BOUNDS = [-np.inf, 0.1, 0.4, 0.75, 1.0, np.inf]
Z = np.linspace(-7, 7, 4001)


def clock(u):
    return np.asarray(u, float) ** HYPER["exponent"]


def path_cov(lam):
    return START_SD**2 + (HYPER["rate"] * HYPER["noise"]) ** 2 * np.minimum.outer(lam, lam)


def log_given_rate(b, lam, y, sd):
    cov = path_cov(lam) + np.diag((sd * HYPER["reading"]) ** 2)
    return stats.multivariate_normal(np.zeros(len(lam)), cov).logpdf(y - np.outer(b, lam))


def readings(usage, y, sd, now, ahead, limit):
    lam, y, sd = clock(usage), np.asarray(y), np.full(len(y), sd)
    b = HYPER["rate"] * np.exp(HYPER["spread"] * Z)
    log = log_given_rate(b, lam, y, sd) + stats.norm.logpdf(Z)
    like = np.trapezoid(np.exp(log), Z)
    w = np.exp(log) / np.exp(log).sum()
    # Level now given rate and readings, by conditioning the joint normal law.
    lam_now = float(clock(now))
    cov = path_cov(lam) + np.diag((sd * HYPER["reading"]) ** 2)
    cross = START_SD**2 + (HYPER["rate"] * HYPER["noise"]) ** 2 * lam
    gain = np.linalg.solve(cov, cross)
    var = START_SD**2 + (HYPER["rate"] * HYPER["noise"]) ** 2 * lam_now - cross @ gain
    level = b * lam_now + (y - np.outer(b, lam)) @ gain
    out = dict(logLikelihood=float(np.log(like)), wearMean=float(w @ level))
    out["wearSd"] = float(np.sqrt(w @ (var + level**2) - (w @ level) ** 2))
    past = w @ ndtr((level - limit) / np.sqrt(var))
    out["past"] = float(past)
    s2 = (HYPER["rate"] * HYPER["noise"]) ** 2
    keep = w > 1e-12
    for a in ahead:
        travel = float(clock(now + a)) - lam_now
        reached = 0.0
        for bi, wi, mi in zip(b[keep], w[keep], level[keep]):
            x = np.linspace(mi - 8 * np.sqrt(var), min(limit, mi + 8 * np.sqrt(var)), 2001)
            if x[-1] <= x[0]:
                reached += wi
                continue
            d, s = limit - x, np.sqrt(s2 * travel)
            z, v = (bi * travel - d) / s, (bi * travel + d) / s
            f = ndtr(z) + 0.5 * np.exp(-0.5 * z * z) * erfcx(v / np.sqrt(2))
            inside = np.trapezoid(stats.norm.pdf(x, mi, np.sqrt(var)) * f, x)
            reached += wi * (inside + ndtr((mi - limit) / np.sqrt(var)))
        out[f"remaining_{a}"] = float((reached - past) / (1 - past))
    return out


def grades(usage, grade):
    lam = clock(usage)
    cov = path_cov(lam) + np.eye(len(lam)) * GRADE_SD**2
    z = np.linspace(-6, 6, 241)
    b = HYPER["rate"] * np.exp(HYPER["spread"] * z)
    total = []
    for bi in b:
        law = stats.multivariate_normal(bi * lam, cov, abseps=1e-7, releps=1e-7, seed=1)
        p = 0.0
        # Each grade is a slip with a small probability, and then any of the five with the same chance.
        for mask in range(2 ** len(lam)):
            part = 1.0
            lower, upper = [], []
            for j, g in enumerate(grade):
                if mask >> j & 1:
                    part *= SLIP / 5
                    lower.append(-np.inf), upper.append(np.inf)
                else:
                    part *= 1 - SLIP
                    lower.append(BOUNDS[g]), upper.append(BOUNDS[g + 1])
            p += part * law.cdf(np.minimum(upper, 50), lower_limit=np.maximum(lower, -50))
        total.append(p)
    return dict(logLikelihood=float(np.log(np.trapezoid(np.array(total) * stats.norm.pdf(z), z))))


def bent(case, bend, sd=0.02):
    """Readings (`wear`) and grades (`grade`) of a bent path: densities of the level on a grid, rate by rate."""
    drop = 1 - np.exp(bend)

    def straight(x):
        """Integral of 1 / rate from 0 to x over that from 0 to 1: the rate grows as exp(bend x), or falls as 1 - drop x."""
        return (1 - np.exp(-bend * x)) / (1 - np.exp(-bend)) if bend > 0 else np.log(1 - drop * x) / bend

    x = np.linspace(-0.3, 1.5, 1201)
    s = straight(x)
    width = np.gradient(s)
    end = straight(case["limit"])
    z = np.linspace(-5, 5, 161)
    s2 = (HYPER["rate"] * HYPER["noise"]) ** 2
    start = START_SD * (straight(1e-6) - straight(-1e-6)) / 2e-6
    total, levels = [], []
    for b in HYPER["rate"] * np.exp(HYPER["spread"] * z):
        before, log = None, 0.0
        for j, u in enumerate(case["usage"]):
            lam = float(clock(u))
            if before is None:
                law = stats.norm.pdf(s, b * lam, np.sqrt(start**2 + s2 * lam))
            else:
                move = lam - before
                kernel = stats.norm.pdf(s[:, None], s[None, :] + b * move, np.sqrt(s2 * move))
                law = kernel @ (law * width)
            if "wear" in case:
                seen = stats.norm.pdf(case["wear"][j], x, sd * HYPER["reading"])
            else:
                g = case["grade"][j]
                inside = ndtr((BOUNDS[g + 1] - x) / GRADE_SD) - ndtr((BOUNDS[g] - x) / GRADE_SD)
                seen = (1 - SLIP) * inside + SLIP / 5
            law = law * seen
            mass = (law * width).sum()
            if mass < 1e-250:
                law, log = np.zeros_like(law), -np.inf
                break
            law, log, before = law / mass, log + np.log(mass), lam
        total.append(log)
        levels.append(law * width)
    w = np.exp(np.array(total)) * stats.norm.pdf(z)
    out = dict(logLikelihood=float(np.log(np.trapezoid(w, z))))
    if "now" not in case:
        return out
    assert case["now"] == case["usage"][-1]
    w /= w.sum()
    out["wearMean"] = float(sum(wi * (law @ x) for wi, law in zip(w, levels)))
    out["wearSd"] = float(np.sqrt(sum(wi * (law @ x**2) for wi, law in zip(w, levels)) - out["wearMean"] ** 2))
    past = sum(wi * law[s >= end].sum() for wi, law in zip(w, levels))
    out["past"] = float(past)
    d = end - s[s < end]
    for a in case["ahead"]:
        travel = float(clock(case["now"] + a) - clock(case["now"]))
        reached = 0.0
        for b, wi, law in zip(HYPER["rate"] * np.exp(HYPER["spread"] * z), w, levels):
            root = np.sqrt(s2 * travel)
            up, down = (b * travel - d) / root, (b * travel + d) / root
            f = ndtr(up) + 0.5 * np.exp(-0.5 * up * up) * erfcx(down / np.sqrt(2))
            reached += wi * (law[s < end] @ f)
        out[f"remaining_{a}"] = float(reached / (1 - past))
    return out


cases = {
    "three readings": dict(usage=[0.15, 0.3, 0.45], wear=[0.12, 0.28, 0.42], now=0.5, limit=1.0, ahead=[0.3, 0.5, 0.8]),
    "near the limit": dict(usage=[0.3, 0.6, 0.95], wear=[0.28, 0.6, 0.97], now=0.97, limit=1.0, ahead=[0.01, 0.05, 0.1]),
    "no reading": dict(usage=[], wear=[], now=0.0, limit=1.0, ahead=[0.7, 1.1, 1.6]),
}
for case in cases.values():
    if case["usage"]:
        case["expected"] = readings(case["usage"], case["wear"], 0.02, case["now"], case["ahead"], case["limit"])
    else:
        b = HYPER["rate"] * np.exp(HYPER["spread"] * Z)
        w = stats.norm.pdf(Z) / stats.norm.pdf(Z).sum()
        s2 = (HYPER["rate"] * HYPER["noise"]) ** 2
        x = np.linspace(-8 * START_SD, 8 * START_SD, 801)
        px = stats.norm.pdf(x, 0, START_SD)
        px /= px.sum()
        out = {}
        for a in case["ahead"]:
            t = float(clock(a))
            d, s = case["limit"] - x[:, None], np.sqrt(s2 * t)
            z, v = (b * t - d) / s, (b * t + d) / s
            out[f"remaining_{a}"] = float(px @ (ndtr(z) + 0.5 * np.exp(-0.5 * z * z) * erfcx(v / np.sqrt(2))) @ w)
        case["expected"] = out
graded = {
    "grades 1 and 3": dict(usage=[0.3, 0.8], grade=[1, 3]),
    "grades 0, 4 and 2": dict(usage=[0.2, 0.5, 0.6], grade=[0, 4, 2]),
    "grade 4 at once": dict(usage=[0.2], grade=[4]),
}
for case in graded.values():
    case["expected"] = grades(case["usage"], case["grade"])
bends = {
    "three readings that speed up": dict(
        bend=0.8, usage=[0.2, 0.4, 0.6], wear=[0.12, 0.29, 0.5], now=0.6, limit=1.0, ahead=[0.2, 0.35, 0.5]
    ),
    "three readings that slow down": dict(
        bend=-0.8, usage=[0.2, 0.4, 0.6], wear=[0.21, 0.42, 0.57], now=0.6, limit=1.0, ahead=[0.3, 0.6, 1.1]
    ),
    "grades 1, 2 and 3, speeding up": dict(bend=0.8, usage=[0.3, 0.7, 0.8], grade=[1, 2, 3], limit=1.0),
    "grades 2 and 3, slowing down": dict(bend=-0.8, usage=[0.3, 0.8], grade=[2, 3], limit=1.0),
}
for case in bends.values():
    case["expected"] = bent(case, case["bend"])
print(json.dumps(dict(hyper=HYPER, startSd=START_SD, readingSd=0.02, readings=cases, grades=graded, bends=bends), indent=1))
