#!/usr/bin/python3
"""Every trouble that simulate can make, in many logs of varied axes: does inspect find it?

usage: troubles.py [AXES] [FIRST]     (default 20, 1)

Each axis has its own inertia, modes, delay, gains, encoder, wind and noise, drawn from its number. In every
axis each case of CASES is made in one log, small and moderate in turn; the axes also give clean logs (sweep,
hold, track, in several formats; tracks under encoders of 1e5 to 1e7
counts). One line per case: how often it was made and found under the right name, in the right row,
with a value within the case's accuracy; the middling and the largest error of the value
(relative, where the truth is not 0); what else was raised beside it. Then the clean logs, false alarms by name,
and every miss. Exit 1 unless all is found and at most one clean log of 50 raises an alarm.
SPDX-License-Identifier: GPL-3.0-or-later
"""
import collections
import json
import math
import os
import random
import re
import subprocess
import sys
import tempfile

ROOT = os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "..")
SIMULATE = INSPECT = os.environ.get("QUIETAXIS", os.path.join(ROOT, "build", "quietaxis"))

BEFORE_S, AFTER_S = 2.0, 3.0  # quiet ends of a sweep


# ---- axes -------------------------------------------------------------------------------------------

def between(rng, low, high):
    return low * (high / low) ** rng.random()


class Axis:
    """One telescope axis: a description without logs, and the figures the cases are scaled by."""

    def __init__(self, number, rate_hz=2000.0, sweep_s=16.0):
        rng = random.Random(number)
        self.rng, self.number, self.rate_hz = rng, number, rate_hz
        self.sweep_s, self.log_s = sweep_s, sweep_s + BEFORE_S + AFTER_S
        self.inertia = between(rng, 15.0, 2500.0)
        self.size = self.inertia / 820.0  # torques grow with the axis
        self.amplitude_nm = 40.0 * self.size * between(rng, 0.8, 1.25)
        self.limit_nm = 8.0 * self.amplitude_nm
        self.counts = 2.0 ** rng.choice([27, 28, 29])
        self.step_arcsec = 1296000.0 / self.counts
        self.lines = rng.choice([9000, 16384, 31488, 36000, 65536])
        self.noise_arcsec = between(rng, 0.5, 2.0) * max(self.step_arcsec, 0.002)
        self.angle_deg = rng.uniform(-75.0, 75.0)
        self.jitter_arcsec = between(rng, 0.05, 0.2)
        self.omega = 2.0 * math.pi * between(rng, 1.0, 2.5)  # of the soft loop
        self.kp = 0.9 * self.inertia * self.omega ** 2
        self.wind_nm = 3.0 * self.size * between(rng, 0.3, 1.5)
        self.wind_arcsec = math.degrees(self.wind_nm / self.kp) * 3600.0  # what it makes, about
        self.modes = self.draw_modes()

    def draw_modes(self):
        rng, modes, f = self.rng, [], between(self.rng, 15.0, 40.0)
        while f < 0.09 * self.rate_hz and len(modes) < 5:
            gain = between(rng, 0.03, 0.2) * (1 if not modes or rng.random() < 0.8 else -0.4)
            modes.append((f, between(rng, 0.006, 0.02), gain))
            f *= between(rng, 1.5, 2.2)
        return modes

    def text(self, sticky=False):
        """sticky: friction that a sweep cannot pass over."""
        rng, size = self.rng, self.size
        coulomb = 0.4 * self.amplitude_nm if sticky else 0.4 * size
        lines = [
            "[axis]", "site = Study %d" % self.number, "name = hour-angle", "configuration = drawn",
            "[drive]", "loop_rate_hz = %g" % self.rate_hz, "torque_per_unit_nm = %.6g" % (18.0 * size),
            "torque_limit_nm = %.6g" % self.limit_nm, "torque_continuous_nm = %.6g" % (0.4 * self.limit_nm),
            "encoder_counts_per_turn = %.0f" % self.counts, "encoder_lines_per_turn = %d" % self.lines,
            "[controller]", "kp_nm_per_rad = %.6g" % self.kp, "ki_nm_per_rad_s = %.6g" % (1.5 * self.kp),
            "kd_nm_s_per_rad = %.6g" % (1.4 * self.inertia * self.omega),
            "derivative_filter_hz = %.6g" % between(rng, 80.0, 200.0),
            "[requirement]", "jitter_rms_arcsec = %.6g" % self.jitter_arcsec,
            "[plant]", "inertia_kg_m2 = %.6g" % self.inertia,
            "viscous_nm_s_per_rad = %.6g" % (40.0 * size * between(rng, 0.3, 3.0)),
            "delay_s = %.6g" % (between(rng, 0.3, 1.6) / self.rate_hz)]
        for i, (f, zeta, gain) in enumerate(self.modes):
            lines += ["mode%d_hz = %.6g" % (i + 1, f), "mode%d_zeta = %.6g" % (i + 1, zeta),
                      "mode%d_gain = %.6g" % (i + 1, gain)]
        lines += ["[friction]", "coulomb_nm = %.6g" % coulomb, "breakaway_nm = %.6g" % (1.25 * coulomb),
                  "stribeck_arcsec_per_s = 25", "bristle_nm_per_rad = %.6g" % (1e4 * coulomb),
                  "bristle_nm_s_per_rad = %.6g" % (60 * size),
                  "[disturbance]", "seed = %d" % self.number,
                  "wind_rms_nm = %.6g" % (self.wind_nm * (0.2 if sticky else 1.0)), "wind_corner_hz = 0.2",
                  "drive_noise_nm_per_rthz = %.6g" % (0.03 * size),
                  "encoder_noise_arcsec = %.6g" % self.noise_arcsec,
                  "ripple_nm = %.6g" % (0.3 * size), "ripple_per_turn = 264"]
        return "\n".join(lines) + "\n"

    def log(self, name, kind, extra=(), angle_deg=None, pointing=None):
        """A log and the pointing it has for itself; extra overrides."""
        keys = {"kind": kind, "pointing": pointing or name}
        if kind == "sweep":
            keys.update(ramp_arcsec_per_s=1500, duration_s=self.sweep_s, sweep_from_hz=0.8,
                        sweep_to_hz=0.1 * self.rate_hz, amplitude_nm="%.6g" % self.amplitude_nm,
                        quiet_before_s=BEFORE_S, quiet_after_s=AFTER_S, fade_s=0.5,
                        position_limit_arcsec=150, speed_limit_arcsec_per_s=400)
        else:
            keys.update(duration_s=self.log_s)
        if kind == "track":
            keys.update(ramp_arcsec_per_s=15.041)
        keys.update(extra)
        place = "" if pointing else "[pointing %s]\nangle_deg = %.6f\n" % (
            name, self.angle_deg if angle_deg is None else angle_deg)
        return place + "[log %s]\n" % name + "".join("%s = %s\n" % item for item in keys.items())


