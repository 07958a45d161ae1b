"""The report of a library: one page that stands alone, tells what `score` tells, and is fit for every reader."""

import base64
import hashlib
import itertools
import json
import re
from html.parser import HTMLParser
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

from replay.display.guarantee import MAIN
from replay.display.score import apart, baselines_table, claims_table, families_table, reasons, said
from replay.drawing import tradeoff
from replay.ground.wording import percent
from replay.library import read_library
from replay.report.contents import WORST, worst_first
from replay.report.write import write_report
from replay.score import Score, score
from replay.score.comparison import compare_scores
from replay.settings import read_settings
from replay.settings.guarantee import guarantee
from tests.conftest import SETTINGS, entry, trace_csv
from tests.support.command import lubetrip

VOID = {"meta", "br", "img", "link", "hr", "input"}
HOSTILE = "<script>alert(1)</script>\"'&"


class Page(HTMLParser):
    """The page as a reader's program takes it: elements with their attributes and all text in them."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.texts: list[str] = []
        self.open: list[int] = []
        self.unbalanced: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:  # noqa: D102
        self.elements.append((tag, dict(attrs)))
        self.texts.append("")
        if tag not in VOID:
            self.open.append(len(self.elements) - 1)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:  # noqa: D102
        self.elements.append((tag, dict(attrs)))
        self.texts.append("")

    def handle_endtag(self, tag: str) -> None:  # noqa: D102
        if not self.open or self.elements[self.open[-1]][0] != tag:
            self.unbalanced.append(tag)
        else:
            self.open.pop()

    def handle_data(self, data: str) -> None:  # noqa: D102
        for at in self.open:
            self.texts[at] += data

    def all(self, *tags: str) -> list[tuple[dict[str, str | None], str]]:
        """Return attributes and text of each element of these kinds."""
        return [(about, text) for (tag, about), text in zip(self.elements, self.texts, strict=True) if tag in tags]

    def rows(self, caption: str) -> list[list[str]]:
        """Return the cells of the table with this caption, the heads of its columns first."""
        found: list[list[str]] = []
        inside = False
        for (tag, _), text in zip(self.elements, self.texts, strict=True):
            if tag == "caption":
                inside = text.startswith(caption)
            elif inside and tag == "tr":
                found.append([])
            elif inside and tag in ("th", "td"):
                found[-1].append(text.strip())
        return found


MUST_TRIP = "must_trip = { earliest_s = 100.0, deadline_s = 250.0 }"


@pytest.fixture(scope="module")
def hostile(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a small library with every outcome in it, and names that try to be markup."""
    folder = tmp_path_factory.mktemp("hostile")
    (folder / "settings.toml").write_text(SETTINGS)
    (folder / "fault.csv").write_text(trace_csv(400, lambda s: 120.0 if s < 100 else 5.0))
    (folder / "early.csv").write_text(trace_csv(400, lambda s: 120.0 if s < 50 else 5.0))
    (folder / "quiet.csv").write_text(trace_csv(600, lambda s: 120.0))
    text = 'settings = "settings.toml"\n' + entry("fault", MUST_TRIP, "starved")
    text += entry("quiet", "ride_through = true", "steady")
    text += entry("late", "must_trip = { earliest_s = 50.0, deadline_s = 120.0 }", "late & last", "fault.csv")
    text += entry("unseen", "must_trip = { earliest_s = 50.0, deadline_s = 120.0 }", "late & last", "quiet.csv")
    text += entry("too soon", MUST_TRIP, "late & last", "early.csv")
    text += entry("needless", "ride_through = true", "steady", "early.csv")
    text += entry("open end", 'undecided = true\nnote = "ends <starved>"', "open", "early.csv")
    text += entry("x", "ride_through = true").replace('"x"', f'"""{HOSTILE}"""').replace("x.csv", "quiet.csv")
    text = text.replace('machine = "m"', f'machine = """{HOSTILE} $x$"""').replace('family = "open"', 'family = "<b>"')
    (folder / "library.toml").write_text(text, encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def text(hostile: Path) -> str:
    """Return the report of that library."""
    return written(hostile)


@pytest.fixture(scope="module")
def page(text: str) -> Page:
    """Return the same as its reader's program takes it."""
    return Page(text)


def written(library: Path, settings: str = "settings.toml") -> str:
    """Write the report of a library and return it."""
    write_report(library / "report.html", read_library(library), read_settings(library / settings))
    return (library / "report.html").read_text(encoding="utf-8")


def test_headings_are_in_order_and_the_verdict_comes_first(page: Page, text: str) -> None:
    """Catches a level left out, two titles, and a verdict that has to be searched for."""
    levels = [int(tag[1]) for tag, _ in page.elements if re.fullmatch(r"h\d", tag)]
    heads = [text for _, text in page.all("h2")]

    assert page.unbalanced == []
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after - before <= 1 for before, after in itertools.pairwise(levels))
    assert text.index("Acceptance: NOT MET") < text.index("<h2")
    sections = ["Evidence", "Margins", "Worst traces", "Undecided", "Settings", "Cause and effect"]
    assert heads == [*sections, "Digests and versions", "All traces"]


