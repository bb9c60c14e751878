#!/usr/bin/python3
"""Is a table of responses told from one of the other kind, and no right one refused?

usage: tables_study.py [AXES] [FIRST]     (default 200, 1)

Each axis is drawn at random: inertia 0.01..20000 kg m^2, one to four modes, delay, a loop of 0.5..12 Hz held
by a PID that closes stably on it. A simulated table of its plant or of its open loop, of 50 to 300 points with
noise of 0.1 to 3 per cent, a third of them bent by up to 4 per cent as no axis of the model is, is given to
identify under `of` as it is and as it is not, one of the plant and one of a loop in turn; the plain names of
their columns do not tell.

Told at the end: right tables refused, wrong ones let through, and by which words wrong ones were refused.
Exit 1 where a right one is refused for its `of`, or a wrong one comes through.
SPDX-License-Identifier: GPL-3.0-or-later
"""
import cmath
import gzip
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


def log_uniform(rng, low, high):
    return math.exp(rng.uniform(math.log(low), math.log(high)))


class Axis:
    """What is drawn of one axis: its description, its gains, its tables."""

    def __init__(self, seed):
        rng = random.Random(seed)
        crossover = log_uniform(rng, 0.5, 12.0)
        self.seed, self.bend = seed, rng.random() < 1.0 / 3.0
        self.phase, self.size = rng.uniform(0.0, 2.0 * math.pi), rng.uniform(0.01, 0.04)
        self.inertia = log_uniform(rng, 0.01, 20000.0)
        rate = crossover * log_uniform(rng, 150.0, 1500.0)
        omega = 2.0 * math.pi * crossover
        kd = self.inertia * omega * rng.uniform(0.8, 1.1)
        kp = kd * omega / rng.uniform(2.5, 6.0)
        self.gains = {"kp_nm_per_rad": kp, "ki_nm_per_rad_s": kp * omega / rng.uniform(8.0, 30.0),
                      "kd_nm_s_per_rad": kd}
        if rng.random() < 0.7:
            self.gains["derivative_filter_hz"] = crossover * rng.uniform(10.0, 30.0)
        self.rate = rate
        self.plant = {"inertia_kg_m2": self.inertia,
                      "viscous_nm_s_per_rad": self.inertia * omega * log_uniform(rng, 0.001, 0.03),
                      "delay_s": rng.uniform(0.3, 1.5) / rate}
        frequency = crossover * rng.uniform(3.0, 8.0)
        for k in range(rng.randint(1, 4)):
            gain = log_uniform(rng, 0.02, 0.2)
            self.plant.update({f"mode{k + 1}_hz": frequency, f"mode{k + 1}_zeta": log_uniform(rng, 0.005, 0.03),
                               f"mode{k + 1}_gain": -gain if k > 1 and rng.random() < 0.3 else gain})
            frequency *= rng.uniform(1.2, 2.5)
            if frequency > 0.3 * rate:
                break
        self.table = {"sweep_from_hz": crossover * log_uniform(rng, 0.1, 3.0),
                      "sweep_to_hz": min(0.45 * rate, crossover * log_uniform(rng, 6.0, 60.0)),
                      "points": rng.choice((50, 80, 150, 300)),
                      "response_noise": log_uniform(rng, 0.001, 0.03),
                      "response_std": rng.choice(("column", "coherence", "none"))}

    def head(self):
        keys = lambda of: "".join(f"{key} = {value}\n" for key, value in of.items())
        return (f"[axis]\nname = azimuth\n[drive]\nloop_rate_hz = {self.rate}\n[controller]\n{keys(self.gains)}",
                f"[plant]\n{keys(self.plant)}[disturbance]\nseed = {self.seed}\n[pointing p]\nangle_deg = 0\n"
                + "".join(f"[log {of}]\nkind = response\nof = {of}\npointing = p\n{keys(self.table)}"
                          for of in ("plant", "loop")))

    def bent(self, row):
        """A row of a table, bent smoothly over the decade."""
        f_hz = float(row[0])
        by = 1.0 + self.size * cmath.exp(1j * (self.phase + 4.0 * math.log(f_hz)))
        return [row[0], f"{float(row[1]) + 20.0 * math.log10(abs(by)):.6f}",
                f"{float(row[2]) + math.degrees(cmath.phase(by)):.5f}"] + row[3:]


