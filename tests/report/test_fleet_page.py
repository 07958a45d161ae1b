"""The page of a triage: the fleet first, then each machine with its events on the wall clock, offline and printable."""

import dataclasses
import datetime as dt
import re
from html.parser import HTMLParser
from pathlib import Path
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from click.testing import CliRunner

from replay.cli import main
from replay.display.terminal import plain
from replay.display.triage import triage_view
from replay.drawing.around import MOST_ROOM_MS, STRETCHES, read_around
from replay.drawing.event_plot import event_svg
from replay.drawing.wall_clock import clock_ticks
from replay.ground.shown import US
from replay.ground.wording import suction
from replay.report.fleet import fleet_contents, period
from replay.settings import Settings, read_settings
from replay.triage.clock import Clock
from replay.triage.logs import Part
from replay.triage.periods import compared, worse
from replay.triage.report import triage, triage_logs
from replay.triage.run import examine
from tests.conftest import SETTINGS, entry
from tests.support.triage_logs import found, made, with_values, write

DAY_S = 86_400
SLOW = SETTINGS.replace('max_gap = "3 s"', 'max_gap = "30 s"')
HOSTILE = '</td><script>alert("K1 & K2")</script>'


def rests(s: int) -> bool:
    """Say whether a machine that stands five minutes in every hour does so."""
    return s % 3600 < 300


def log(*, starved: bool = False, net: float = 140, zero: float = 1):
    """Return four hours of a machine, one of them with a spell of five minutes short of oil, in vacuum, loaded again."""
    return made(
        4 * 3600,
        lambda s: zero if rests(s) else 20 if starved and 5000 < s <= 5300 else net,
        lambda s: 60 if starved and 5000 < s <= 5200 else 310,
        lambda s: not rests(s),
        step=20,
    )


def library(folder: Path, month: int, machines: dict[str, dict], days: int = 2) -> Path:
    """Write logs of some machines, four hours a day from six o'clock in Oslo."""
    text = ['settings = "settings.toml"\n']
    for number, (name, kind) in enumerate(machines.items()):
        for day in range(days):
            identity = f"{number}-{day}"
            write(folder / f"{identity}.parquet", log(**{**kind, "starved": kind.get("starved", False) and day == 1}))
            moment = dt.datetime(2026, month, 28 + day, 5, tzinfo=dt.UTC)
            told = f'undecided = true\nstart_utc = {moment:%Y-%m-%dT%H:%M:%SZ}\nzone = "Europe/Oslo"\nsource = "day {day}.csv"'
            one = entry(identity, told, file=f"{identity}.parquet")
            text.append(one.replace('machine = "m"', f"machine = '{name}'"))
    (folder / "settings.toml").write_text(SLOW)
    (folder / "library.toml").write_text("\n".join(text))
    return folder


class Page(HTMLParser):
    """The tags and the words of a page."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note a tag."""
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        """Note text."""
        self.words.append(data)

    @property
    def text(self) -> str:
        """Return all words in one line."""
        return " ".join(" ".join(self.words).split())


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Settings:
    """Return the settings that the tests share, for rows up to 30 s apart."""
    path = tmp_path_factory.mktemp("site") / "settings.toml"
    path.write_text(SLOW)
    return read_settings(path)


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> str:
    """Return the page of a fleet of three with the month before, as the command writes it."""
    tmp_path = tmp_path_factory.mktemp("fleet")
    fleet = {"K1": {}, "K2": {"starved": True, "net": 141}, HOSTILE: {"zero": 60, "net": 200}}
    library(tmp_path / "march", 3, fleet)
    library(tmp_path / "february", 1, {"K1": {"net": 180}, "K2": {}, "K9": {}})
    out = tmp_path / "fleet.html"
    paths = [str(tmp_path / "march"), "--before", str(tmp_path / "february"), "--html", str(out)]
    done = CliRunner().invoke(main, ["triage", *paths])

    assert done.exit_code == 0, done.output
    return out.read_text(encoding="utf-8")