# ---- cases ------------------------------------------------------------------------------------------

class Case:
    """finding, kind of log, keys(axis, small) that make it, and how near row and value must be:
    rows None: not compared; accuracy (relative, absolute), None: not compared. sign: of the finding's
    value against that of the truth. sticky: on the axis with more friction, with a quiet log. measure: no
    finding is to be raised, but this measure taken; want(axis, small) what it is in truth. hard: beyond
    what the reader promises; told by the long study, not judged."""

    def __init__(self, name, finding, kind, keys, rows=None, accuracy=None, angle=None, sign=1,
                 sticky=False, measure=None, want=None, hard=False):
        self.name, self.finding, self.kind, self.keys = name, finding, kind, keys
        self.rows, self.accuracy, self.angle = rows, accuracy, angle
        self.sign, self.sticky = sign, sticky
        self.measure, self.want, self.hard = measure, want, hard


def at(axis):
    """Somewhere in the middle of the sweep."""
    return "%.4f" % axis.rng.uniform(BEFORE_S + 1.0, BEFORE_S + axis.sweep_s - 3.0)


def keys(**pairs):
    return {"trouble_" + name: value for name, value in pairs.items()}


def held_lag(rows):
    """Delay, at low frequency, of a first-order lag sampled once a row behind a command held for a row, the
    half row of the hold left out."""
    return 1.0 / (1.0 - math.exp(-1.0 / rows)) - 0.5


EXACT = (0.0, 0.0)


