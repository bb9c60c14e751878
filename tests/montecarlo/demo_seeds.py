#!/usr/bin/python3
"""The Heron Flat demo over many seeds, judged against the simulated truth.

usage: demo_seeds.py [SEEDS] [FIRST]     (default 20, 1)

Per seed: sweeps and a quiet log are simulated, analysed, and the axis is simulated again under the
designed gains at every pointing. Told at the end: modes found and missed, |error| over claimed std of
every mode, jitter measured over predicted, loops that ran away. Exit 1 where a mode is missed or
invented, a loop runs away, or a prediction is off by more than 10 %.
SPDX-License-Identifier: GPL-3.0-or-later
"""
import json
import math
import os
import subprocess
import sys
import tempfile

ROOT = os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "..")
PROGRAM = os.environ.get("QUIETAXIS", os.path.join(ROOT, "build", "quietaxis"))
DESCRIPTION = os.path.join(ROOT, "datasets", "heron-flat", "hour-angle.ini")
POINTINGS = ["east-60", "east-30", "meridian", "west-30", "west-60"]
TRACKS = ["track-" + p for p in POINTINGS]


def run(*words, allowed=(0,)):
    done = subprocess.run([PROGRAM, *words], capture_output=True, text=True, check=False)
    if done.returncode not in allowed:
        raise RuntimeError("%s\n%s" % (" ".join(words), done.stderr))
    return done.returncode


def with_tracks(folder):
    """The demo's description and one tracking log per pointing."""
    path = os.path.join(folder, "all-pointings.ini")
    with open(DESCRIPTION, encoding="utf-8") as f:
        text = f.read()
    for pointing, track in zip(POINTINGS, TRACKS):
        text += ("\n[log %s]\nkind = track\npointing = %s\nramp_arcsec_per_s = 15.041\n"
                 "duration_s = 300\nlog_sky = yes\n" % (track, pointing))
    with open(path, "w", encoding="utf-8") as f:
        f.write(text)
    return path


def load(*parts):
    with open(os.path.join(*parts), encoding="utf-8") as f:
        return json.load(f)


def score_modes(truth, found, errors):
    """Missed and invented modes; appends (error, std) pairs per quantity."""
    missed = invented = 0
    for true, have in zip(truth["pointings"], found["pointings"]):
        assert true["name"] == have["name"], (true["name"], have["name"])
        low, high = have["frf"]["band_hz"]
        wanted = [m for m in true["plant"]["modes"] if low < m["frequency_hz"] < high]
        modes = list(have["plant"]["modes"])
        for want in wanted:
            near = [m for m in modes
                    if abs(math.log(m["frequency_hz"]["value"] / want["frequency_hz"])) < 0.04]
            if not near:
                missed += 1
                print("  missed: %s %.2f Hz" % (true["name"], want["frequency_hz"]))
                continue
            best = min(near, key=lambda m: abs(m["frequency_hz"]["value"] - want["frequency_hz"]))
            modes.remove(best)
            for key in ("frequency_hz", "damping_ratio", "gain"):
                errors[key].append((best[key]["value"] - want[key]) / best[key]["std"])
        for m in modes:
            invented += 1
            print("  invented: %s %.2f Hz" % (true["name"], m["frequency_hz"]["value"]))
        for key in ("inertia_kg_m2", "delay_s"):
            errors[key].append((have["plant"][key]["value"] - true["plant"][key])
                               / have["plant"][key]["std"])
    return missed, invented


def one_seed(seed, folder, description, errors, ratios):
    book = os.path.join(folder, "seed-%d" % seed)
    chosen = [w for log in ["sweep-" + p for p in POINTINGS] + ["quiet"] for w in ("--log", log)]
    run("simulate", "--quiet", "--seed", str(seed), *chosen, description, book)
    run("analyse", "--quiet", book, allowed=(0, 1))
    identified = load(book, "results", "identify.json")
    missed, invented = score_modes(load(book, "truth.json"), identified, errors)
    gains = os.path.join(book, "results", "controller.ini")
    ran_away = 0
    for track in TRACKS:
        ran_away += run("simulate", "--quiet", "--seed", str(seed), "--log", track,
                        "--controller", gains, description, book, allowed=(0, 4)) == 4
    run("verify", "--quiet", book, allowed=(0, 1))
    for log in load(book, "results", "verify.json")["logs"]:
        measured, predicted = log["measured_rms_arcsec"], log["predicted_rms_arcsec"]
        ratios.append((measured / (predicted["value"] if isinstance(predicted, dict) else predicted),
                       seed, log["name"], measured))
    subprocess.run(["rm", "-rf", book], check=False)
    return missed, invented, ran_away


def main():
    seeds = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    keys = ("frequency_hz", "damping_ratio", "gain", "inertia_kg_m2", "delay_s")
    errors = {key: [] for key in keys}
    ratios, totals = [], [0, 0, 0]
    with tempfile.TemporaryDirectory() as folder:
        description = with_tracks(folder)
        for seed in range(first, first + seeds):
            got = one_seed(seed, folder, description, errors, ratios)
            totals = [a + b for a, b in zip(totals, got)]
            print("seed %d: missed %d, invented %d, ran away %d, measured/predicted %s" % (
                seed, *got, " ".join("%.3f" % r[0] for r in ratios if r[1] == seed)), flush=True)
    print("\n%d seeds, %d pointings: modes missed %d, invented %d; loops that ran away %d"
          % (seeds, len(POINTINGS), *totals))
    for key in keys:
        e = sorted(abs(x) for x in errors[key])
        print("  |error|/claimed std, %-14s rms %.2f  median %.2f  95 %% %.2f  largest %.2f  (%d)" % (
            key, math.sqrt(sum(x * x for x in e) / len(e)), e[len(e) // 2],
            e[int(0.95 * len(e))], e[-1], len(e)))
    r = [x[0] for x in ratios]
    mean = sum(r) / len(r)
    scatter = math.sqrt(sum((x - mean) ** 2 for x in r) / max(1, len(r) - 1))
    print("  measured/predicted jitter: mean %.4f scatter %.4f smallest %.3f largest %.3f (%d logs)"
          % (mean, scatter, min(r), max(r), len(r)))
    return 1 if any(totals) or any(abs(x - 1) > 0.10 for x in r) else 0


if __name__ == "__main__":
    sys.exit(main())