def test_the_page_stands_alone_and_prints(written: str) -> None:
    """Catches a page that needs a network where there is none, that runs a script, or that nobody can print."""
    page = Page(written)
    asked = [value for _, attrs in page.tags for name, value in attrs.items() if name in ("src", "href")]

    assert {tag for tag, _ in page.tags}.isdisjoint({"script", "link", "iframe", "img"})
    assert all(value is not None and value.startswith("#machine-") for value in asked)
    assert not re.search(r"https?://(?!www\.w3\.org/2000/svg)", written)
    assert "@media print" in written


def test_links_lead_to_the_machines(written: str) -> None:
    """Catches a row of the fleet whose link leads to another machine or nowhere."""
    page = Page(written)
    targets = [attrs["id"] for tag, attrs in page.tags if tag == "h2" and str(attrs.get("id")).startswith("machine-")]
    links = [str(attrs["href"]) for tag, attrs in page.tags if tag == "a"]

    assert links == [f"#{target}" for target in targets] == ["#machine-1", "#machine-2", "#machine-3"]


def test_the_fleet_comes_first_worst_on_top(written: str) -> None:
    """Catches a page that has to be searched for its answer."""
    text = Page(written).text

    assert "1 of 3 machines to look at, in this order: K2. For 1 more the logs cannot tell until something is" in text
    assert (
        text.index("Machines, the one to open first on top")
        < text.index("K2: open first")
        < text.index("K1: not starved")
    )
    assert "8.0 of 28.0" in text  # hours logged of hours elapsed
    assert "2026-03-28 06:00 CET to 2026-03-29 11:00 CEST" in text


def test_each_event_stands_on_the_wall_clock_with_its_file(written: str) -> None:
    """Catches a plot in seconds of a file, and one whose file nobody finds again. 29 March is the night of the change."""
    text = Page(written).text

    assert "1-1.parquet (from day 1.csv), 2026-03-29 08:23:20 CEST: starved spell of 5.0 min" in text
    assert "LOADED AGAIN at 2026-03-29 08:27:00 CEST" in text
    assert "these settings would have stopped it" in text
    assert "2026-03-29, Europe/Oslo" in text
    assert "as the log says" in text


def test_a_period_is_held_against_the_one_before(written: str) -> None:
    """Catches a pressure that fell by a fifth between two months, and a machine that is logged no longer."""
    text = Page(written).text

    assert "net oil pressure running down by 22 %" in text
    assert "was 180.0 kPa" in text
    assert "not logged before" in text
    assert "Logged before and no longer: K9." in text


def test_text_from_files_is_only_text(written: str) -> None:
    """Catches a machine's name that becomes a part of the page."""
    assert "<script>" not in written
    assert HOSTILE in Page(written).text


def test_every_drawing_is_told_in_words_and_every_table_is_named(written: str) -> None:
    """Catches a drawing that says nothing to those who cannot see it."""
    page = Page(written)
    drawings = [attrs for tag, attrs in page.tags if tag == "svg"]
    figures = [tag for tag, _ in page.tags if tag == "figure"]

    assert len(figures) >= 2 + 3  # events of K2: the spell and its vacuum; days of each machine
    assert len(drawings) == 3 + len(figures)  # and a line of each machine in the fleet
    assert all(attrs.get("aria-label") for attrs in drawings)
    assert len([tag for tag, _ in page.tags if tag == "table"]) == len(
        [tag for tag, _ in page.tags if tag == "caption"]
    )


def test_page_and_terminal_tell_the_same(tmp_path: Path) -> None:
    """Catches two wordings of one finding."""
    folder = library(tmp_path / "march", 3, {"K1": {}, "K2": {"starved": True}})
    report = triage_logs([folder])
    told = [line for machine in fleet_contents(report)["machines"] for line in machine["figures"]]
    shown = " ".join(plain(triage_view(report)).split())
    assert told
    assert all(" ".join(line.split()) in shown for line in told if "K2" in shown and line.startswith("logged 8.0"))


