#!/usr/bin/env python3
"""Compares the linear solver with general-purpose direct solvers on the same matrices, in one run.

Needs numpy, scipy and pypardiso (PyPI) and this repository's own bench. Rounds alternate between the solvers, each
in a fresh process, so that a busy minute hits all of them; the best and the median round of each are printed with
their ratios.

    python3 benches/compare.py [--rounds 3] [--threads 2] [--scipy] [tiny small middle strip square arm]

The other solver gets both threads and its own settings: iparm(1) = 1 (else it ignores all settings), parallel
nested dissection, two-level factorisation. scipy is slow on these matrices and is run on request only.
"""

import argparse
import json
import os
import statistics
import subprocess
import sys
import tempfile
import time

# Largest ratios wished for: whole sum, factor.
TARGETS = {name: (0.4, 0.5) for name in ("middle", "strip", "square", "arm")}
BENCH = ["cargo", "bench", "--quiet", "--bench", "linear", "--"]


def ours(name):
    """Seconds of order, symbolic, factor and one solve; of the refined solution; of factor into warm memory."""
    out = subprocess.run([*BENCH, name], check=True, capture_output=True, text=True).stdout.splitlines()
    heading, row = out[0].split(), next(line.split() for line in out if line.startswith(name))
    cells = dict(zip(heading, row))
    names = ("order", "symbolic", "factor", "solve")
    return [float(cells[n]) for n in names], float(cells["refined"]), float(cells["again"])


def load(path):
    """Matrix as upper triangle by rows, and load."""
    import numpy as np
    import scipy.sparse as sp

    with open(path, "rb") as file:
        n, entries = np.fromfile(file, "<u8", 2)
        starts = np.fromfile(file, "<u4", int(n) + 1).astype(np.int32)
        rows = np.fromfile(file, "<u4", int(entries)).astype(np.int32)
        values = np.fromfile(file, "<f8", int(entries))
        rhs = np.fromfile(file, "<f8", int(n))
    # Columns of the lower triangle are rows of the upper one.
    return sp.csr_matrix((values, rows, starts), shape=(int(n), int(n))), rhs


def pardiso(path):
    """Seconds of analysis, factor and one solve, and of a second factor, in a process of its own."""
    command = [sys.executable, os.path.abspath(__file__), "--rival", path]
    return json.loads(subprocess.run(command, check=True, capture_output=True, text=True).stdout)


def rival(path):
    from pypardiso import PyPardisoSolver

    matrix, rhs = load(path)
    solver = PyPardisoSolver(mtype=2)
    for index, value in {1: 1, 2: 3, 8: 0, 10: 8, 24: 1, 25: 0, 27: 0, 35: 0}.items():
        solver.set_iparm(index, value)
    seconds = []
    for phase in (11, 22, 33, 22):
        begin = time.perf_counter()
        solver.set_phase(phase)
        solver._call_pardiso(matrix, rhs)
        seconds.append(time.perf_counter() - begin)
    solver.free_memory(everything=True)
    print(json.dumps(seconds))


def superlu(matrix, rhs):
    """Seconds of scipy's sparse LU with its symmetric settings, and of one solve."""
    import scipy.sparse as sp
    from scipy.sparse.linalg import splu

    full = (matrix + sp.triu(matrix, 1).T).tocsc()
    begin = time.perf_counter()
    factor = splu(full, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True})
    middle = time.perf_counter()
    factor.solve(rhs)
    return [middle - begin, time.perf_counter() - middle]


def compare(name, rounds, with_scipy, folder):
    path = os.path.join(folder, name)
    subprocess.run([*BENCH, "export", name, path], check=True, capture_output=True)
    own, other = [], []
    for _ in range(rounds):
        own.append(ours(name))
        other.append(pardiso(path))
    print(f"{name}: {len(load(path)[1])} unknowns, {rounds} rounds; best / median")
    targets = TARGETS.get(name, (None, None))

    def line(what, mine, theirs, target):
        best, middle = min(mine) / min(theirs), statistics.median(mine) / statistics.median(theirs)
        verdict = "" if target is None else f"   wish {target}: {'met' if middle <= target else 'MISSED'}"
        spans = (f"{min(s):.3f} / {statistics.median(s):.3f} s" for s in (mine, theirs))
        print(f"  {what:34} ours {next(spans)}   theirs {next(spans)}   ratio {best:.2f} / {middle:.2f}{verdict}")

    line("order to solve, whole sum", [sum(o[0]) for o in own], [sum(o[:3]) for o in other], targets[0])
    line("factor, first", [o[0][2] for o in own], [o[1] for o in other], targets[1])
    line("factor, into warm memory", [o[2] for o in own], [o[3] for o in other], targets[1])
    line("one solve", [o[0][3] for o in own], [o[2] for o in other], None)
    print(f"  our solution refined to seven digits, apart: {min(o[1] for o in own):.2f} s")
    if with_scipy:
        seconds = superlu(*load(path))
        print(f"  scipy order + factor {seconds[0]:.2f} s, solve {seconds[1]:.2f} s")
    os.remove(path)


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("models", nargs="*", default=["small", "middle", "strip", "square"])
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--threads", type=int, default=2)
    parser.add_argument("--scipy", action="store_true")
    parser.add_argument("--rival", help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.rival:
        return rival(options.rival)
    os.environ["MKL_NUM_THREADS"] = os.environ["RAYON_NUM_THREADS"] = str(options.threads)
    os.environ["MKL_DYNAMIC"] = "FALSE"
    with tempfile.TemporaryDirectory() as folder:
        for name in options.models:
            compare(name, options.rounds, options.scipy, folder)


if __name__ == "__main__":
    main()