def test_the_page_stands_alone(page: Page, text: str) -> None:
    """Catches a font, script, style sheet or picture that has to come over a network."""
    assert {tag for tag, _ in page.elements} & {"link", "iframe", "object", "base", "form"} == set()
    ((about, script),) = page.all("script")
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    policy = next(str(one["content"]) for one, _ in page.all("meta") if one.get("http-equiv"))
    assert about == {}
    assert policy.startswith("default-src 'none';")
    assert f"script-src 'sha256-{digest}'" in policy
    addresses = [about[key] for _, about in page.elements for key in ("src", "href", "xlink:href") if key in about]
    assert all(address.startswith(("#", "data:image/")) for address in addresses)
    assert set(re.findall(r"\w+://[^\s\"'<)]+", text)) <= {"http://www.w3.org/2000/svg"}
    assert "url(" not in text
    assert "@import" not in text


def test_links_within_the_page_lead_somewhere(page: Page) -> None:
    """Catches a table of contents that went out of step."""
    places = [about["id"] for _, about in page.elements if "id" in about]

    assert len(places) == len(set(places))
    assert {str(about["href"])[1:] for about, _ in page.all("a")} == set(places)


def test_text_from_files_is_only_text(page: Page, text: str) -> None:
    """Catches a trace id, family, machine or note that becomes part of the page."""
    assert text.count("<script") == 1
    assert "<b>" not in text
    assert "alert" not in {key for _, about in page.elements for key in about}
    assert any(words == HOSTILE for _, words in page.all("h3"))
    assert [row[0] for row in page.rows("All traces")].count(HOSTILE) == 1
    assert any("ends <starved>" in row for row in page.rows("Undecided"))


def test_every_picture_is_told_in_words(page: Page) -> None:
    """Catches a picture that a blind reader learns nothing of, and one that is only called a picture."""
    pictures = page.all("svg", "img")

    assert len(pictures) == 1 + 1 + 7 + 1 + 8
    for about, _ in pictures:
        assert (about.get("role"), len(about.get("aria-label") or "") > 10) == ("img", True)


def test_tables_name_their_columns_and_rows(page: Page) -> None:
    """Catches a table that a screen reader reads as a heap of numbers, and rows of another length than the head."""
    assert all(about.get("scope") in ("col", "row") for about, _ in page.all("th"))
    assert len(page.all("caption")) == len(page.all("table"))
    for _, caption in page.all("caption"):
        lengths = {len(row) for row in page.rows(caption)}
        assert len(lengths) == 1, caption
    assert page.all("html")[0][0]["lang"] == "en"


