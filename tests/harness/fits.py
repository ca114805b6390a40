"""The fits of `cargo trial fits` with SciPy: the same data, start, derivatives and tolerances. Run: python fits.py DATA.csv
[fits] (needs numpy, scipy); DATA.csv is what `cargo trial fits --data DATA.csv` writes."""
import sys, time
import numpy as np
from scipy.optimize import least_squares

phi, stress, ln, = np.loadtxt(sys.argv[1], delimiter=",", skiprows=1, unpack=True)
count = int(sys.argv[2]) if len(sys.argv) > 2 else 10_000


def residuals(q, phi, stress, ln):
    f = np.exp(-((np.exp(q[2]) / stress) ** np.exp(q[3])))
    return q[4] - 2.0 * np.log1p(-phi / (q[0] - (q[0] - q[1]) * f)) - ln


def jacobian(q, phi, stress, ln):
    beta = np.exp(q[3])
    x = (np.exp(q[2]) / stress) ** beta
    f = np.exp(-x)
    j = q[0] - (q[0] - q[1]) * f
    by_j = -2.0 * phi / (j * (j - phi))
    by_x = by_j * (q[0] - q[1]) * f * x
    return np.column_stack([by_j * (1.0 - f), by_j * f, by_x * beta, by_x * np.log(x), np.ones_like(x)])


def fit(q, *data):
    return least_squares(residuals, q, jac=jacobian, args=data, method="lm", ftol=1e-10, xtol=1e-10, gtol=1e-10).x


start = fit(np.array([0.66, 0.58, np.log(8.0), 0.0, 0.0]), phi, stress, ln)
rng = np.random.default_rng(1)
began, found = time.perf_counter(), []
for _ in range(count):
    at = rng.integers(0, len(ln), len(ln))
    found.append(fit(start, phi[at], stress[at], ln[at]))
took = time.perf_counter() - began
print(f"{count} fits in {took:.2f} s, {1e6 * took / count:.1f} us each")
print("mean", np.mean(found, axis=0), "sd", np.std(found, axis=0, ddof=1))
