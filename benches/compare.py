#!/usr/bin/env python3
"""Compares the linear solver with general-purpose direct solvers on the same matrices, in one run.

Needs numpy, scipy and pypardiso (PyPI) and this repository's own bench. Rounds alternate between the solvers, so
that a busy minute hits all of them; the best round of each counts, and its ratio is printed.

    python3 benches/compare.py [--rounds 3] [--threads 2] [--scipy] [small middle strip square]

The other solver gets both threads and its own settings: iparm(1) = 1 (else it ignores all settings), parallel
nested dissection, two-level factorisation. scipy is slow on these matrices and is run on request only.
"""

import argparse
import os
import subprocess
import tempfile
import time

TARGETS = {"middle": 0.7, "strip": 0.8}
BENCH = ["cargo", "bench", "--quiet", "--bench", "linear", "--"]


def ours(name):
    """Seconds of order, symbolic, factor and one solve, and of the refined solution."""
    out = subprocess.run([*BENCH, name], check=True, capture_output=True, text=True).stdout.splitlines()
    heading, row = out[0].split(), next(line.split() for line in out if line.startswith(name))
    cells = dict(zip(heading, row))
    names = ("order", "symbolic", "factor", "solve")
    return [float(cells[n]) for n in names], float(cells["refined"])


def load(name, folder):
    """Matrix as upper triangle by rows, and load."""
    import numpy as np
    import scipy.sparse as sp

    path = os.path.join(folder, name)
    subprocess.run([*BENCH, "export", name, path], check=True, capture_output=True)
    with open(path, "rb") as file:
        n, entries = np.fromfile(file, "<u8", 2)
        starts = np.fromfile(file, "<u4", int(n) + 1).astype(np.int32)
        rows = np.fromfile(file, "<u4", int(entries)).astype(np.int32)
        values = np.fromfile(file, "<f8", int(entries))
        rhs = np.fromfile(file, "<f8", int(n))
    os.remove(path)
    # Columns of the lower triangle are rows of the upper one.
    return sp.csr_matrix((values, rows, starts), shape=(int(n), int(n))), rhs


def pardiso(matrix, rhs):
    """Seconds of analysis, factor and one solve."""
    from pypardiso import PyPardisoSolver

    solver = PyPardisoSolver(mtype=2)
    for index, value in {1: 1, 2: 3, 8: 0, 10: 8, 24: 1, 25: 0, 27: 0, 35: 0}.items():
        solver.set_iparm(index, value)
    seconds = []
    for phase in (11, 22, 33):
        begin = time.perf_counter()
        solver.set_phase(phase)
        solver._call_pardiso(matrix, rhs)
        seconds.append(time.perf_counter() - begin)
    solver.free_memory(everything=True)
    return seconds


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
    matrix, rhs = load(name, folder)
    own, other, refined = [], [], []
    for _ in range(rounds):
        seconds, extra = ours(name)
        own.append(seconds)
        refined.append(extra)
        other.append(pardiso(matrix, rhs))
    own, other = min(own, key=sum), min(other, key=sum)
    ratio = sum(own) / sum(other)
    target = TARGETS.get(name)
    verdict = "" if target is None else f"  target {target}: {'met' if ratio <= target else 'MISSED'}"
    show = lambda seconds: " + ".join(f"{s:.2f}" for s in seconds) + f" = {sum(seconds):.2f} s"
    print(f"{name}: {matrix.shape[0]} unknowns")
    print(f"  ours (order + symbolic + factor + solve)   {show(own)}")
    print(f"  pypardiso (analysis + factor + solve)      {show(other)}")
    print(f"  ratio {ratio:.2f}{verdict}")
    print(f"  our solution refined to seven digits, apart: {min(refined):.2f} s")
    if with_scipy:
        seconds = superlu(matrix, rhs)
        print(f"  scipy (order + factor, solve)              {show(seconds)}, ratio {sum(own) / sum(seconds):.3f}")


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("models", nargs="*", default=["small", "middle", "strip", "square"])
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--threads", type=int, default=2)
    parser.add_argument("--scipy", action="store_true")
    options = parser.parse_args()
    os.environ["MKL_NUM_THREADS"] = os.environ["RAYON_NUM_THREADS"] = str(options.threads)
    os.environ["MKL_DYNAMIC"] = "FALSE"
    with tempfile.TemporaryDirectory() as folder:
        for name in options.models:
            compare(name, options.rounds, options.scipy, folder)


if __name__ == "__main__":
    main()