CASES = [
    Case("a word for a number", "unreadable", "hold", lambda a, s: keys(unreadable_at_s=3)),
    Case("a few rows only", "too-short", "hold", lambda a, s: keys(rows=60 if s else 20), None, EXACT),
    Case("stamps run fast", "rate-differs", "sweep",
         lambda a, s: keys(rate_ppm=(1300 if s else 20000) * a.rng.choice([-1, 1])), None, (1e-5, 0.0)),
    Case("stamps scatter", "stamps-uneven", "sweep",
         lambda a, s: keys(stamp_scatter_s=(0.11 if s else 0.13) / a.rate_hz), None, (0.1, 0.0)),
    # Gaussian: one stamp in a hundred is off by more than half a period
    Case("stamps scatter widely", "stamps-uneven", "sweep",
         lambda a, s: keys(stamp_scatter_s=(0.2 if s else 0.3) / a.rate_hz), None, (0.1, 0.0), hard=True),
    Case("stamps in steps", "stamps-uneven", "sweep",
         lambda a, s: keys(stamp_step_s=(2.0 if s else 8.0) / a.rate_hz), None, (0.01, 0.0)),
    Case("rows missing", "samples-missing", "sweep",
         lambda a, s: keys(missing_rows=1 if s else 60, missing_at_s=at(a)), 1, EXACT),
    Case("rows twice", "stamps-repeated", "sweep",
         lambda a, s: keys(repeated_rows=1 if s else 3, repeated_at_s=at(a)), 1, EXACT),
    Case("stamps twice", "stamps-repeated", "sweep",
         lambda a, s: keys(repeated_stamps=1 if s else 3, repeated_at_s=at(a)), 1, EXACT),
    Case("clock set back", "stamps-backward", "sweep",
         lambda a, s: keys(backward_s=0.01 if s else 2, backward_at_s=at(a)), 1, (1e-6, 0.0)),
    Case("one stamp back", "stamps-backward", "sweep",
         lambda a, s: keys(backward_s=0.02, backward_rows=1, backward_at_s=at(a)), 1, (1e-6, 0.0)),
    Case("counts wrap", "encoder-wrapped", "sweep",
         lambda a, s: dict(keys(wrap_counts="%.0f" % (2 ** 24 if s else a.counts),
                                wrap_signed="yes"), log_angle_unit="counts"), 1, EXACT,
         angle=lambda a, s: 180.0 * 2 ** 24 / a.counts if s else 180.0),
    Case("degrees wrap", "encoder-wrapped", "track",
         lambda a, s: dict(keys(wrap_deg=360), log_angle_unit="deg"), 1, None, angle=lambda a, s: 0.0),
    Case("torque dead", "dead-channel", "hold", lambda a, s: keys(dead="torque"), 0, (1e-6, 0.0)),
    Case("position dead", "dead-channel", "sweep", lambda a, s: keys(dead="position"), 0, (1e-6, 0.0)),
    Case("position stuck", "stuck-channel", "sweep",
         lambda a, s: keys(stuck="position", stuck_s=0.02 if s else 0.5, stuck_at_s=at(a)), 1, (0.0, 0.0015)),
    Case("torque stuck", "stuck-channel", "sweep",
         lambda a, s: keys(stuck="torque", stuck_s=0.02 if s else 0.5, stuck_at_s=at(a)), 1, (0.0, 0.0015)),
    Case("no target", "target-missing", "track", lambda a, s: keys(no_target="yes")),
    Case("nothing injected", "no-excitation", "sweep", lambda a, s: keys(excitation_scale=0)),
    Case("torque scale too large", "torque-above-limit", "sweep",
         lambda a, s: keys(torque_scale=10 if s else 40), None, (1e-3, 0.0)),
    # a limit that nobody stated may be sure on one side only
    Case("drive saturates below its limit", "torque-saturated", "sweep",
         lambda a, s: keys(saturation_nm="%.6g" % ((0.97 if s else 0.7) * a.amplitude_nm)), 5, (0.35, 0.0)),
    Case("drive on its stated limit", "torque-saturated", "sweep",
         lambda a, s: {"amplitude_nm": "%.6g" % ((1.02 if s else 1.5) * a.limit_nm),
                       "position_limit_arcsec": 1e5, "speed_limit_arcsec_per_s": 1e5,
                       "ramp_arcsec_per_s": 40000}, 5, (0.05, 0.0)),
    Case("glitches", "encoder-glitch", "sweep",
         lambda a, s: keys(glitches=1 if s else 7, glitch_arcsec="%.6g" % (
             40 * a.noise_arcsec + 10 * a.step_arcsec + 0.5 if s else 200)), 0, EXACT),
    Case("coarse steps", "quantisation-coarse", "sweep",
         lambda a, s: keys(position_step_arcsec="%.9g" % ((8 if s else 64) * a.step_arcsec)), None,
         (0.01, 0.0)),
    Case("single precision, degrees", "position-float32", "sweep",
         lambda a, s: dict(keys(float32="yes"), log_angle_unit="deg"), None, (0.01, 0.0),
         angle=lambda a, s: 100.0 if s else 170.0),
    Case("single precision, radians", "position-float32", "sweep",
         lambda a, s: dict(keys(float32="yes"), log_angle_unit="rad"), None, (0.01, 0.0),
         angle=lambda a, s: 70.0 if s else 130.0),
    Case("noisy encoder", "noise-high", "hold",
         lambda a, s: keys(encoder_noise_arcsec="%.6g" % ((6 if s else 20) * a.jitter_arcsec)), None,
         (0.1, 0.0)),
    # so many lines that a resonance beside one is told from it
    Case("interpolation error", "interpolation-error", "hold",
         lambda a, s: dict(keys(interpolation1_arcsec="%.6g" % ((1 if s else 3) * a.jitter_arcsec),
                                interpolation2_arcsec="%.6g" % (0.1 * a.jitter_arcsec)),
                           ramp_arcsec_per_s="%.6g" % (1296000.0 / a.lines * 770.0 / a.log_s)), None, (0.25, 0.0)),
    Case("position drifts", "position-drift", "hold",
         lambda a, s: keys(drift_arcsec_per_s="%.6g" % ((0.6 if s else 3) * a.wind_arcsec * a.rng.choice([-1, 1]))),
         None, (0.3, 0.0)),
    Case("another scale", "scale-differs", "sweep",
         lambda a, s: keys(position_scale=1.005 if s else 0.9), None, (1e-3, 0.0)),
    Case("torque a row late", "columns-skewed", "sweep",
         lambda a, s: keys(skew="torque", skew_samples=1 if s else 4), None, (0.0, 0.1), sign=-1),
    Case("excitation a row early", "columns-skewed", "sweep",
         lambda a, s: keys(skew="excitation", skew_samples=-1 if s else -3), None, (0.0, 0.1)),
    Case("position a row late", "columns-skewed", "sweep",
         lambda a, s: keys(skew="position", skew_samples=1 if s else 3), None, (0.0, 0.1)),
    Case("position late in a hold", "columns-skewed", "hold",
         lambda a, s: keys(skew="position", skew_samples=2), None, (0.0, 0.1)),
    Case("current for the command", "torque-measured", "sweep",
         lambda a, s: keys(measured="instead", measured_lag_s="%.6g" % ((0.8 if s else 4) / a.rate_hz),
                           measured_noise_nm="%.6g" % (0.002 * a.amplitude_nm)), None, (0.1, 0.0)),
    Case("current beside the command", "(none)", "sweep",
         lambda a, s: keys(measured="beside", measured_lag_s="%.6g" % ((0.8 if s else 4) / a.rate_hz),
                           measured_noise_nm="%.6g" % (0.002 * a.amplitude_nm)), None, (0.1, 0.0),
         measure="current_lag_s", want=lambda a, s: held_lag(0.8 if s else 4) / a.rate_hz),
    Case("torque's sign wrong", "torque-sign", "sweep",
         lambda a, s: keys(torque_flipped="torque" if s else "all")),
    Case("torque's sign wrong in a hold", "torque-sign", "hold", lambda a, s: keys(torque_flipped="all")),
    Case("sweep too narrow", "band-narrow", "sweep", lambda a, s: keys(sweep_to_hz=5 if s else 2)),
    Case("sweep too weak", "coherence-low", "sweep",
         lambda a, s: keys(excitation_scale=0.003 if s else 0.001)),
    Case("axis turns back", "velocity-reversal", "sweep",
         lambda a, s: {"ramp_arcsec_per_s": 0 if s else 100}, None, (0.35, 0.0)),
    Case("friction at rest", "friction-suspected", "sweep",
         lambda a, s: {"ramp_arcsec_per_s": 15 if s else 100}, sticky=True),
]

