"""report_test.py - the page as a browser, a printer and a suspicious reader would take it.

The page comes from probe_report: hand-made results, once with decent names and once with hostile ones.
SPDX-License-Identifier: GPL-3.0-or-later"""
import base64
import html.parser
import os
import re
import subprocess
import sys
import tempfile
import xml.etree.ElementTree as xml

import scipy.stats

BUILD, SOURCE = os.environ["TUNE_BUILD"], os.environ["TUNE_SOURCE"]
PROBE = os.path.join(BUILD, "tests/report/probe_report")
HOSTILE = "<script>`touch x`$(touch x)\"'&"
VOID = {"meta", "img", "br", "link", "hr", "input"}


class Page(html.parser.HTMLParser):
    """Tags balanced, with everything a check may ask for."""

    def __init__(self, text):
        super().__init__(convert_charrefs=True)
        self.open, self.problems, self.tags, self.words = [], [], [], []
        self.feed(text)
        self.close()
        self.problems += [f"<{tag}> never closed" for tag in self.open]

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag):
        if not self.open or self.open[-1] != tag:
            self.problems.append(f"</{tag}> closes {self.open[-1:]}")
        else:
            self.open.pop()

    def handle_data(self, data):
        if self.open and self.open[-1] not in ("style",):
            self.words.append(data)

    def all(self, *names):
        return [attrs for tag, attrs in self.tags if tag in names]


def build(*hostile):
    """The page, and what was left in the folder and the working folder besides the CSV files."""
    with tempfile.TemporaryDirectory() as folder:
        data, scratch, work = (os.path.join(folder, n) for n in ("data", "scratch", "work"))
        for name in (data, scratch, work):
            os.mkdir(name)
        run = subprocess.run([PROBE, data, *hostile], capture_output=True, cwd=work, check=False,
                             env={**os.environ, "TMPDIR": scratch})
        assert run.returncode == 0, run.stderr.decode()
        stray = os.listdir(scratch) + os.listdir(work)
        stray += [n for n in os.listdir(data) if not n.endswith(".csv")]
        return run.stdout, stray


plain_bytes, plain_stray = build()
again_bytes, _ = build()
hostile_bytes, hostile_stray = build(HOSTILE)
plain, hostile = Page(plain_bytes.decode()), Page(hostile_bytes.decode())


def pictures(page):
    prefix = "data:image/svg+xml;base64,"
    for image in page.all("img"):
        assert image["src"].startswith(prefix)
        yield base64.b64decode(image["src"][len(prefix):], validate=True)


def tags_are_balanced():
    assert not plain.problems, plain.problems
    assert not hostile.problems, hostile.problems


def nothing_is_loaded_from_outside():
    for page in (plain, hostile):
        assert not page.all("script", "link", "iframe", "object", "embed", "base", "form")
        for tag, attrs in page.tags:
            for name, value in attrs.items():
                assert not name.startswith("on"), (tag, name)
                if name in ("src", "href", "action", "data", "poster", "srcset"):
                    assert value.startswith(("#", "data:image/svg+xml;base64,")), (tag, value)
    text = plain_bytes.decode()
    style = text[text.index("<style>"):text.index("</style>")]
    assert "url(" not in style and "@import" not in style


def links_lead_to_places_on_the_page():
    ids = [attrs["id"] for _, attrs in plain.tags if "id" in attrs]
    assert len(ids) == len(set(ids))
    links = [attrs["href"][1:] for attrs in plain.all("a")]
    assert links and set(links) <= set(ids), set(links) - set(ids)


def pictures_are_whole_and_harmless():
    for page in (plain, hostile):
        count = 0
        for svg in pictures(page):
            count += 1
            root = xml.fromstring(svg)
            assert root.tag.endswith("}svg") and root.get("viewBox")
            names = [element.tag.split("}")[1] for element in root.iter()]
            assert "script" not in names and "image" not in names and "foreignObject" not in names
            assert names.count("path") > 10
            for element in root.iter():
                for key, value in element.attrib.items():
                    if key.endswith("href"):
                        assert value.startswith("#"), value
        assert count == 7, count  # three pointings, trade-off, loop, sensitivity, jitter


def axes_name_quantity_and_unit():
    want = [["Frequency (Hz)", "Magnitude (arcsec per N m)", "Phase (deg)", "squared"]] * 3
    want += [["Jitter (arcsec rms)", "Noise torque (N m rms)", "calm", "bold", "present",
              "jitter asked for: 0.1"]]
    want += [["Real part of the open loop (ratio)", "Imaginary part of the open loop (ratio)"],
             ["Frequency (Hz)", "Sensitivity |S| (dB)", "Complementary |T| (dB)"],
             ["Frequency (Hz)", "Rms below (arcsec)", "/Hz)"]]
    for svg, labels in zip(pictures(plain), want):
        words = "\n".join("".join(e.itertext()) for e in xml.fromstring(svg).iter()
                          if e.tag.endswith("}text"))
        for label in labels:
            assert label in words, (label, words)


