"""Times the column model of a 60 s pull in 200 cells against a plain scipy solve_ivp version, both sides in one run.

Run with OPENBLAS_NUM_THREADS=1 for figures that can be compared:

    OPENBLAS_NUM_THREADS=1 .venv/bin/python benchmarks/bench_column.py [--cells 200] [--time 60]

The plain side is what one would write first: upwind cells, filled one after another while wetting, each with its two
pools, handed to solve_ivp. First-order upwinding smears, so its difference from the exact plug-flow solution is printed
beside ours, and also what it converges to when carried on from two sizes (Richardson), which is where both sides must
be equal.
"""

import argparse
import time

import numpy as np
from scipy.integrate import solve_ivp

from evenhand.espresso.column import run_column
from evenhand.espresso.kinetics import Brew, believe_kinetics, extraction_pct, filling_s


def timed(function, repeats):
    best = np.inf
    for _ in range(repeats):
        started = time.perf_counter()
        result = function()
        best = min(best, time.perf_counter() - started)
    return best, result


def solve_plainly(shape, brew, cells):
    """The column with upwind cells and solve_ivp; extraction in % of the dose."""
    wetting_s = filling_s(shape, brew)
    cell_g = shape.held_g_per_g * brew.dose_g / cells
    solubles_g = shape.soluble_pct / 100 * brew.dose_g / cells
    full = np.array([[shape.fast_share], [1 - shape.fast_share]]) * solubles_g
    back = full / (shape.saturated_pct / 100)
    rate = np.array([[shape.fast_per_s], [shape.slow_per_s]])
    fill = shape.held_g_per_g * brew.dose_g / wetting_s
    pour = brew.beverage_g / (brew.time_s - wetting_s)
    index = np.arange(cells)

    def wet(at, y):
        pools, held = y[: 2 * cells].reshape(2, cells), y[2 * cells :]
        share = np.clip(fill * at / cell_g - index, 0, 1)
        strength = np.divide(held, cell_g * share, out=np.zeros(cells), where=share > 1e-12)
        given = rate * (pools * share - back * held / cell_g)
        out = fill * strength * (share >= 1)
        return np.concatenate([-given.ravel(), given.sum(0) + np.append(0, out[:-1]) - np.append(out[:-1], 0)])

    def flow(at, y):
        pools, held = y[: 2 * cells].reshape(2, cells), y[2 * cells : 3 * cells]
        strength = held / cell_g
        given = rate * (pools - back * strength)
        out = pour * strength
        return np.concatenate([-given.ravel(), given.sum(0) + np.append(0, out[:-1]) - out, out[-1:]])

    start = np.concatenate([np.repeat(full.ravel(), cells), np.zeros(cells)])
    filled = solve_ivp(wet, (0, wetting_s), start, rtol=1e-6, atol=1e-9, max_step=wetting_s / cells).y[:, -1]
    end = solve_ivp(flow, (wetting_s, brew.time_s), np.append(filled, 0.0), rtol=1e-6, atol=1e-9).y[:, -1]
    return 100 * end[-1] / brew.dose_g


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--cells", type=int, default=200)
    parser.add_argument("--time", type=float, default=60.0)
    asked = parser.parse_args()
    brew = Brew(dose_g=18.0, beverage_g=36.0, time_s=asked.time)
    shape = believe_kinetics(Brew(dose_g=18.0, beverage_g=36.0, time_s=28.0)).kinetics
    exact = extraction_pct(shape, brew)

    run_column(shape, brew, cells=asked.cells)
    ours_s, ours = timed(lambda: run_column(shape, brew, cells=asked.cells).extraction_pct, 20)
    plain_s, plain = timed(lambda: solve_plainly(shape, brew, asked.cells), 2)
    carried = 2 * plain - solve_plainly(shape, brew, asked.cells // 2)

    print(f"{asked.cells} cells, {asked.time:g} s, 18 g to 36 g; exact plug flow {exact:.5f} %")
    print(f"column model     {1e3 * ours_s:9.2f} ms  {ours:.5f} %  off by {ours - exact:+.5f} points")
    print(f"plain solve_ivp  {1e3 * plain_s:9.2f} ms  {plain:.5f} %  off by {plain - exact:+.5f} points")
    print(f"  carried on from {asked.cells // 2} cells: {carried:.5f} %, off by {carried - exact:+.5f} points")
    print(f"ratio of times (plain / ours) {plain_s / ours_s:.0f}")
    print(f"difference (ours - plain) {ours - plain:+.5f} points; from plain carried on {ours - carried:+.5f} points")


if __name__ == "__main__":
    main()