# kind and format; a drive's raw units are no trouble
CLEAN = [
    ("sweep", {}), ("hold", {}), ("track", {}),
    ("sweep", dict(log_angle_unit="counts", log_torque_unit="permille", log_time="ms", log_names="drive",
                   log_separator="semicolon", log_decimal="comma", log_heading_rows=6)),
    ("track", dict(log_angle_unit="deg", log_torque_unit="a", log_time="us", log_units_row="yes",
                   log_separator="tab", log_gzip="no")),
]


def describe_coarse(axis):
    """A description of clean tracks under an encoder of 1e5 to 1e7 counts: on ramps of whole counts a row, nearly
    so, and at the speed of the stars, in counts and in arcsec."""
    rng = random.Random(-axis.number)
    counts = round(between(rng, 1e5, 1e7))
    text = re.sub("encoder_counts_per_turn = .*", "encoder_counts_per_turn = %d" % counts, axis.text())
    whole = 1296000.0 / counts * axis.rate_hz * max(1, round(4000.0 * counts / 1296000.0 / axis.rate_hz))
    for i, ramp in enumerate((whole, whole, 1.0002 * whole, 15.041)):
        text += axis.log("clean-coarse-%d" % i, "track", {
            "ramp_arcsec_per_s": "%.12g" % ramp, "log_angle_unit": ("counts", "arcsec")[i % 2]})
    return text


