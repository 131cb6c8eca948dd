"""Baselines of the adjustment bench: SciPy's sparse direct solve, and CHOLMOD through scikit-sparse where it is installed.

Takes the file of a network and says on standard output which baselines it has. Then, for each baseline named on standard
input, factors and solves once and answers with the seconds that took. Forming the matrix is not counted. The last
solution is written beside the network.

The file holds, in native byte order: the numbers of unknowns and of sections (u64), then for each section from, to (u64, the
number of unknowns standing for the fixed mark), weight and misfit (f64).
"""

import sys
import time

import numpy as np
import scipy.sparse
import scipy.sparse.linalg

try:
    from sksparse.cholmod import cholesky
except ImportError:
    cholesky = None

path = sys.argv[1]
with open(path, "rb") as file:
    unknowns, sections = np.fromfile(file, np.uint64, 2).astype(int)
    table = np.fromfile(file, np.dtype([("from", "u8"), ("to", "u8"), ("weight", "f8"), ("misfit", "f8")]), sections)

start, end = table["from"].astype(np.int64), table["to"].astype(np.int64)
weight, misfit = table["weight"], table["misfit"]
rows = np.concatenate([start, end, start, end])
columns = np.concatenate([start, end, end, start])
values = np.concatenate([weight, weight, -weight, -weight])
inside = (rows < unknowns) & (columns < unknowns)
matrix = scipy.sparse.csc_matrix((values[inside], (rows[inside], columns[inside])), shape=(unknowns, unknowns))
matrix.sum_duplicates()
right = np.zeros(unknowns + 1)
np.add.at(right, end, weight * misfit)
np.add.at(right, start, -weight * misfit)
right = right[:unknowns]

baselines = {"SciPy spsolve": lambda: scipy.sparse.linalg.spsolve(matrix, right)}
if cholesky is not None:
    baselines["CHOLMOD"] = lambda: cholesky(matrix, ordering_method="amd")(right)

print(",".join(baselines), flush=True)
for line in sys.stdin:
    began = time.perf_counter()
    solution = baselines[line.strip()]()
    seconds = time.perf_counter() - began
    solution.astype(np.float64).tofile(path + ".solution")
    print(seconds, flush=True)