def no_word_stands_outside_its_picture():
    for page in (plain, hostile):
        for svg in pictures(page):
            root = xml.fromstring(svg)
            _, _, width, height = map(float, root.get("viewBox").split())
            for group in root.iter("{http://www.w3.org/2000/svg}g"):
                place = re.match(r"translate\(([-\d.]+),([-\d.]+)\)( rotate\(([-\d.]+)\))?",
                                 group.get("transform", ""))
                text = group.find("{http://www.w3.org/2000/svg}text")
                if not place or text is None:
                    continue
                x, y = float(place[1]), float(place[2])
                # 0.55 em a character is generous for a sans-serif face
                length = 0.55 * float(group.get("font-size", 14)) * len("".join(text.itertext()))
                anchor = {"start": 0, "middle": 0.5, "end": 1}[group.get("text-anchor", "start")]
                low, high = (-anchor * length, (1 - anchor) * length)
                if place[4] and float(place[4]) % 180 == 90:  # upwards
                    ends = [(x, y - low), (x, y - high)]
                else:
                    ends = [(x + low, y), (x + high, y)]
                for u, v in ends:
                    assert -2 <= u <= width + 2 and -2 <= v <= height + 2, (
                        "".join(text.itertext()), u, v)


def tables_and_pictures_can_be_read_aloud():
    for attrs in plain.all("th"):
        assert attrs.get("scope") in ("col", "row")
    assert len(plain.all("table")) == len(plain.all("caption"))
    for image in plain.all("img"):
        assert len(image["alt"]) > 20
    levels = [int(tag[1]) for tag, _ in plain.tags if re.fullmatch("h[1-6]", tag)]
    assert levels[0] == 1 and levels.count(1) == 1
    assert all(b <= a + 1 for a, b in zip(levels, levels[1:])), levels
    assert plain.all("html")[0]["lang"] == "en" and plain.all("main") and plain.all("nav")


def rows_are_as_wide_as_their_head():
    width, count, spans = None, 0, []
    for tag, _ in plain.tags:
        if tag == "thead":
            width = None
        if tag in ("thead", "tr", "table") and count:
            spans.append((width, count))
            width = width or count
            count = 0
        if tag in ("th", "td"):
            count += 1
    for head, row in spans:
        assert head is None or head == row, (head, row)
    assert len(spans) > 40


def the_answer_comes_first():
    words = " ".join(" ".join(plain.words).split())
    order = ["Heron Flat 0.8 m, hour-angle", "spectrograph fitted", "2026-05-14",
             "Requirement met: designed, predicted and measured", "0.083 arcsec rms",
             "95 % interval 0.079 to 0.087", "west-45",
             "The line of sight moves more than the encoder shows", "Recommended: calm",
             "with the present gains 1.2", "injure people", "Inertia", "14.8000",
             "recommended", "What each biquad buys", "Gain margin", "Every rung moves the axis",
             "enable-01.ini", "0.56 to 0.84", "One rung at a time.", "sensor noise", "Measured against predicted",
             "the torque stands at its limit in 14 rows", "The encoder is not the sky", "SHA-256"]
    at = 0
    for phrase in order:
        assert phrase in words[at:], phrase
        at = words.index(phrase, at)


def points_between_are_drawn_but_not_listed():
    assert "between-1" not in plain_bytes.decode()
    svg = list(pictures(plain))[3].decode()
    assert "between-1" not in svg and svg.count("<text") > 10


def hostile_words_are_words():
    text = hostile_bytes.decode()
    assert "<script" not in text
    cut = "".join(hostile.words)
    assert cut.count(HOSTILE) > 15, cut.count(HOSTILE)
    assert HOSTILE in [a.get("alt", "") for a in hostile.all("img")][0]


def nothing_is_left_behind():
    assert plain_stray == [] and hostile_stray == [], (plain_stray, hostile_stray)


def the_same_results_give_the_same_bytes():
    assert plain_bytes == again_bytes


def no_path_of_the_machine_is_on_the_page():
    text = plain_bytes.decode() + "".join(s.decode() for s in pictures(plain))
    assert not re.search(r"/(tmp|home|work|var)/", text)


def the_confidence_radius_is_that_of_the_f_distribution():
    with open(os.path.join(SOURCE, "plots/frf.gp"), encoding="utf-8") as script:
        line = next(l for l in script if l.startswith("radius("))
    for dof in (2.0, 7.0, 30.5):
        run = subprocess.run(["gnuplot", "-d", "-e", f"{line.strip()}; print radius(3.0, {dof})"],
                             capture_output=True, check=True)
        want = 3.0 * scipy.stats.f.ppf(0.95, 2, 2 * dof) ** 0.5
        got = float(run.stderr or run.stdout)
        assert abs(got - want) < 1e-6 * want, (dof, got, want)  # digits gnuplot prints


TESTS = [value for value in list(globals().values())
         if callable(value) and getattr(value, "__module__", "") == "__main__"
         and value not in (Page, build, pictures)]
failed = 0
print(f"1..{len(TESTS)}")
for number, test in enumerate(TESTS, 1):
    try:
        test()
        print(f"ok {number} - {test.__name__}")
    except Exception as problem:  # noqa: BLE001  (every failure is a line of the report)
        failed += 1
        print(f"not ok {number} - {test.__name__}\n# {type(problem).__name__}: {problem}"[:3000])
sys.exit(failed > 0)
