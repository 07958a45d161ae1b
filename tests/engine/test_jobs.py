"""Work in many processes of this machine: the same results, what a lost process costs, and what is refused."""

import functools
import json
import os
import signal
from collections.abc import Callable
from pathlib import Path

import pytest

import replay
from replay.engine.workers import one_by_one, portions, workers
from replay.ground.refusal import Refusal
from tests.support.command import lubetrip
from tests.support.many import write_many

pytestmark = pytest.mark.slow("starts processes of its own")


@pytest.fixture(scope="module")
def many(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a library of ten short traces."""
    return write_many(tmp_path_factory.mktemp("library"))


def written(path: Path) -> list[tuple[str, bytes]]:
    """Return the names and contents of a file, or of all files of a folder."""
    files = sorted(path.rglob("*")) if path.is_dir() else [path]
    return [(str(file.relative_to(path)), file.read_bytes()) for file in files if file.is_file()]


def synthesised(jobs: int, folder: Path) -> object:
    """Return a library as bytes."""
    replay.synthesise(folder / "made", replay.recipe("pump-drive-broken,normal-start", 5, 5), jobs=jobs)
    return written(folder / "made")


def reported(many: Path, jobs: int, folder: Path) -> object:
    """Return a report as bytes."""
    replay.write_report(folder / "report.html", many, jobs=jobs)
    return written(folder / "report.html")


def tuned(many: Path, jobs: int) -> object:
    """Return the report of a tuning run."""
    return replay.tune_settings(many, ["trip_delay=40s,60s,80s"], draws=5, jobs=jobs).as_json()


def obeyed(many: Path, jobs: int) -> object:
    """Return what became of machines that obeyed."""
    wanted = replay.recipe("pump-drive-broken,normal-start", 3, 5)
    return replay.run_closed_loop(wanted, many / "settings.toml", jobs=jobs).as_json()


# Each function that works on many traces: library, jobs and an empty folder to what came of it.
SPREAD: dict[str, Callable[[Path, int, Path], object]] = {
    "score_library": lambda many, jobs, _: replay.score_library(many, jobs=jobs).as_json(),
    "compare_scores": lambda many, jobs, _: replay.compare_scores(
        many / "settings.toml", many / "settings.toml", many, jobs=jobs
    ).as_json(),
    "triage_logs": lambda many, jobs, _: replay.triage_logs([many], jobs=jobs).as_json(),
    "find_tolerances": lambda many, jobs, _: replay.find_tolerances(many, draws=5, jobs=jobs).as_json(),
    "tune_settings": lambda many, jobs, _: tuned(many, jobs),
    "run_closed_loop": lambda many, jobs, _: obeyed(many, jobs),
    "synthesise": lambda _, jobs, folder: synthesised(jobs, folder),
    "write_report": reported,
}


@pytest.mark.parametrize("name", SPREAD)
def test_the_result_does_not_depend_on_the_number_of_processes(name: str, many: Path, tmp_path: Path) -> None:
    """Catches results in the order in which processes finish, and anything that one of them keeps to itself."""
    (tmp_path / "1").mkdir()
    (tmp_path / "2").mkdir()

    assert SPREAD[name](many, 1, tmp_path / "1") == SPREAD[name](many, 2, tmp_path / "2")


@pytest.mark.parametrize(("items", "workers"), [(0, 2), (1, 2), (10, 2), (1000, 2), (10_000, 7), (20, 64)])
def test_portions_are_large_first_and_small_last(items: int, workers: int) -> None:
    """Catches an item lost or doubled between portions, a message for each item, and a last portion that all wait for."""
    found = portions(range(items), workers)
    sizes = [len(portion) for portion in found]

    assert [item for portion in found for item in portion] == [*range(items)]
    assert sizes == sorted(sizes, reverse=True)
    assert all(size == 1 or size <= 1 + items / workers / 4 for size in sizes)
    assert all(size <= 1 + items / workers / 64 for size in sizes[-workers:])
    assert len(found) <= 16 * workers


@pytest.mark.parametrize("command", ["score", "triage"])
def test_a_command_prints_the_same_with_jobs(command: str, many: Path) -> None:
    """Catches an option that is read and not used, and one that changes the report or leaves noise on the terminal."""
    alone, spread = lubetrip(command, many), lubetrip(command, many, "--jobs", "2")

    assert (alone.returncode, alone.stderr) == (0, "")
    assert (spread.returncode, spread.stdout, spread.stderr) == (0, alone.stdout, "")


def pid(_: int) -> int:
    """Return which process works."""
    return os.getpid()


def test_the_work_is_done_beside() -> None:
    """Catches a number of processes that is taken and not used, and a process that is started for each item."""
    ticks = []
    with workers(2) as each:
        found = each(pid, range(40), lambda: ticks.append(1)) + each(pid, range(40))

    assert len(ticks) == 40
    assert os.getpid() not in found
    assert len(set(found)) in (1, 2)


def killed_once(folder: Path, number: int) -> int:
    """Kill the process that takes up number 7 for the first time."""
    (folder / f"{number}-{os.getpid()}").touch()
    if number == 7 and len([*folder.glob("7-*")]) == 1:
        os.kill(os.getpid(), signal.SIGKILL)
    return number * number


def test_what_a_killed_process_was_doing_is_done_again(tmp_path: Path) -> None:
    """Catches a run that fails or hangs when a process is lost, and results that are lacking, doubled or out of order."""
    ticks = []
    with workers(2) as each:
        found = each(functools.partial(killed_once, tmp_path), range(40), lambda: ticks.append(1))
        later = each(pid, range(4))

    assert found == [number * number for number in range(40)]
    assert len(ticks) == 40
    assert len(later) == 4
    assert len([*tmp_path.glob("7-*")]) == 2


def killed(_: int) -> None:
    """Kill the process."""
    os.kill(os.getpid(), signal.SIGKILL)


def test_work_that_ends_every_process_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches a machine without memory that starts processes for ever."""
    monkeypatch.setattr("replay.engine.workers.RETRIES", 1)
    with pytest.raises(Refusal, match="--jobs = 2: processes are ended before"), workers(2) as each:
        each(killed, range(4))


def test_bad_input_is_refused_in_the_same_words(tmp_path: Path) -> None:
    """Catches a refusal that comes back as a traceback of a process, and one that depends on who was quicker."""
    folder = write_many(tmp_path)
    bad = "time_s,oil_pressure_kpa,suction_pressure_kpa,running\n0,1,1,1\n1,x,1,1\n"
    for name in ("t3.csv", "t4.csv", "t9.csv"):
        (folder / name).write_text(bad)
    alone, spread = lubetrip("score", folder), lubetrip("score", folder, "--jobs", "2")

    assert (alone.returncode, spread.returncode) == (2, 2)
    assert alone.stderr == spread.stderr
    assert "t3.csv: line 3, oil_pressure_kpa" in spread.stderr


@pytest.mark.parametrize("jobs", ["0", "-1", "257", "many"])
def test_a_number_that_is_none_is_refused(jobs: str, many: Path) -> None:
    """Catches a number of processes that is taken for one, or for as many as there are."""
    done = lubetrip("score", many, "--jobs", jobs)

    assert done.returncode == 2
    assert "--jobs" in done.stderr


def test_no_jobs_are_refused_from_python(many: Path) -> None:
    """Catches a check that only the command line makes."""
    with pytest.raises(Refusal, match="--jobs = 0: not a number of processes; accepted: 1 to 256"):
        replay.score_library(many, jobs=0)


def test_one_process_is_this_one() -> None:
    """Catches a process that is started for nothing."""
    with workers() as each:
        assert each is one_by_one


def test_reports_are_json(many: Path) -> None:
    """Catches a result whose as_json() holds what JSON cannot."""
    for name in ("score_library", "triage_logs", "find_tolerances"):
        json.dumps(SPREAD[name](many, 1, many))
