#!/usr/bin/python3
"""Is every wrong setting caught by precheck, and none invented?

usage: precheck_study.py [AXES] [FIRST]     (default 100, 1)

Each axis is drawn at random: inertia 20..20000 kg m^2, friction, encoder, noise, modes, torque
constant, loop rate, soft gains, what the drawings say of it. Some are as their settings say, most have
one wrong setting of ten kinds, some have two. First motions are simulated as an engineer would take
them: sized by what the drawings say, and by hand where a wrong sign would let the loop run away; the
logs that such a loop makes, short ones that end with the drive's trip, are given to precheck too.

Told at the end: kind by kind how many were injected and caught and what else was raised; false alarms;
coverage of the 95 % intervals of the estimates. Exit 1 where a wrong setting is missed or one is
invented.  SPDX-License-Identifier: GPL-3.0-or-later
"""
import json
import math
import os
import random
import subprocess
import sys
import tempfile
from concurrent.futures import ThreadPoolExecutor

ROOT = os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "..")
PROGRAM = os.environ.get("QUIETAXIS", os.path.join(ROOT, "build", "quietaxis"))
ARCSEC = math.pi / 648000.0
DEGREE = math.pi / 180.0

# Kind: the variants of it, as keys of [mismatch]; the checks that catch it; others that may rightly be
# raised with it, because the logs cannot tell the two apart.
KINDS = {
    "counts": ([{"counts_factor": f} for f in (4, 0.25, 1.01, 0.99)], {"counts-per-turn"},
               {"limit-low", "limit-high"}),
    "encoder sign": ([{"encoder_sign": -1}], {"encoder-sign"}, set()),
    "torque sign": ([{"torque_sign": -1}], {"torque-sign"}, set()),
    # less torque per ampere is what a commutation angle that is off does, too
    "torque per unit": ([{"torque_factor": f} for f in (math.sqrt(2), math.sqrt(0.5), 1.1, 0.9)],
                        {"torque-per-unit"}, {"commutation"}),
    "inertia": ([{"inertia_factor": f} for f in (1.3, 1 / 1.3)], {"inertia"}, set()),
    "index slips": ([{"index": f} for f in (5, 10, 20)], {"index-repeatability"}, set()),
    "commutation": ([{"commutation_offset_deg": d} for d in (30, -30)], {"commutation"},
                    {"torque-per-unit"}),
    "brake rubs": ([{"friction_factor": f} for f in (2.5, 4)], {"friction"}, set()),
    "soft limit dead": ([{"low_limit_acts": "no"}, {"high_limit_acts": "no"}],
                        {"limit-low", "limit-high"}, set()),
    "trip dead": ([{"following_error_acts": "no"}], {"following-error"}, set()),
}


def log_uniform(rng, low, high):
    return math.exp(rng.uniform(math.log(low), math.log(high)))