def test_a_lesser_share_is_marked_in_the_fleet(site: Settings) -> None:
    """Catches 62 % that stand among figures of 100 %."""
    half = made(20_000, lambda s: 0 if rests(s) else 140, running=lambda s: not rests(s), step=20)
    half.oil_pa[: len(half) * 39 // 100] = -1_000_000_000
    contents = fleet_contents(triage([found(half, site)], site), events=0)

    assert contents["fleet"].rows[0][3] == "62 % (!)"


def test_without_a_clock_the_axis_is_that_of_the_file(site: Settings, tmp_path: Path) -> None:
    """Catches a date made of nothing: files that do not say when they began."""
    file = write(tmp_path / "a.csv", log(starved=True))
    findings = examine(site, ("m", [Part(file)]), fast=False)
    (around,) = read_around(findings, findings.gravest.all()[:1], site)

    assert "time in the file, s" in event_svg(around, site, "words")
    assert period([findings]) == "1 machine, 1 file; 1 file that does not say when it began"


def test_a_plot_shows_the_running_status_of_the_log(site: Settings, tmp_path: Path) -> None:
    """Catches a status of the obeyed machine, which stands where this one ran on. Spell and status span two files."""
    whole = made(2000, lambda s: 10 if 900 < s <= 1000 else 120, running=lambda s: int(not 1050 < s <= 1100))
    moment = dt.datetime(2026, 3, 1, tzinfo=dt.UTC)
    cut = 951
    parts = []
    for name, rows in (("a", slice(0, cut)), ("b", slice(cut, None))):
        arrays = {key: getattr(whole, key)[rows] for key in vars(whole) if isinstance(getattr(whole, key), np.ndarray)}
        arrays["time_ms"] = arrays["time_ms"] - arrays["time_ms"][0]
        begin = moment + dt.timedelta(seconds=cut if name == "b" else 0)
        parts.append(Part(write(tmp_path / f"{name}.parquet", dataclasses.replace(whole, **arrays)), begin))
    findings = examine(site, ("m", parts), fast=False)
    spell = findings.gravest.all()[0]
    (around,) = read_around(findings, [spell], site)

    assert (around.begin_s, around.end_s) == (780, 1120)
    assert around.running == [(780, 1050), (1100, 1120)]
    seconds = np.concatenate([times for times, _ in around.net])
    assert np.all(np.diff(seconds[np.isfinite(seconds)]) == 1)  # every row of both files, once
    assert not np.isnan(seconds).any()  # a file that goes on with the one before is no break


def test_what_two_files_tell_is_drawn_once(site: Settings, tmp_path: Path) -> None:
    """Catches a curve that runs back to where a second export of the same hours begins."""
    moment = dt.datetime(2026, 3, 1, tzinfo=dt.UTC)
    trace = made(600, lambda s: 10 if 200 < s <= 300 else 120)
    parts = [Part(write(tmp_path / f"{name}.csv", trace), moment) for name in "ab"]
    findings = examine(site, ("m", parts), fast=False)
    (around,) = read_around(findings, findings.gravest.all()[:1], site)

    assert np.all(np.diff(np.concatenate([times for times, _ in around.net])) > 0)


@pytest.mark.slow("writes and reads long logs")
def test_a_long_event_is_thinned_as_it_is_read(site: Settings, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches a plot that holds a year of rows, or that loses the one reading that matters."""
    long = made(400_000, lambda s: -50 if s == 200_000 else 20 if 1000 < s <= 399_000 else 120, step=20)
    file = write(tmp_path / "a.parquet", long)
    findings = examine(site, ("m", [Part(file)]), fast=False)
    monkeypatch.setattr("replay.drawing.around.ROWS", 1000)
    (around,) = read_around(findings, findings.gravest.all()[:1], site)
    figures = np.concatenate([values for _, values in around.net])

    assert MOST_ROOM_MS == 1_800_000
    assert len(figures) < 10 * STRETCHES
    assert (np.nanmin(figures), np.nanmax(figures)) == (-50, 120)


def test_a_gap_in_the_log_is_a_gap_in_the_plot(site: Settings, tmp_path: Path) -> None:
    """Catches a line drawn over hours of which nobody knows, and a machine that runs there."""
    early, late = made(100, lambda s: 20), made(600, lambda s: 20 if s < 50 else 120)
    moment = dt.datetime(2026, 3, 1, tzinfo=dt.UTC)
    parts = [Part(write(tmp_path / "a.csv", early), moment)]
    parts.append(Part(write(tmp_path / "b.csv", late), moment + dt.timedelta(seconds=160)))
    findings = examine(site, ("m", parts), fast=False)
    first = min(findings.gravest.all(), key=lambda event: event.start_ms)
    (around,) = read_around(findings, [first], site)

    assert np.isnan(np.concatenate([values for _, values in around.net])).any()
    assert around.running == [(0, 100), (160, 220)]


def test_ticks_are_hours_of_the_wall() -> None:
    """Catches ticks in UTC under the name of another zone, and ticks that jump where the clock does."""
    clock = Clock(dt.datetime(2026, 3, 28, 22, tzinfo=dt.UTC).timestamp(), "Europe/Oslo")
    name, ticks = clock_ticks(0, 6 * 3600, clock)

    assert name == "2026-03-28 to 2026-03-29, Europe/Oslo"
    assert (3600.0, "Mar-29") in ticks
    assert [word for place, word in ticks if place == 4 * 3600] in ([], ["04:00"])
    assert clock_ticks(0, 7200, Clock()) == ("time in the file, h", [(1800.0 * n, f"{n / 2:g}") for n in range(5)])


@pytest.mark.parametrize(
    ("pascals", "altitude_m", "words"),
    [
        (101_325, 0, "0.0 psig (0.00 bar(g))"),
        (101_200, 0, "0.0 psig (0.00 bar(g))"),
        (50_000, 0, "15.2 inHg vac (-0.51 bar(g))"),
        (239_220, 0, "20.0 psig (1.38 bar(g))"),
        (84_000, 1500, "0.2 inHg vac (-0.01 bar(g))"),
        (None, 0, "-"),
    ],
)
def test_suction_reads_as_a_gauge_shows_it(pascals: int | None, altitude_m: float, words: str) -> None:
    """Catches a gauge of sea level in the mountains, and vacuum told as a negative psig."""
    assert suction(pascals, altitude_m, US) == words


def test_what_got_worse_is_more_than_chance(site: Settings) -> None:
    """Catches one spell against none told as more often, and thirty that are not."""
    few, many, none = (
        found(made(20_000, lambda s, n=n: 20 if s % 600 < 60 and s // 600 < n else 120, step=20), site)
        for n in (1, 30, 0)
    )

    def told(now, before):
        return worse(compared([now], [before])[0], 0.95)

    assert told(few, none) == []
    assert told(many, none) == ["starved more often"]
    assert told(none, many) == []


def test_time_to_oil_pressure_that_grew(site: Settings) -> None:
    """Catches a pump that takes three times as long from one month to the next."""

    def machine(late_s: int):
        quick = with_values(site, START_GRACE=60_000)
        running = made(20_000, lambda s: 0 if s % 3600 < 300 + late_s else 140, running=lambda s: not rests(s), step=10)
        return found(running, quick)

    assert worse(compared([machine(30)], [machine(10)])[0], 0.95) == ["oil pressure comes later after a start"]


def test_a_drawing_is_well_formed(site: Settings, tmp_path: Path) -> None:
    """Catches a path that no viewer reads."""
    findings = examine(site, ("m", [Part(write(tmp_path / "a.csv", log(starved=True)))]), fast=False)
    for around in read_around(findings, findings.gravest.all(), site):
        ET.fromstring(event_svg(around, site, "a & b"))


def test_a_page_that_cannot_be_written_is_refused_before_the_work(tmp_path: Path, settings_file: Path) -> None:
    """Catches an hour of reading that ends in a refusal."""
    write(tmp_path / "a.csv", made(100, lambda s: 120))
    given = [
        "triage",
        str(tmp_path / "a.csv"),
        "--settings",
        str(settings_file),
        "--html",
        str(tmp_path / "no" / "p.html"),
    ]
    done = CliRunner().invoke(main, given)

    assert done.exit_code == 2
    assert "cannot be written" in done.stderr
