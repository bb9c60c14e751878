#!/usr/bin/python3
# The model against scipy: state space, matrix exponential, continuous response, zeros.
# SPDX-License-Identifier: GPL-3.0-or-later
import os
import subprocess
import sys

import numpy as np
from scipy import linalg, signal

rng = np.random.default_rng(7)
probe = os.path.join(os.environ["TUNE_BUILD"], "tests/plant/probe_model")


def random_axis(i):
    scale = 10.0 ** rng.uniform(-4, 6)
    rate = rng.choice([1000.0, 2500.0, 4000.0, 16000.0])
    modes = [(np.exp(rng.uniform(np.log(2.0), np.log(0.45 * rate))), np.exp(rng.uniform(np.log(1e-3), np.log(0.9))),
              rng.uniform(0.01, 1.0) * rng.choice([1, 1, 1, -0.3]), rng.uniform(-3, 3)) for _ in range(rng.integers(0, 7))]
    drag = 0.0 if i % 5 == 0 else np.exp(rng.uniform(np.log(1e-6), np.log(30.0)))
    delay = rng.choice([0.0, 1.0, 2.0, rng.uniform(0, 4)]) / rate
    return dict(J=scale, B=drag * scale, delay=delay, rate=rate, modes=sorted(modes))


def blocks(axis):
    """unit torque -> angle, modal blocks (A, b, payload ratio)"""
    yield np.array([[0, 1.0], [0, -axis["B"] / axis["J"]]]), np.array([0, 1 / axis["J"]]), 1.0
    for f, zeta, g, r in axis["modes"]:
        w = 2 * np.pi * f
        yield np.array([[0, 1.0], [-w * w, -2 * zeta * w]]), np.array([0, g / axis["J"]]), r


def step(A, b, t):
    M = np.zeros((3, 3))
    M[:2, :2], M[:2, 2] = A * t, b * t
    E = linalg.expm(M)
    return E[:2, :2], E[:2, 2]


def response(axis, f, delay, weight):
    T = 1 / axis["rate"]
    n = int(np.floor(delay / T + 1e-9))
    late = max(delay - n * T, 0.0)
    z = np.exp(2j * np.pi * f * T)
    G, size = np.zeros(len(f), complex), np.zeros(len(f))
    for A, b, r in blocks(axis):
        E, _ = step(A, b, T)
        E0, new = step(A, b, T - late)
        _, old = step(A, b, late)
        num = new[None, :] * (z ** -n)[:, None] + (E0 @ old)[None, :] * (z ** -(n + 1))[:, None]
        det = (z - E[0, 0]) * (z - E[1, 1]) - E[0, 1] * E[1, 0]
        term = weight(r) * ((z - E[1, 1]) * num[:, 0] + E[0, 1] * num[:, 1]) / det
        G, size = G + term, size + abs(term)
    return G, size


def text(axis, f):
    numbers = [axis["J"], axis["B"], axis["delay"], axis["rate"]]
    words = [repr(float(x)) for x in numbers] + [str(len(axis["modes"]))]
    words += [repr(float(x)) for mode in axis["modes"] for x in mode]
    return " ".join(words + [str(len(f))] + [repr(float(x)) for x in f])


axes = [random_axis(i) for i in range(60)]
grids = [np.exp(np.linspace(np.log(2e-3), np.log(0.499), 40)) * a["rate"] for a in axes]
out = subprocess.run([probe], input="\n".join(map(text, axes, grids)), capture_output=True, text=True, check=True)
lines = [np.array([float(x) for x in line.split()]) for line in out.stdout.splitlines()]
assert len(lines) == 7 * len(axes)
complexes = [line[::2] + 1j * line[1::2] for line in lines]

ratios = [lambda r: 1, lambda r: r, lambda r: 1, lambda r: r, lambda r: r, lambda r: r * r]
worst = 0.0
for k, (axis, f) in enumerate(zip(axes, grids)):
    for path in range(6):
        G, size = response(axis, f, axis["delay"] if path < 2 else 0.0, ratios[path])
        worst = max(worst, np.max(abs(complexes[7 * k + path] - G) / size))

# without delay, against scipy's own discretisation of the whole axis
axis = random_axis(1) | dict(delay=0.0)
while len(axis["modes"]) < 3:
    axis = random_axis(1) | dict(delay=0.0)
parts = list(blocks(axis))
A, b = linalg.block_diag(*[p[0] for p in parts]), np.concatenate([p[1] for p in parts])[:, None]
c = np.tile([1.0, 0.0], len(parts))[None, :]
Ad, bd, cd, dd, _ = signal.cont2discrete((A, b, c, np.zeros((1, 1))), 1 / axis["rate"])
f = np.linspace(0.02, 0.45, 30) * axis["rate"]
want = np.array([(cd @ np.linalg.solve(z * np.eye(len(Ad)) - Ad, bd) + dd)[0, 0] for z in np.exp(2j * np.pi * f / axis["rate"])])
got = subprocess.run([probe], input=text(axis, f), capture_output=True, text=True, check=True).stdout.splitlines()[0]
got = np.array([float(x) for x in got.split()])
whole = np.max(abs(got[::2] + 1j * got[1::2] - want) / abs(want))

# zeros: generalized eigenvalues of the system pencil
zeros = 0.0
for k, axis in enumerate(axes):
    parts = list(blocks(axis))
    if len(parts) < 2:
        continue
    unit = 2 * np.pi * axis["modes"][-1][0]  # time in units that keep the pencil balanced
    A = linalg.block_diag(*[np.array([[0, 1.0], [p[0][1, 0] / unit**2, p[0][1, 1] / unit]]) for p in parts])
    b = np.concatenate([p[1] * axis["J"] for p in parts])[:, None]
    c = np.tile([1.0, 0.0], len(parts))[None, :]
    M, N = np.block([[A, b], [c, np.zeros((1, 1))]]), linalg.block_diag(np.eye(len(A)), np.zeros((1, 1)))
    e = linalg.eigvals(M, N)
    e = e[np.isfinite(e) & (abs(e) < 1e4)]
    e = e[e.imag > 1e-5 * abs(e)] * unit
    e = e[np.argsort(abs(e))]
    got = lines[7 * k + 6]
    if len(got) != 2 * len(e):
        zeros = np.inf
        print("# zeros differ in number:", axis, got, e)
        continue
    s = 2 * np.pi * got[::2] * (-got[1::2] + 1j * np.sqrt(1 - got[1::2] ** 2))
    zeros = max(zeros, np.max(abs(s - e) / abs(e), initial=0.0))

checks = [("sampled response of every path agrees with matrix exponentials", worst, 1e-11),
          ("sampled response agrees with scipy's discretisation of the whole axis", whole, 1e-11),
          ("antiresonances are the zeros of the state-space pencil", zeros, 1e-6)]  # rounding of each reference
print("1..%d" % len(checks))
failed = 0
for i, (name, value, limit) in enumerate(checks, 1):
    ok = value < limit
    failed += not ok
    print("%s %d - %s (%.2g, allowed %.2g)" % ("ok" if ok else "not ok", i, name, value, limit))
sys.exit(failed > 0)