class Axis:
    """One axis: what is true, what is stated, and the motions made with it."""

    def __init__(self, seed, kinds, rate_hz=None):
        rng = random.Random(seed)
        self.seed, self.kinds = seed, kinds
        self.mismatch = {}
        for kind in kinds:
            self.mismatch.update(rng.choice(KINDS[kind][0]))
        self.rate_hz = rate_hz or rng.choice((1000, 2000, 4000))
        self.name = rng.choice(("altitude", "declination", "hour-angle", "rotator"))
        self.latitude_deg = rng.uniform(-50, 50)
        self.inertia = log_uniform(rng, 20, 20000)
        # a direct drive's torque limit turns the axis at 0.15..1 rad/s^2
        self.torque_limit = self.inertia * log_uniform(rng, 0.15, 1.0)
        self.torque_per_unit = self.torque_limit / rng.uniform(8, 60)
        self.coulomb = self.torque_limit * log_uniform(rng, 0.002, 0.04)
        self.counts = round(2 ** rng.uniform(20, 28))
        self.noise_arcsec = log_uniform(rng, 0.002, 0.1)
        self.pole_pairs = rng.randint(8, 60)
        self.ripple = self.coulomb * rng.uniform(0.02, 0.3)
        self.drive_noise = self.torque_limit * log_uniform(rng, 2e-5, 2e-4)
        self.wind = self.torque_limit * log_uniform(rng, 1e-5, 3e-4)  # the dome is closed
        self.viscous = self.inertia * rng.uniform(0.0, 0.05)
        self.modes = sorted(rng.uniform(8, 0.2 * self.rate_hz) for _ in range(rng.randint(0, 4)))
        self.modes = [(f, rng.uniform(0.004, 0.02), rng.uniform(0.02, 0.2)) for f in self.modes]
        self.crossover_hz = rng.uniform(1.0, 2.5)
        self.presliding_arcsec = log_uniform(rng, 5, 100)
        # the drawings: a right axis is within what they allow
        self.inertia_std = rng.uniform(0.04, 0.06)
        self.stated_inertia = self.inertia * (1 + self.inertia_std * rng.uniform(-1, 1))
        self.stated_coulomb = self.coulomb * rng.uniform(0.85, 1.15)
        self.index_limit = max(2.0, 3 * 1296000.0 / self.counts)
        if "index" in self.mismatch:
            self.mismatch["index_scatter_arcsec"] = self.mismatch.pop("index") * self.index_limit
        self.following_deg = rng.uniform(0.15, 0.5)
        self.rng = rng

    def loop_runs_away(self):
        return self.mismatch.get("encoder_sign", 1) * self.mismatch.get("torque_sign", 1) < 0

    def drive(self):
        return {
            "loop_rate_hz": self.rate_hz, "torque_per_unit_nm": self.torque_per_unit,
            "torque_limit_nm": self.torque_limit, "encoder_counts_per_turn": self.counts,
            "travel_limit_deg": "-90 90", "rate_limit_deg_per_s": 3,
            "following_error_limit_deg": self.following_deg, "pole_pairs": self.pole_pairs,
        }

    def controller(self):
        """PD of damping 0.7 with a slow integrator, by the inertia of the drawings."""
        w = 2 * math.pi * self.crossover_hz / 1.5
        kp = self.stated_inertia * w * w
        return {"kp_nm_per_rad": kp, "ki_nm_per_rad_s": kp * w / 8,
                "kd_nm_s_per_rad": 1.6 * self.stated_inertia * w, "derivative_filter_hz": 60}

    def expected(self):
        way_deg = (3 * DEGREE) ** 2 * self.inertia / (2 * self.torque_limit) / DEGREE
        return {"inertia_kg_m2": self.stated_inertia,
                "inertia_std_kg_m2": self.stated_inertia * self.inertia_std,
                "coulomb_nm": self.stated_coulomb, "stop_room_deg": 3 * way_deg,
                "index_repeat_arcsec": self.index_limit, "commutation_offset_deg": 15}

    def plant(self):
        keys = {"inertia_kg_m2": self.inertia, "viscous_nm_s_per_rad": self.viscous,
                "delay_s": self.rng.uniform(0.5, 2.0) / self.rate_hz}
        for i, (f, zeta, gain) in enumerate(self.modes, 1):
            keys.update({"mode%d_hz" % i: f, "mode%d_zeta" % i: zeta, "mode%d_gain" % i: gain})
        return keys

    def friction(self):
        stiffness = self.coulomb / (self.presliding_arcsec * ARCSEC)
        return {"coulomb_nm": self.coulomb, "breakaway_nm": self.coulomb * self.rng.uniform(1, 1.4),
                "stribeck_arcsec_per_s": self.rng.uniform(10, 60), "bristle_nm_per_rad": stiffness,
                "bristle_nm_s_per_rad": 0.6 * math.sqrt(stiffness * self.inertia)}

    def disturbance(self):
        return {"seed": self.seed, "wind_rms_nm": self.wind, "wind_corner_hz": 0.2,
                "drive_noise_nm_per_rthz": self.drive_noise,
                "encoder_noise_arcsec": self.noise_arcsec, "ripple_nm": self.ripple,
                "ripple_per_turn": 12 * self.pole_pairs}

    def logs(self):
        rng = self.rng
        pulse = max(0.2 * self.torque_limit, 4 * self.stated_coulomb)
        arm = rng.choice((-1, 1)) * rng.uniform(0.4, 1.2)
        tilt = abs(self.latitude_deg) * DEGREE if self.name == "hour-angle" else 0.0
        weight = max(0.15 * self.torque_limit, 3 * self.stated_coulomb)
        load = {"kind": "load", "pointing": "p0", "move_deg": 3, "speed_deg_per_s": 0.5,
                "load_arm_m": arm, "load_arm_std_m": 0.001}
        # far enough to run out over some periods of the ripple
        ripples = 4 * 30.0 / self.pole_pairs
        slowing = self.stated_coulomb / self.stated_inertia / DEGREE
        coast = min(3.0, math.sqrt(2 * slowing * ripples))
        move = {"kind": "move", "pointing": "p0", "move_deg": rng.choice((-1, 1)) * 20,
                "speed_deg_per_s": 4, "known_angle_std_deg": rng.uniform(0.005, 0.02)}
        if self.loop_runs_away() or rng.random() < 0.3:
            move["by"] = "hand"
        # passes slow enough for the samples, far enough for a slipping mark, there and back
        step_arcsec = 0.25 * self.index_limit
        logs = {"pulse%d" % i: {"kind": "pulse", "pointing": "p%d" % i, "pulse_nm": pulse,
                                "pulse_s": 0.25, "pulses": 4} for i in range(3)}
        logs["move"] = move
        for way, name in ((1, "coast-up"), (-1, "coast-down")):
            logs[name] = {"kind": "coast", "pointing": "p0", "speed_deg_per_s": way * coast,
                          "coast_s": min(20.0, 1.3 * coast / slowing + 1),
                          "acceleration_deg_per_s2": 3}
        logs["load"] = dict(load, load_kg=weight / (9.8 * abs(arm) * math.cos(tilt)),
                            load_std_kg=0.001 * weight / (9.8 * abs(arm)))
        logs["reference"] = dict(load, load_kg=0)
        for side in ("low", "high"):
            logs[side] = {"kind": "limit", "pointing": side, "limit_side": side,
                          "acceleration_deg_per_s2": 0.4}
        # the target jumps out of reach of the trip, in one of the two
        logs[rng.choice(("low", "high"))]["jump_deg"] = 3 * self.following_deg
        # and by a little less and a little more than the trip allows, where the loop holds the axis
        for name, part in () if self.loop_runs_away() else (("below", 0.98), ("above", 1.05)):
            logs[name] = {"kind": "move", "pointing": "p0", "move_deg": 2, "speed_deg_per_s": 1,
                          "known_angle_std_deg": 0.01, "jump_deg": part * self.following_deg}
        logs["index"] = {"kind": "index", "pointing": "p0", "move_deg": 0.4, "passes": 10,
                         "index_deg": rng.uniform(-0.05, 0.05),
                         "speed_deg_per_s": min(0.5, step_arcsec * self.rate_hz / 3600.0)}
        return logs

    def description(self):
        electrical = 360.0 / self.pole_pairs
        sections = {
            "axis": {"name": self.name, "latitude_deg": self.latitude_deg}, "drive": self.drive(),
            "controller": self.controller(), "expected": self.expected(), "plant": self.plant(),
            "friction": self.friction(), "disturbance": self.disturbance(),
            "mismatch": self.mismatch,
            "pointing low": {"angle_deg": -89}, "pointing high": {"angle_deg": 89},
        }
        for i in range(3):
            sections["pointing p%d" % i] = {"angle_deg": i * electrical / 3.3}
        for name, keys in self.logs().items():
            sections["log " + name] = keys
        return "".join("[%s]\n%s\n" % (s, "".join("%s = %s\n" % (
            k, v if isinstance(v, str) else "%.9g" % v) for k, v in keys.items()))
            for s, keys in sections.items())

    def truths(self):
        """Of the estimates, whatever was wrong."""
        m = self.mismatch
        kt = m.get("torque_factor", 1) * math.cos(m.get("commutation_offset_deg", 0) * DEGREE)
        return {"counts-per-turn": self.counts * m.get("counts_factor", 1),
                "torque-per-unit": self.torque_per_unit * kt,
                "inertia": self.inertia * m.get("inertia_factor", 1),
                "friction": self.coulomb * m.get("friction_factor", 1)}