# ---- running ----------------------------------------------------------------------------------------

def run(*words, allowed=(0,)):
    done = subprocess.run(words, capture_output=True, text=True, check=False)
    if done.returncode not in allowed:
        raise RuntimeError("%s\n%s" % (" ".join(words), done.stderr))
    return done.stdout


def inspect(folder, description):
    """Truth and what inspect says of each log of a description, by name."""
    path, book = os.path.join(folder, "axis.txt"), os.path.join(folder, "book")
    with open(path, "w", encoding="utf-8") as f:
        f.write(description)
    run(SIMULATE, "simulate", "--quiet", path, book)
    with open(os.path.join(book, "truth.json"), encoding="utf-8") as f:
        truth = {log["name"]: log.get("troubles", []) for log in json.load(f)["logs"]}
    found = json.loads(run(INSPECT, "inspect", "--json", "--quiet", book, allowed=(0, 1)))
    subprocess.run(["rm", "-rf", book], check=False)
    return truth, {log["name"]: log for log in found["logs"]}


def describe(axis, cases, clean, small, sticky):
    """A description with every case in one log of its own, and the clean logs; or the sticky cases."""
    text = axis.text(sticky)
    for i, case in enumerate(cases):
        if case.sticky != sticky:
            continue
        name = "case-%02d" % i
        text += axis.log(name, case.kind, case.keys(axis, small),
                         case.angle(axis, small) if case.angle else None)
        if sticky:
            text += axis.log("quiet-%02d" % i, "hold", {"ramp_arcsec_per_s": 15}, pointing=name)
    if not sticky:
        for i, (kind, form) in enumerate(clean):
            text += axis.log("clean-%d" % i, kind, form)
    return text


# ---- counting ---------------------------------------------------------------------------------------