def luminance(colour: str) -> float:
    """Return the relative luminance of WCAG 2.1."""
    full = "".join(2 * part for part in colour[1:]) if len(colour) == 4 else colour[1:]
    parts = [int(full[at : at + 2], 16) / 255 for at in (0, 2, 4)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


@pytest.mark.outside(
    computation="contrast of words",
    source="WCAG 2.1: black 21, #767676 4.54 to 1 on white",
    status="consulted",
    agreement="4.5 to 1 held",
)
def test_words_stand_out_from_what_is_behind_them(text: str) -> None:
    """Catches grey on grey: WCAG 2.1, 1.4.3 wants 4.5 to 1. Published contrasts with white: black 21, #767676 4.54."""
    assert [round(1.05 / (luminance(colour) + 0.05), 2) for colour in ("#000", "#767676")] == [21.0, 4.54]
    style = text[text.index("<style>") : text.index("</style>")]
    schemes = [dict(re.findall(r"(--\w+): (#[0-9a-f]+)", rule)) for rule in re.findall(r":root \{([^{}]*)\}", style)]
    pairs = []
    for names in schemes:  # light, dark, print
        pairs.append((names["--ink"], names["--paper"]))
        for rule in re.findall(r"\{([^{}]*)\}", style):
            found = [
                re.search(rf"{key}: (?:var\((--\w+)\)|(#[0-9a-f]+))", rule)
                for key in (r"(?<![-\w])color", "background")
            ]
            front, back = (part and (part[2] or names[part[1]]) for part in found)
            if front:
                pairs.append((front, back or names["--paper"]))

    assert len(schemes) == 3
    assert len(pairs) >= 3 * 7
    for front, back in pairs:
        light, dark = sorted((luminance(front), luminance(back)), reverse=True)
        assert (light + 0.05) / (dark + 0.05) >= 4.5, (front, back)
    assert set(re.findall(r'<text [^>]*fill="(#\w+)"', text)) == {"#1a1a1a"}


@pytest.mark.slow("simulates, scores or draws many traces")
def test_figures_are_those_of_the_score(hostile: Path, page: Page) -> None:
    """Catches a report that counts for itself: families, totals, baselines and limits against the JSON of `score`."""
    report = json.loads(lubetrip("score", hostile, "--json", "-").stdout)
    families = {
        row[0]: row for row in page.rows("Evidence by family: margins of hits, run hours of ride-through traces")[1:]
    }
    parts = {**report["families"], "all": report["totals"]}

    assert set(families) == set(parts)
    for name, part in parts.items():
        counts = [part["must_trip"], part["hit"], part["missed"], part["early"]]
        assert families[name][1:5] == ([str(count) for count in counts] if part["must_trip"] else ["-"] * 4)
        worst = part["worst_margin_s"]
        assert families[name][7] == ("-" if worst is None else f"{worst:.1f}")
    for row, claim in zip(page.rows("What these traces show")[1:], report["evidence"]["claims"], strict=True):
        assert row[1].startswith(f"{claim['events']} ") or (row[1], claim["of"]) == ("no upset is marked", 0)
        assert row[6] == claim["verdict"]
    assert page.rows("What these traces show")[1][3] == percent(report["evidence"]["claims"][0]["upper"])
    for name, part in report["baselines"].items():
        (plain,) = (row for row in page.rows("Plain laws on") if row[0].startswith(name))
        assert plain[1:4] == [str(part[key]) for key in ("hit", "missed", "early")]
    outcomes = {row[0]: row[2] for row in page.rows("All traces")[1:]}
    judged = [*report["traces"], *report["undecided"]]
    assert outcomes == {trace["id"]: trace["outcome"].replace("_", " ") for trace in judged}
    digests = {row[0]: row[1] for row in page.rows("Digests")}
    assert digests["settings"] == report["settings"]["digest"]
    assert digests["logic"] == report["logic"]["digest"]
    assert digests["library"] == report["library"]["digest"]


def test_page_and_terminal_tell_the_same(hostile: Path, page: Page) -> None:
    """Catches a table that is told a second time: each cell of the page stands in its row on a wide terminal."""
    found = score(read_library(hostile), read_settings(hostile / "settings.toml"))
    shown = lubetrip("score", hostile, COLUMNS="160").stdout

    for table in (claims_table(found), families_table(found), baselines_table(found)):
        rows = [list(row) for row in (*table.rows, *([table.foot] if table.foot else []))]
        assert page.rows(table.caption)[1:] == rows
        for row in rows:
            assert re.search(" +".join(map(re.escape, row)) + " *$", shown, re.MULTILINE), row
    for words in (said(found), *reasons(found), *apart(found)):
        assert " ".join(words.split()) in " ".join(shown.split())
        assert any(words in text for _, text in page.all("p", "li"))


def test_the_verdict_and_its_reasons_are_those_of_the_score(hostile: Path, page: Page) -> None:
    """Catches a report that says met where `score` does not, or leaves out a broken rule."""
    found = score(read_library(hostile), read_settings(hostile / "settings.toml"))
    boxed = next(text for about, text in page.all("div") if str(about.get("class")).startswith("verdict"))

    assert found.verdict == "not met"
    assert len(found.failures) >= 2
    for failure in found.failures:
        assert f"{failure.rule}: " in boxed


def test_too_little_evidence_is_said_with_what_it_would_take(library: Path) -> None:
    """Catches a report that calls two good traces a proof."""
    stated = SETTINGS + "confidence = 0.95\n" if "confidence" not in SETTINGS else SETTINGS
    (library / "settings.toml").write_text(stated)
    page = Page(written(library))
    boxed = next(text for about, text in page.all("div") if str(about.get("class")).startswith("verdict"))
    found = score(read_library(library), read_settings(library / "settings.toml"))

    assert found.verdict == "not enough evidence"
    assert "NOT ENOUGH EVIDENCE" in boxed
    assert "needs another" in boxed
    assert any("faults" in cell for row in claims_table(found).rows for cell in row)


def test_the_worst_come_first(hostile: Path, page: Page) -> None:
    """Catches a missed trip behind a nuisance, and a narrow hit behind a wide one."""
    found = score(read_library(hostile), read_settings(hostile / "settings.toml"))

    assert [verdict.id for verdict in worst_first(found.verdicts)][:4] == ["unseen", "late", "too soon", "needless"]
    assert [text for _, text in page.all("h3")] == [verdict.id for verdict in worst_first(found.verdicts)]
    assert [row[0] for row in page.rows("All traces")[1:5]] == ["unseen", "late", "too soon", "needless"]


@pytest.mark.slow("simulates, scores or draws many traces")
def test_only_the_worst_are_drawn_at_length(library: Path) -> None:
    """Catches a page that grows by a large plot for each trace."""
    text = (library / "library.toml").read_text()
    text += "".join(entry(f"again {number}", "ride_through = true", "steady", "quiet.csv") for number in range(15))
    (library / "library.toml").write_text(text)
    page = Page(written(library))

    assert len(page.all("h3")) == WORST
    assert len(page.rows("All traces")) == 1 + 17


def test_undecided_traces_are_told_apart(page: Page) -> None:
    """Catches an undecided trace that is passed over, or shown among the worst."""
    assert [row[0] for row in page.rows("Undecided traces")[1:]] == ["open end"]
    assert "open end" not in [text for _, text in page.all("h3")]


def test_settings_stand_in_both_unit_systems(library: Path) -> None:
    """Catches a wrong conversion: 60 kPa is 8.70 psi; at 1000 m the air has 89.876 kPa (US Standard Atmosphere 1976)."""
    (library / "high.toml").write_text(SETTINGS.replace('"0 m"', '"1000 m"'))
    rows = {row[0]: row[1:] for row in Page(written(library, "high.toml")).rows("Settings in both")}

    assert rows["net_oil_pressure.cut_out"] == ["60.00 kPa, 0.6000 bar", "8.70 psi"]
    assert rows["suction.vacuum"] == [
        "80.00 kPa, 0.8000 bar abs (-9.88 kPa gauge)",
        "11.60 psi abs (2.92 inHg vacuum)",
    ]
    assert rows["suction.reload"] == [
        "100.00 kPa, 1.0000 bar abs (10.12 kPa gauge)",
        "14.50 psi abs (1.47 psi gauge)",
    ]
    assert rows["site.altitude"] == ["1000 m", "3281 ft"]
    assert rows["integral.trip_delay"] == ["1 min", "1 min"]


@pytest.mark.slow("simulates, scores or draws many traces")
def test_the_same_library_and_settings_give_the_same_page(library: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches a date in the page, and one that depends on which engine was at hand or where one stands."""
    first = written(library)
    monkeypatch.setattr("replay.engine.compiled.pays", lambda ticks: True)
    monkeypatch.chdir(library)

    assert written(Path()) == first


@pytest.mark.slow("simulates, scores or draws many traces")
def test_the_command_writes_the_page_and_says_the_verdict(library: Path) -> None:
    """Catches a command that leaves nothing behind, or half a file when it fails."""
    done = lubetrip("report", library, "-o", library / "out.html")

    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout == f"{library / 'out.html'}: acceptance met\n"
    (library / "quiet.csv").write_text("nonsense\n")
    before = (library / "out.html").read_bytes()
    failed = lubetrip("report", library, "-o", library / "out.html")
    assert (failed.returncode, failed.stdout) == (2, "")
    assert "quiet.csv" in failed.stderr
    assert (library / "out.html").read_bytes() == before


@pytest.mark.slow("simulates, scores or draws many traces")
def test_a_thousand_traces_stay_under_5_mb(library: Path) -> None:
    """Catches a page that grows with the length of the traces: a thousand of the busiest, by the size of one more."""
    busy = trace_csv(900, lambda s: 120.0 + 60 * (s * 7919 % 13 - 6), lambda s: 300.0 + s * 104729 % 37)
    (library / "quiet.csv").write_text(busy)
    plain = (library / "library.toml").read_text()
    sizes = []
    for count in (12, 16):
        more = "".join(entry(f"again-{number:05d}", "ride_through = true", "f", "quiet.csv") for number in range(count))
        (library / "library.toml").write_text(plain + more)
        sizes.append(len(written(library).encode()))
    each = (sizes[1] - sizes[0]) / 4

    assert each > 100
    assert sizes[0] + 988 * each < 5e6


def test_what_changed_against_another_score_stands_first(hostile: Path, tmp_path: Path) -> None:
    """Catches changes that have to be searched for, the two scores swapped, and a setting that moved in silence."""
    other = tmp_path / "other.toml"
    other.write_text(SETTINGS.replace('trip_delay = "60 s"', 'trip_delay = "20 s"'))
    assert other.read_text() != SETTINGS
    library = read_library(hostile)
    before = score(library, read_settings(other))
    (tmp_path / "before.json").write_text(json.dumps(before.as_json()))
    texts = []
    for name, given in (("score", before), ("json", tmp_path / "before.json"), ("toml", other)):
        write_report(tmp_path / f"{name}.html", library, against=given)
        texts.append((tmp_path / f"{name}.html").read_text(encoding="utf-8"))
    page = Page(texts[0])
    compared = compare_scores(before, score(library, read_settings(hostile / "settings.toml")))

    assert page.all("h2")[0][1] == "What changed"
    assert page.rows("Settings that differ")[1:] == [["integral.trip_delay", "20 s", "1 min"]]
    first, *_ = page.rows("Changed;")[1:]
    assert first[0] in {one["id"] for one, two in compared.changed if one["outcome"] != two["outcome"]}
    assert len(page.rows("Changed;")) - 1 == len(compared.changed)
    assert [text.replace("before.json", "the other score") for text in texts[1:2]] == texts[:1]
    assert "A is other.toml, B is this report." in texts[2]


def test_title_author_and_date_are_those_given_and_no_others(library: Path, tmp_path: Path) -> None:
    """Catches a report that cannot be filed, and a date of today in a page that has to come out the same."""
    write_report(tmp_path / "plain.html", library)
    write_report(tmp_path / "signed.html", library, title="Cold store <9>", author="A. Fitter", date="2 March 2026")
    plain, signed = ((tmp_path / f"{name}.html").read_text() for name in ("plain", "signed"))

    assert "<h1>Cold store &lt;9&gt;</h1>" in signed
    assert '<p class="small">A. Fitter, 2 March 2026</p>' in signed
    assert 'class="small">A' not in plain
    assert plain.replace(f"Lubrication protection: {library.resolve().name}", "Cold store &lt;9&gt;") == signed.replace(
        '<p class="small">A. Fitter, 2 March 2026</p>\n', ""
    )


def test_the_guarantees_of_the_settings_stand_in_the_page(hostile: Path, page: Page) -> None:
    """Catches a report without what holds whatever the traces are, or with that of other settings."""
    told = guarantee(read_settings(hostile / "settings.toml"))
    rows = page.rows("What the logic guarantees")[1:]

    assert [row[0] for row in rows] == [told.line(key).what for key in MAIN]
    assert rows[MAIN.index("lockout")][1] == f"{told.line('lockout').value:g}"


def test_the_trade_off_marks_every_best_point_and_the_settings(hostile: Path) -> None:
    """Catches missed and nuisance that changed places, a law left out, and a cross that is not that of the settings."""
    found = score(read_library(hostile), read_settings(hostile / "settings.toml"))
    root = ET.fromstring(tradeoff.tradeoff_svg(found))
    dots = [(float(one.get("cx", "")), float(one.get("cy", ""))) for one in root.iter() if one.tag.endswith("circle")]
    points = [(p.missed, p.nuisance_trips) for each in found.comparators for p in each.curve]

    assert len(found.comparators) == len(tradeoff.LOOKS)
    assert len(dots) == len(points)
    for (x, y), (missed, trips) in zip(dots, points, strict=True):
        for (x2, y2), (missed2, trips2) in zip(dots, points, strict=True):
            assert (x < x2) == (missed < missed2)
            assert (y > y2) == (trips < trips2)
    assert min(x for x, _ in dots) > tradeoff.LEFT + tradeoff.CROSS
    words = tradeoff.words(found)
    assert f"These settings: {found.totals.missed} missed, {found.totals.nuisance_trips} nuisance" in words
    most = [max(1, here, *there) for here, there in zip(own(found), zip(*points, strict=True), strict=True)]
    across, up = (
        (tradeoff.ROOM - 1 + here / its) / (2 * tradeoff.ROOM - 1) for here, its in zip(own(found), most, strict=True)
    )
    x = tradeoff.LEFT + across * (tradeoff.RIGHT - tradeoff.LEFT)
    y = tradeoff.BOTTOM - up * (tradeoff.BOTTOM - tradeoff.TOP)
    cross = f"M{x - tradeoff.CROSS:.1f} {y - tradeoff.CROSS:.1f}L"
    assert [one for one in root.iter() if one.get("d", "").startswith(cross)]


def own(found: Score) -> tuple[int, int]:
    """Return what the settings miss, and how often they stop for nothing."""
    return found.totals.missed, found.totals.nuisance_trips