def program(*words):
    return subprocess.run([PROGRAM, *words], capture_output=True, text=True, check=False)


def identify(folder, axis, table, declared):
    """(exit code, what was said or found)"""
    book = os.path.join(folder, f"{table}-as-{declared}")
    os.makedirs(os.path.join(book, "logs"))
    with gzip.open(os.path.join(folder, "made", "logs", table + ".csv.gz"), "rt", encoding="utf-8") as text:
        rows = [line.strip().split(",") for line in text]
    with open(os.path.join(book, "logs", "table.csv"), "w", encoding="utf-8") as out:
        out.write(",".join(["frequency_hz", "gain_db", "phase_deg", axis.quality][:len(rows[0])]) + "\n")
        for row in rows[1:]:
            out.write(",".join(axis.bent(row) if axis.bend else row) + "\n")
    with open(os.path.join(book, "axis.ini"), "w", encoding="utf-8") as out:
        out.write(axis.head()[0] + "[log table]\nkind = response\nfile = logs/table.csv\n"
                  f"pointing = p\nof = {declared}\n")
    done = program("identify", "--json", "--quiet", book)
    if done.returncode:
        return done.returncode, done.stderr.strip()
    found = json.loads(done.stdout)
    plant = found["pointings"][0]["plant"]
    margins = found["tables"][0].get("model_margins") or {}
    return 0, {"inertia": plant["inertia_kg_m2"]["value"], "chi": plant["fit"]["reduced_chi_square"],
               "stable": margins.get("stable"), "modes": len(plant["modes"])}


def study(seed):
    axis = Axis(seed)
    axis.quality = "coherence" if axis.table["response_std"] == "coherence" else "std"
    with tempfile.TemporaryDirectory() as folder:
        description = os.path.join(folder, "axis.ini")
        with open(description, "w", encoding="utf-8") as out:
            out.write("".join(axis.head()))
        made = program("simulate", "--quiet", description, os.path.join(folder, "made"))
        if made.returncode:
            return seed, axis, {"made": (made.returncode, made.stderr.strip())}
        return seed, axis, {(table, declared): identify(folder, axis, table, declared)
                            for table in (("plant", "loop")[seed % 2],) for declared in ("plant", "loop")}


def main():
    axes = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    count, seed = {"axes": 0, "unstable": 0, "right": 0, "false": 0, "other": 0, "wrong": 0, "missed": 0}, first
    with ThreadPoolExecutor(max_workers=os.cpu_count()) as pool:
        while count["axes"] < axes and seed < first + 4 * axes:
            batch = range(seed, seed + axes - count["axes"])
            seed = batch.stop
            for number, axis, found in pool.map(study, batch):
                if "made" in found:
                    print(f"# {number}: {found['made']}")
                    count["unstable"] += 1
                    continue
                print(f"# {number}: J {axis.inertia:.4g}, {axis.table['points']} points, noise "
                      f"{axis.table['response_noise']:.3g}{', bent' if axis.bend else ''}")
                for (table, declared), (code, what) in found.items():
                    print(f"#    {table} as {declared}: {code} {what}")
                right = found.get(("plant", "plant")) or found[("loop", "loop")]
                if right[0] == 0 and right[1]["stable"] is False:
                    count["unstable"] += 1
                    continue
                count["axes"] += 1
                for (table, declared), (code, what) in found.items():
                    if table == declared:
                        count["right"] += 1
                        count["false"] += code == 3 and "of = " in what
                        count["other"] += code != 0 and not (code == 3 and "of = " in what)
                    else:
                        count["wrong"] += 1
                        count["missed"] += code == 0
    print(f"# {count['axes']} axes ({count['unstable']} more left out: their loop is not stable)")
    print(f"# right tables: {count['right']}, refused for their `of`: {count['false']}, refused for another "
          f"reason: {count['other']}")
    print(f"# wrong tables: {count['wrong']}, let through: {count['missed']}")
    good = count["false"] == 0 and count["missed"] == 0
    print(("ok" if good else "not ok") + " - tables of plant and loop told apart")
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
