"""Times the mixed model on an invented tasting year against mixedlm, both sides in one run, and its growth with size.

Run with OPENBLAS_NUM_THREADS=1 for figures that can be compared:

    OPENBLAS_NUM_THREADS=1 .venv/bin/python benchmarks/bench_mixed.py [--fits 24] [--no-reference]

Prints seconds, ratios, the largest differences between the two sides, peak memory of the largest size in a process of
its own, and the time to take one more sheet into account.
"""

import argparse
import subprocess
import sys
import time
import warnings

import numpy as np

from evenhand.panel.mixed import TERMS, fit_many


def year(batches, attributes, seed=1, missing=0.0, coffees=25, tasters=12, per_batch=4, pulls=2):
    """An invented year: every batch tasted by four of twelve tasters on two pulls, two covariates."""
    rng = np.random.default_rng(seed)
    b = np.repeat(np.arange(batches), per_batch * pulls)
    who = np.argsort(rng.random((batches, tasters)), axis=1)[:, :per_batch]
    t = np.repeat(who.reshape(-1), pulls)
    p = b * pulls + np.tile(np.arange(pulls), batches * per_batch)
    keep = rng.random(len(b)) >= missing
    b, t, p = b[keep], t[keep], p[keep]
    x = rng.normal(size=(batches * pulls, 2))[p]
    scores = np.empty((len(b), attributes))
    for a in range(attributes):
        mean = rng.normal(6, 1, coffees)[b % coffees] + x @ [0.3, -0.2]
        mean += 0.5 * rng.normal(size=batches)[b] + 0.4 * rng.normal(size=tasters)[t]
        mean += 0.3 * rng.normal(size=batches * tasters)[b * tasters + t] + 0.25 * rng.normal(size=batches * pulls)[p]
        scores[:, a] = mean + 0.6 * rng.normal(size=len(b))
    return scores, b, t, p, b % coffees, x


def timed(function):
    started = time.perf_counter()
    result = function()
    return time.perf_counter() - started, result


def reference(scores, b, t, p, c, x):
    """Log-likelihoods and variances of mixedlm, one call for each attribute."""
    import mixedlm
    import pandas

    frame = pandas.DataFrame({name: [f"{name}{k}" for k in v] for name, v in zip("btpc", (b, t, p, c), strict=True)})
    frame["x1"], frame["x2"] = x.T
    out = []
    for a in range(scores.shape[1]):
        frame["score"] = scores[:, a]
        result = mixedlm.lmer("score ~ c + x1 + x2 + (1|b) + (1|t) + (1|b:t) + (1|p)", frame, REML=True)
        groups = result.VarCorr().groups
        found = [float(groups[name].variance["(Intercept)"]) for name in ("b", "t", "b:t", "p")]
        out.append((float(result.logLik()), [*found, float(result.sigma) ** 2]))
    return out


def compare(name, data, with_reference):
    ours = min(timed(lambda: fit_many(*data))[0] for _ in range(3))
    fits = fit_many(*data)
    count = len(fits)
    mean = np.mean([f.evaluations for f in fits])
    print(f"{name}: {len(data[1])} rows, {count} fits: {ours:.3f} s (best of 3), {mean:.1f} evaluations a fit")
    assert all(f.converged for f in fits)
    if not with_reference:
        return
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        theirs, results = timed(lambda: reference(*data))
    apart = max(abs(f.log_likelihood - value) for f, (value, _) in zip(fits, results, strict=True))
    ratio = max(
        abs(f.variances[term] / v - 1)
        for f, (_, found) in zip(fits, results, strict=True)
        for term, v in zip(TERMS, found, strict=True)
        if v > 1e-4
    )
    print(f"  mixedlm, called {count} times: {theirs:.2f} s; ratio {theirs / ours:.1f}")
    print(f"  largest difference of log-likelihood {apart:.1e}, of a variance {ratio:.1e} of it")


def growth():
    print("growth, 24 fits each:")
    before = None
    for batches in (1_250, 5_000, 20_000):
        data = year(batches, 24)
        seconds = min(timed(lambda data=data: fit_many(*data))[0] for _ in range(2))
        more = "" if before is None else f", {seconds / before:.1f} times the time for 4 times the batches"
        print(f"  {batches} batches: {seconds:.2f} s{more}")
        before = seconds


def median_ms(function):
    function()
    return 1e3 * np.median([timed(function)[0] for _ in range(20)])


def one_more_sheet(batches):
    scores, b, t, p, c, x = year(batches, 1)
    fitted = fit_many(scores, b, t, p, c, x)[0]
    sheet = ([6.5], [5], [3], [int(p[b == 5][0])], [5], [[0.1, 0.2]])
    update = median_ms(lambda: fitted.with_sheets(*sheet))
    posterior = median_ms(lambda: fitted.posterior(fitted.variances))
    print(f"one more sheet of {batches} batches: {update:.2f} ms; the posterior of them all: {posterior:.2f} ms")


def memory():
    """Peak memory of 24 fits of 20,000 batches, in a process of its own."""
    command = [sys.executable, __file__, "--memory"]
    print(subprocess.run(command, capture_output=True, text=True, check=True).stdout.strip())


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--fits", type=int, default=24)
    parser.add_argument("--no-reference", action="store_true")
    parser.add_argument("--memory", action="store_true", help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.memory:
        fits = fit_many(*year(20_000, 24))
        with open("/proc/self/status") as status:  # not getrusage: it counts the parent's memory before exec
            peak = next(int(line.split()[1]) for line in status if line.startswith("VmHWM")) / 1024
        print(f"peak memory of {len(fits)} fits of 20000 batches, interpreter and scores included: {peak:.0f} MiB")
        return
    with_reference = not options.no_reference
    compare("year, all sheets", year(1_000, options.fits), with_reference)
    compare("year, a tenth missing", year(1_000, options.fits, missing=0.1), with_reference)
    growth()
    memory()
    for batches in (1_000, 20_000):
        one_more_sheet(batches)


if __name__ == "__main__":
    main()
