#!/usr/bin/python3
# The spectra against scipy and numpy: transform, windows, periodograms, local regression, coherence.
# SPDX-License-Identifier: GPL-3.0-or-later
import os
import subprocess
import sys

import numpy as np
from scipy import signal, special

rng = np.random.default_rng(12)
probe = os.path.join(os.environ["TUNE_BUILD"], "tests/spectrum/probe_spectrum")
requests, wanted = [], []  # wanted: (name, values, scale of the error)


def ask(name, words, values, scale=None):
    requests.append(" ".join(repr(float(w)) if isinstance(w, (float, np.floating)) else str(w) for w in words))
    values = np.asarray(values, float)
    wanted.append((name, values, np.max(abs(values)) if scale is None else scale))


def pairs(z):
    return np.asarray(z, complex).view(float)


for n in (1, 2, 3, 64, 97, 360, 1001):
    x = rng.standard_normal(n)
    ask("transform", ["fft", n, *x], pairs(np.fft.rfft(x)))
for n in (1, 2, 31, 256):
    ask("window", ["window", 0, n], signal.get_window("boxcar", n))
    ask("window", ["window", 1, n], signal.get_window("hann", n))
for kind, window in ((0, "boxcar"), (1, "hann")):
    for n, segment, overlap in ((500, 100, 0.5), (501, 101, 0.25), (300, 300, 0.0), (512, 64, 0.75)):
        x = 3.0 + np.cumsum(rng.standard_normal(n))
        hop = round(segment * (1 - overlap))
        f, power = signal.welch(x, 250.0, window, segment, segment - hop, detrend="constant")
        ask("averaged periodogram", ["welch", 250.0, segment, overlap, kind, n, *x], power)
for n, tapers in ((128, 1), (129, 7), (400, 12)):
    x = 2.0 + rng.standard_normal(n)
    k, i = np.arange(1, tapers + 1)[:, None], np.arange(1, n + 1)[None, :]
    w = np.sin(np.pi * k * i / (n + 1))
    w /= np.sqrt(np.sum(w * w, axis=1))[:, None]
    each = [signal.periodogram(x - x.mean(), 40.0, t, detrend=False)[1] for t in w]
    ask("multitaper", ["multitaper", 40.0, tapers, n, *x], np.mean(each, axis=0))
for n, order in ((8, 2), (3, 2), (20, 4), (5, 0)):
    bins = 2 * n + 30
    at = n + int(rng.integers(0, 30))
    r, y, z = (rng.standard_normal((3, bins)) + 1j * rng.standard_normal((3, bins))) * [[1], [3], [.1]]
    k = np.arange(-n, n + 1)
    powers = (k[:, None] / n) ** np.arange(order + 1)[None, :]
    A, T = np.hstack([r[at + k][:, None] * powers, powers]), powers
    out = np.stack([y[at + k], z[at + k]], axis=1)
    theta, left = np.linalg.lstsq(A, out, rcond=None)[0], None
    e = out - A @ theta
    t = out - T @ np.linalg.lstsq(T, out, rcond=None)[0]
    cov = e.T @ e.conj() / (len(k) - 2 * order - 2)
    power = np.sum(abs(t) ** 2, axis=0) / (len(k) - order - 1)
    gain = np.linalg.inv(A.conj().T @ A)[0, 0].real
    values = np.concatenate([pairs(theta[0]), pairs(cov.ravel()), power, [gain]])
    ask("local regression", ["lpm", n, order, bins, at, *pairs(r), *pairs(y), *pairs(z)], values)
for coh in (0.0, 0.2, 0.7, 0.999, 1 - 1e-9):
    for n in (2.0, 17.3, 400.0):
        mean = 1 / n + (n - 1) / (n + 1) * coh * special.hyp2f1(1, 1, n + 2, coh)
        ask("mean coherence", ["coherence", coh, n], [mean])

answer = subprocess.run([probe], input="\n".join(requests), capture_output=True, text=True, check=True).stdout
got = [np.array(line.split(), float) for line in answer.splitlines()]
worst = {}
for values, (name, want, scale) in zip(got, wanted):
    error = np.max(abs(values - want)) / scale if values.shape == want.shape else np.inf
    worst[name] = max(worst.get(name, 0.0), error)
if len(got) != len(wanted):
    worst["every request is answered"] = np.inf
limits = {"local regression": 1e-10}  # rounding, times the conditioning of the powers used here
print("1..%d" % len(worst))
failed = 0
for i, (name, error) in enumerate(worst.items(), 1):
    ok = error < limits.get(name, 1e-12)  # rounding
    failed += not ok
    print("%s %d - %s agrees (%.2g)" % ("ok" if ok else "not ok", i, name, error))
sys.exit(failed > 0)
