#!/usr/bin/python3
# plant-POINTING.json of an identified axis, read by other tools: scipy and Octave's control package must
# get the response of the fitted model, which model-POINTING.csv has, from every form of it.
# SPDX-License-Identifier: GPL-3.0-or-later
import json
import os
import shutil
import subprocess
import sys
import tempfile

import numpy as np
from scipy import linalg, signal

program = os.path.join(os.environ["TUNE_BUILD"], "quietaxis")
small = os.path.join(os.environ["TUNE_SOURCE"], "tests/apps/small.ini")
limit = 1e-9  # rounding: 15 digits in both files, terms that cancel by up to a hundred in antiresonances
count = failed = 0


def tell(name, worst):
    global count, failed
    count += 1
    good = worst < limit
    failed += not good
    print("%s %d - %s (%.2g, allowed %.0e)" % ("ok" if good else "not ok", count, name, worst, limit))


def run(*words):
    done = subprocess.run([program, *words], capture_output=True, text=True)
    if done.returncode:
        print("Bail out! quietaxis %s: %s" % (" ".join(words), done.stderr))
        sys.exit(1)


def worst(got, want):
    return np.max(abs(got / want - 1))


def matrices(form):
    a, b, c = (np.array(form[key], float) for key in "abc")
    assert a.shape == (form["states"],) * 2 and form["d"] == 0
    return a, b[:, None], c[None, :]


def response(a, b, c, points):
    return np.array([(c @ np.linalg.solve(p * np.eye(len(a)) - a, b))[0, 0] for p in points])


def discretised(plant):
    """the continuous form sampled anew, by matrix exponentials; state: its own, and the torque before"""
    a, b, c = matrices(plant["continuous"])
    n, period = len(a), 1 / plant["loop_rate_hz"]
    late = plant["delay_s"] - plant["sampled"]["delay_samples"] * period

    def step(t):
        m = np.zeros((n + 1, n + 1))
        m[:n, :n], m[:n, n:] = a * t, b * t
        e = linalg.expm(m)
        return e[:n, :n], e[:n, n:]

    e, _ = step(period)
    after, new = step(period - late)
    _, old = step(late)
    return (np.block([[e, after @ old], [np.zeros((1, n + 1))]]), np.vstack([new, [[1.0]]]), np.hstack([c, [[0.0]]]))


def octave(plant, frequencies):
    """responses of the sampled form, of the continuous one and of poles and zeros, with its control package"""
    a, b, c = matrices(plant["sampled"])
    ac, bc, cc = matrices(plant["continuous"])

    def text(x):
        rows = [" ".join("complex(%.17g,%.17g)" % (v.real, v.imag) for v in row) for row in np.atleast_2d(x)]
        return "[" + ";".join(rows) + "]"

    roots = {key: np.array([complex(r["real"], r["imag"]) for r in plant[key]]) for key in ("zeros", "poles")}
    script = "pkg load control\n"
    for name, value in (("a", a), ("b", b), ("c", c), ("ac", ac), ("bc", bc), ("cc", cc)):
        script += "%s = real(%s);\n" % (name, text(value))
    script += "z = %s.'; p = %s.'; w = real(%s);\n" % (text(roots["zeros"]), text(roots["poles"]),
                                                      text(2 * np.pi * frequencies))
    script += "s1 = ss(a, b, c, 0, %.17g); s2 = ss(ac, bc, cc, 0);\n" % (1 / plant["loop_rate_hz"])
    # its zpk multiplies the polynomials out, which costs the digits: the product is taken as it stands
    script += "h3 = arrayfun(@(x) %.17g * prod([1i*x - z; ones(numel(p) - numel(z), 1)] ./ (1i*x - p)), w);\n" % plant["gain"]
    script += "h1 = squeeze(freqresp(s1, w)); h2 = squeeze(freqresp(s2, w));\n"
    script += "for k = 1:numel(w) printf('%.17g %.17g %.17g %.17g %.17g %.17g\\n', real(h1(k)), imag(h1(k)), " \
              "real(h2(k)), imag(h2(k)), real(h3(k)), imag(h3(k))); end\n"
    done = subprocess.run(["octave", "--no-gui", "--norc", "--quiet", "--eval", script], capture_output=True, text=True)
    if done.returncode:
        return None, done.stderr
    x = np.array([[float(v) for v in line.split()] for line in done.stdout.splitlines()])
    return x[:, ::2] + 1j * x[:, 1::2], ""


folder = tempfile.mkdtemp(prefix="tune-test-")
try:
    run("simulate", small, folder)
    run("identify", folder)
    for pointing in ("south", "north"):
        plant = json.load(open(os.path.join(folder, "results/plant-%s.json" % pointing)))
        table = np.genfromtxt(os.path.join(folder, "results/model-%s.csv" % pointing), delimiter=",", skip_header=1)
        f, want = table[:, 0], table[:, 1] + 1j * table[:, 2]
        s, z = 2j * np.pi * f, np.exp(2j * np.pi * f / plant["loop_rate_hz"])
        n = plant["sampled"]["delay_samples"]

        sampled = matrices(plant["sampled"])
        tell("%s: sampled state space is the fitted model" % pointing, worst(response(*sampled, z) * z**-n, want))
        tell("%s: continuous state space, sampled anew, is the fitted model" % pointing,
             worst(response(*discretised(plant), z) * z**-n, want))
        roots = [[complex(r["real"], r["imag"]) for r in plant[key]] for key in ("zeros", "poles")]
        _, h = signal.freqs_zpk(*roots, plant["gain"], worN=2 * np.pi * f)
        continuous = response(*matrices(plant["continuous"]), s)
        tell("%s: scipy: poles and zeros are the continuous state space" % pointing, worst(h, continuous))
        e = linalg.eigvals(matrices(plant["continuous"])[0])
        distance = max(min(abs(e - p)) / max(abs(p), 1.0) for p in np.array(roots[1]))
        tell("%s: its eigenvalues are the poles" % pointing, distance)

        if shutil.which("octave") is None:
            count += 1
            print("ok %d # SKIP octave is not installed" % count)
            continue
        got, why = octave(plant, f)
        if got is None:
            count += 1
            print("ok %d # SKIP octave has no control package: %s" % (count, why.splitlines()[0] if why else ""))
            continue
        tell("%s: Octave: sampled state space is the fitted model" % pointing, worst(got[:, 0] * z**-n, want))
        tell("%s: Octave: poles and zeros are its continuous state space" % pointing, worst(got[:, 2], got[:, 1]))
finally:
    shutil.rmtree(folder)
print("1..%d" % count)
sys.exit(failed > 0)
