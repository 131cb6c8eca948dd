"""Least squares of levelling networks with NumPy and SciPy, as an independent calculation.

Reads JSON from standard input: a list of networks, heights and rises as decimal text in metres. Writes JSON: for each
network what the adjustment should give. Dense matrices and textbook formulas; nothing here knows of lines, junctions,
approximate elevations or selected inversion.
"""

import json
import sys
from decimal import Decimal

import numpy as np
import scipy.linalg
import scipy.sparse
import scipy.sparse.linalg
import scipy.stats


def adjust(network):
    marks = network["marks"]
    fixed = {mark: Decimal(height) for mark, height in network["fixed"]}
    weighted = [(mark, Decimal(height), Decimal(sigma)) for mark, height, sigma in network["weighted"]]
    sections = [(start, end, Decimal(rise), Decimal(sigma)) for start, end, rise, sigma in network["sections"]]
    unknown = {mark: at for at, mark in enumerate(mark for mark in range(marks) if mark not in fixed)}
    n, u = len(sections) + len(weighted), len(unknown)

    a = np.zeros((n, u))
    for row, (start, end, _, _) in enumerate(sections):
        if end in unknown:
            a[row, unknown[end]] += 1.0
        if start in unknown:
            a[row, unknown[start]] -= 1.0
    for row, (mark, _, _) in enumerate(weighted):
        a[len(sections) + row, unknown[mark]] = 1.0
    sigma = np.array([float(s) for *_, s in sections] + [float(s) for *_, s in weighted])
    p = 1.0 / sigma**2

    # First with floats, then once more from heights rounded to a micrometre, with exact differences.
    heights = [fixed.get(mark, Decimal(0)) for mark in range(marks)]
    for _ in range(2):
        misfits = [rise - (heights[end] - heights[start]) for start, end, rise, _ in sections]
        misfits += [height - heights[mark] for mark, height, _ in weighted]
        misfit = np.array([float(value) for value in misfits])
        scaled = a / sigma[:, None]
        x = scipy.linalg.lstsq(scaled, misfit / sigma, lapack_driver="gelsy")[0] if u else np.zeros(0)
        last = dict(zip(unknown, x))
        final = {mark: heights[mark] + Decimal(float(last.get(mark, 0.0))) for mark in range(marks)}
        residual = a @ x - misfit
        heights = [final[mark].quantize(Decimal("1e-6")) if mark in unknown else heights[mark] for mark in range(marks)]

    normal = a.T @ (p[:, None] * a)
    q = scipy.linalg.inv(normal) if u else np.zeros((0, 0))
    if u:
        sparse = scipy.sparse.linalg.spsolve(scipy.sparse.csc_matrix(normal), a.T @ (p * misfit))
        assert np.allclose(sparse, x, rtol=0, atol=1e-9), "lstsq and spsolve disagree"
    redundancy = 1.0 - np.einsum("ij,jk,ik->i", a, q, a) * p if u else np.ones(n)
    squares = float(residual @ (p * residual))
    freedom = n - u

    levels = network["levels"]
    single = scipy.stats.norm.ppf(1 - levels["single"] / 2)
    delta0 = single + scipy.stats.norm.ppf(levels["power"])
    checked = redundancy > 1e-9
    safe = np.where(checked, redundancy, 1.0)
    w = residual / (sigma * np.sqrt(safe))
    detectable = delta0 * sigma / np.sqrt(safe)
    effects = q @ a.T * (p * detectable)[None, :] if u else np.zeros((0, n))
    effects = effects[:, : len(sections)][:, checked[: len(sections)]]
    exposure = np.abs(effects).max(axis=1) if effects.size else np.zeros(u)
    tau = t = None
    if freedom >= 2:
        t = scipy.stats.t.ppf(1 - levels["single"] / 2, freedom - 1)
        tau = float(np.sqrt(freedom) * t / np.sqrt(freedom - 1 + t * t))

    def of_marks(values):
        return [float(values[unknown[mark]]) if mark in unknown else 0.0 for mark in range(marks)]

    return {
        "elevations": [str(final[mark]) for mark in range(marks)],
        "deviations": of_marks(np.sqrt(np.diag(q))),
        "exposure": of_marks(exposure),
        "residuals": residual.tolist(),
        "redundancies": redundancy.tolist(),
        "checked": checked.tolist(),
        "w": w.tolist(),
        "detectable": detectable.tolist(),
        "adjusted_deviations": np.sqrt(np.maximum(np.einsum("ij,jk,ik->i", a, q, a), 0.0)).tolist() if u else [0.0] * n,
        "squares": squares,
        "freedom": freedom,
        "chi_squared": [float(scipy.stats.chi2.ppf(chance, freedom)) for chance in (levels["global"] / 2, 1 - levels["global"] / 2)] if freedom else None,
        "critical_w": float(single),
        "critical_tau": tau,
        "student": float(scipy.stats.t.ppf(0.5 + levels["confidence"] / 2, freedom)) if freedom else None,
    }


json.dump([adjust(network) for network in json.load(sys.stdin)], sys.stdout)