class Score:
    """What became of one case in all axes."""

    def __init__(self):
        self.made = self.named = self.placed = self.valued = 0
        self.errors, self.also, self.misses = [], collections.Counter(), []

    def value(self, case, value, want, where):
        error = abs(value - want)
        self.errors.append(error / abs(want) if want else error)
        if error <= case.accuracy[0] * abs(want) + case.accuracy[1]:
            self.valued += 1
        else:
            self.misses.append("%s: value %.6g, in truth %.6g" % (where, value, want))

    def add_measure(self, case, axis, small, log, where):
        estimate = log["measures"][case.measure]
        self.made += 1
        self.also.update(f["name"] for f in log["findings"])
        if estimate["value"] is None:
            self.misses.append("%s: not measured" % where)
            return
        self.named += 1
        self.placed += 1
        self.value(case, estimate["value"], case.want(axis, small), where)

    def add(self, case, truth, findings, where):
        told = [t for t in truth if t["finding"] == case.finding]
        assert told, "%s: the truth tells no %s but %s" % (where, case.finding, truth)
        told, known = told[0], {t["finding"] for t in truth}
        self.made += 1
        self.also.update(f["name"] for f in findings if f["name"] not in known)
        mine = [f for f in findings if f["name"] == case.finding]
        if not mine:
            self.misses.append("%s: not found; raised: %s" % (
                where, ", ".join(f["name"] for f in findings) or "nothing"))
            return
        self.named += 1
        want = case.sign * told["value"]
        best = min(mine, key=lambda f: abs((f["value"] or 0.0) - want))
        if case.rows is None or abs(best["row"] - told["row"]) <= case.rows:
            self.placed += 1
        else:
            self.misses.append("%s: row %d, in truth %d" % (where, best["row"], told["row"]))
        if case.accuracy is None:
            self.valued += 1
            return
        self.value(case, best["value"], want, where)

    def good(self):
        return self.made == self.named == self.placed == self.valued

    def line(self, case):
        errors = sorted(self.errors)
        value = "%8.2g %8.2g" % (errors[len(errors) // 2], errors[-1]) if errors else "%17s" % "-"
        also = ", ".join("%s %d" % pair for pair in self.also.most_common()) or "-"
        return "%-20s %-32s %4d %5d %5d %5d %s  %s" % (
            case.finding, case.name, self.made, self.named, self.placed, self.valued, value, also)


def study(numbers, cases, clean, tell=print, coarse=False, **size):
    """coarse: with the clean tracks of describe_coarse() too. Scores by case, alarms by name and clean
    log, number of clean logs; size: of the axes' logs."""
    scores, alarms, n_clean = [Score() for _ in cases], [], 0
    with tempfile.TemporaryDirectory() as folder:
        for number in numbers:
            small = number % 2 == 1
            axis = Axis(number, **size)
            truth, found = inspect(folder, describe(axis, cases, clean, small, False))
            if any(case.sticky for case in cases):
                for all_logs, more in zip((truth, found),
                                          inspect(folder, describe(axis, cases, clean, small, True))):
                    all_logs.update(more)
            for i, case in enumerate(cases):
                name = "case-%02d" % i
                where = "axis %d, %s (%s)" % (number, case.name, "small" if small else "moderate")
                if case.measure:
                    scores[i].add_measure(case, axis, small, found[name], where)
                else:
                    scores[i].add(case, truth[name], found[name]["findings"], where)
            for i, (kind, _) in enumerate(clean):
                name = "clean-%d" % i
                assert not truth[name], "axis %d is not clean: %s" % (number, truth[name])
                n_clean += 1
                alarms += [("axis %d, %s" % (number, kind), f) for f in found[name]["findings"]]
            _, tracks = inspect(folder, describe_coarse(axis)) if coarse else ({}, {})
            for name, log in tracks.items():
                n_clean += 1
                alarms += [("axis %d, %s" % (number, name), f) for f in log["findings"]]
            tell("# axis %d done" % number)
    return scores, alarms, n_clean


def main():
    axes = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    scores, alarms, n_clean = study(range(first, first + axes), CASES, CLEAN, coarse=True,
                                    tell=lambda text: print(text, file=sys.stderr, flush=True))
    print("%-20s %-32s %4s %5s %5s %5s %17s  %s" % (
        "finding", "injected", "logs", "found", "row", "value", "value error", "also raised"))
    print("%-20s %-32s %4s %5s %5s %5s %8s %8s" % ("", "", "", "", "", "", "middle", "largest"))
    for case, score in zip(CASES, scores):
        print(score.line(case))
    by_name = collections.Counter(f["name"] for _, f in alarms)
    logs = len({where for where, _ in alarms})
    print("false alarms in %d clean logs: %d logs; %s" % (
        n_clean, logs, ", ".join("%s %d" % pair for pair in by_name.most_common()) or "none"))
    for score in scores:
        for miss in score.misses:
            print("  " + miss)
    for where, finding in alarms:
        print("  clean: %s: %s: %s" % (where, finding["name"], finding.get("text", "")))
    return 0 if all(s.good() or c.hard for c, s in zip(CASES, scores)) and logs <= max(1, n_clean // 50) else 1


if __name__ == "__main__":
    sys.exit(main())