def run(*words, allowed=(0,)):
    done = subprocess.run([PROGRAM, *words], capture_output=True, text=True, check=False)
    if done.returncode not in allowed:
        raise RuntimeError("%s\n%s" % (" ".join(words), done.stderr))
    return done.stdout


def drop_stopped_coasts(book):
    """A coast that somebody ended with the emergency stop, as he does where a wrong scale makes the
    axis three times too fast, shows the brake; he knows and does not call it a coast."""
    with open(os.path.join(book, "truth.json"), encoding="utf-8") as f:
        stopped = [log["name"] for log in json.load(f)["logs"]
                   if log["kind"] == "coast" and log["motion"]["end"] == "stopped"]
    with open(os.path.join(book, "axis.ini"), encoding="utf-8") as f:
        sections = ("\n" + f.read()).split("\n[")
    kept = [s for s in sections if not any(s.startswith("log %s]" % name) for name in stopped)]
    with open(os.path.join(book, "axis.ini"), "w", encoding="utf-8") as f:
        f.write("\n[".join(kept))


def precheck(axis, folder):
    """The checks of one axis, by name."""
    book = os.path.join(folder, "axis-%d" % axis.seed)
    path = book + ".ini"
    with open(path, "w", encoding="utf-8") as f:
        f.write(axis.description())
    run("simulate", "--quiet", "--threads", "1", path, book)
    drop_stopped_coasts(book)
    result = json.loads(run("precheck", "--json", "--threads", "1", book, allowed=(0, 1)))
    if not os.environ.get("PRECHECK_KEEP"):
        subprocess.run(["rm", "-rf", book, path], check=False)
    return {check["name"]: check for check in result["checks"]}


# Two that one check cannot tell apart, or of which one keeps the other from being tested.
SIGNS = {"encoder sign", "torque sign"}
WITH_A_SIGN = SIGNS | {"counts", "inertia"}


def together(one, other):
    if SIGNS & {one, other}:
        return {one, other} <= WITH_A_SIGN
    if "counts" in (one, other):
        return "brake rubs" not in (one, other)
    return {one, other} != {"torque per unit", "commutation"}


def assign(n, first):
    """Which kinds each axis gets: three in ten none, one in ten two, the kinds in turn."""
    names = list(KINDS)
    out, turn = [], 0
    for i in range(n):
        number = (0, 1, 1, 0, 1, 1, 2, 1, 0, 1)[(i + first - 1) % 10]
        chosen = []
        for k in range(number):
            fit = [name for name in names[turn:] + names[:turn]
                   if name not in chosen and all(together(name, c) for c in chosen)]
            chosen.append(fit[0 if k == 0 else (i // 10) % len(fit)])
        turn = (turn + (1 if number else 0)) % len(names)
        out.append(chosen)
    return out


def judge(axis, checks):
    """Kinds missed; alarms that none of the kinds explains."""
    raised = {name for name, check in checks.items() if check["answer"] == "disagrees"}
    missed = [kind for kind in axis.kinds if not raised & KINDS[kind][1]]
    explained = set().union(*(KINDS[kind][1] | KINDS[kind][2] for kind in axis.kinds))
    return raised, missed, raised - explained


def measured(check):
    value = check["measured"]
    return (value["value"], value["std"]) if isinstance(value, dict) else (None, None)


def study(axes, folder, workers=2):
    with ThreadPoolExecutor(workers) as pool:
        return list(zip(axes, pool.map(lambda axis: precheck(axis, folder), axes)))


def tell(outcome):
    """The table; how many were missed and invented."""
    table = {kind: [0, 0, {}] for kind in KINDS}
    right = alarms = missed_all = invented_all = 0
    errors = {name: [] for name in ("counts-per-turn", "torque-per-unit", "inertia", "friction")}
    untested = {}
    for axis, checks in outcome:
        raised, missed, invented = judge(axis, checks)
        right += not axis.kinds
        alarms += not axis.kinds and bool(raised)
        missed_all += len(missed)
        invented_all += len(invented)
        for kind in axis.kinds:
            row = table[kind]
            row[0] += 1
            row[1] += kind not in missed
            own = set().union(*(KINDS[k][1] for k in axis.kinds))
            for name in raised - own:
                row[2][name] = row[2].get(name, 0) + 1
        for name, check in checks.items():
            if not axis.kinds and check["answer"] == "not tested":
                untested[name] = untested.get(name, 0) + 1
        for name, true in axis.truths().items():
            value, std = measured(checks[name])
            if value is not None and std:
                errors[name].append((value - true) / std)
        if missed or invented:
            print("axis %d (%s): missed %s, invented %s" % (
                axis.seed, json.dumps(axis.mismatch), missed or "none", sorted(invented) or "none"))
    print("\n%-16s %8s %6s  %s" % ("kind", "injected", "caught", "also raised"))
    for kind, (injected, caught, also) in table.items():
        print("%-16s %8d %6d  %s" % (kind, injected, caught, ", ".join(
            "%s %d" % item for item in sorted(also.items()))))
    print("\n%d axes, %d of them right: %d right ones with a false alarm; missed %d, invented %d"
          % (len(outcome), right, alarms, missed_all, invented_all))
    print("not tested on the right axes: %s" % (", ".join(
        "%s %d" % item for item in sorted(untested.items())) or "nothing"))
    print("\n95 % intervals that hold the truth:")
    for name, e in errors.items():
        inside = sum(abs(x) <= 1.96 for x in e)
        if e:
            print("  %-16s %3d of %3d  (%.0f %%), |error|/std rms %.2f largest %.1f" % (
                name, inside, len(e), 100 * inside / len(e),
                math.sqrt(sum(x * x for x in e) / len(e)), max(abs(x) for x in e)))
    return missed_all, invented_all


def main():
    n = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    axes = [Axis(first + i, kinds) for i, kinds in enumerate(assign(n, first))]
    with tempfile.TemporaryDirectory() as folder:
        return 1 if any(tell(study(axes, os.environ.get("PRECHECK_KEEP", folder)))) else 0


if __name__ == "__main__":
    sys.exit(main())
