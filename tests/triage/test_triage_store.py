"""Logs and libraries in an object store, and partitioned data sets: read there as from a disk, and by the workers alone.

The store is a real one: a server on this machine that speaks S3.
"""

import dataclasses
import json
import logging
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pyarrow.parquet as pq
import pytest
from distributed import LocalCluster

from replay.ground.places import place_of
from replay.ground.refusal import Refusal
from replay.library import library_digest, read_library
from replay.trace import read_trace
from replay.triage.report import Triage, triage_logs
from tests.conftest import SETTINGS
from tests.support.command import lubetrip
from tests.support.many import write_many
from tests.support.object_store import Store, object_store
from tests.support.triage_logs import made

pytestmark = pytest.mark.slow("starts workers or commands as processes of their own")

UNIX_S = 1_790_000_000.0
STARVED = made(600, lambda s: 10 if 100 < s <= 170 else 120)
QUIET = made(600, lambda s: 120)
DAYS = {"K1": (QUIET, QUIET), "K 2": (QUIET, STARVED), "K3": (QUIET,)}


@pytest.fixture(scope="module")
def store() -> Iterator[Store]:
    """Start a store."""
    with object_store() as started:
        yield started


@pytest.fixture(scope="module")
def fleet(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the folder of a data set, partitioned by machine and date; a log goes on from date to date."""
    folder = tmp_path_factory.mktemp("fleet")
    for machine, traces in DAYS.items():
        for day, trace in enumerate(traces):
            part = folder / f"machine={machine.replace(' ', '%20')}" / f"date=2026-09-{21 + day}" / "part-0.parquet"
            part.parent.mkdir(parents=True)
            pq.write_table(dataclasses.replace(trace, start_s=UNIX_S + 601 * day).to_arrow(), part)
    (folder.parent / "site.toml").write_text(SETTINGS, encoding="utf-8")
    return folder


def told(report: Triage, place: Path | str) -> dict[str, Any]:
    """Return a report without the place of its logs, and without who ran: that is chosen by the rows, or their size."""
    content = json.loads(json.dumps(report.as_json()).replace(str(place), "PLACE"))
    del content["logic"]["engine"]
    return content


def test_a_partitioned_data_set_is_read_from_a_store_as_from_a_disk(store: Store, fleet: Path) -> None:
    """Catches a machine torn into its dates or named by them, and partitions that are missed or read in another order."""
    settings = fleet.parent / "site.toml"
    here, uri = triage_logs([fleet], settings), store.put_folder(fleet, "fleet")
    there = triage_logs([uri], settings)

    assert [(found.machine, len(found.files), found.logs) for found in here.machines] == [
        ("K 2", 2, 1),
        ("K1", 2, 1),
        ("K3", 1, 1),
    ]
    assert told(there, uri) == told(here, fleet)


def test_a_listing_tells_the_sizes_and_each_small_partition_is_asked_for_once(store: Store, fleet: Path) -> None:
    """Catches a request for each partition before any is read, and a row group that is fetched column by column."""
    uri = store.put_folder(fleet, "asked")
    place_of(uri).fs.invalidate_cache()  # type: ignore[attr-defined]
    store.asked.clear()
    triage_logs([uri], fleet.parent / "site.toml")
    parts = [request for request in store.asked if ".parquet" in request]

    assert {request.split()[0] for request in parts} == {"GET"}
    assert {parts.count(request) for request in parts} == {1}
    assert len(store.asked) - len(parts) <= 8


def test_the_workers_of_a_cluster_read_there_and_nothing_else_does(
    store: Store, fleet: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Catches logs that travel through the machine at which the command was given, or are read there to look at them."""
    import s3fs

    uri, settings = store.put_folder(fleet, "spread"), fleet.parent / "site.toml"
    expected = triage_logs([uri], settings)
    with LocalCluster(
        n_workers=2, threads_per_worker=1, dashboard_address="127.0.0.1:0", silence_logs=logging.CRITICAL
    ) as cluster:
        store.asked.clear()
        monkeypatch.setattr(s3fs.S3FileSystem, "open", lambda *given, **_: pytest.fail(f"opens {given[1]} here"))
        spread = triage_logs([uri], settings, cluster=cluster.scheduler_address)

    assert told(spread, uri) == told(expected, uri)
    assert sum(".parquet" in request for request in store.asked if request.startswith("GET")) == 5


def test_a_library_in_a_store_is_scored_as_on_a_disk(store: Store, tmp_path: Path) -> None:
    """Catches a library whose traces, labels or settings are looked for beside the command."""
    uri = store.put_folder(write_many(tmp_path), "library")
    scores = [json.loads(lubetrip("score", place, "--json", "-").stdout) for place in (tmp_path, uri)]
    files = [score["settings"].pop("file") for score in scores]

    assert scores[0] == scores[1]
    assert files == [str(tmp_path / "settings.toml"), f"{uri}/settings.toml"]
    assert library_digest(read_library(uri)) == library_digest(read_library(tmp_path))


def test_a_trace_in_a_store_is_read_explained_and_drawn_by_its_library(store: Store, library: Path) -> None:
    """Catches a trace of a store that lost its label, or comes out in other numbers."""
    uri = store.put_folder(library, "one")

    assert read_trace(f"{uri}/fault.csv") == read_trace(library / "fault.csv")
    assert "label: must trip from 100 s to 250 s" in lubetrip("explain", f"{uri}/fault.csv").stdout
    assert lubetrip("show", f"{uri}/fault.csv", "-o", library / "fault.png").returncode == 0
    assert lubetrip("bench", uri, "-o", library / "bench.html").returncode == 0
    assert lubetrip("report", uri, "-o", library / "report.html").returncode == 0


def test_a_broken_file_of_a_store_is_named_by_its_uri_and_line(store: Store, library: Path) -> None:
    """Catches a traceback of the client of a store, and a message that does not say where."""
    (library / "bad.csv").write_text((library / "fault.csv").read_text() + "401,x,300,1\n")
    uri = store.put(library / "bad.csv", "broken/bad.csv")
    (library / "bad.parquet").write_bytes(b"PAR1 and no more")
    other = store.put(library / "bad.parquet", "broken/bad.parquet")

    for place, words in (
        (uri, f"{uri}: line 403, oil_pressure_kpa"),
        (other, f"{other}: not a readable Parquet file"),
        (f"{store.uri}/broken/none.csv", f"{store.uri}/broken/none.csv: no such trace"),
        (f"{store.uri}/broken/none.parquet", f"{store.uri}/broken/none.parquet: no such trace"),
    ):
        said = lubetrip("explain", place, "--settings", library / "settings.toml")
        assert (said.returncode, said.stdout) == (2, "")
        assert words in said.stderr


def test_what_no_store_answers_is_refused(store: Store, library: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches tracebacks for a missing folder, a scheme that nobody knows, a store that is down, a missing package.

    And a store that is down, waited for with all its client's patience once for each thing that is looked for there.
    """
    import s3fs

    settings = ("--settings", library / "settings.toml")
    for place, words in (
        (f"{store.uri}/nowhere", "no such trace"),
        ("nosuch://bucket/logs", "this store cannot be read"),
    ):
        said = lubetrip("triage", place, *settings)
        assert (said.returncode, said.stdout) == (2, "")
        assert f"lubetrip: {place}: {words}" in said.stderr
    assert "no such folder" in lubetrip("score", f"{store.uri}/nowhere").stderr

    asked, ask = [], s3fs.S3FileSystem._call_s3  # noqa: SLF001 - each request goes through it
    with monkeypatch.context() as patch:
        patch.setenv("AWS_ENDPOINT_URL", "http://127.0.0.1:9")
        patch.setenv("AWS_MAX_ATTEMPTS", "1")  # without, its client tries again for some ten seconds
        patch.setattr(s3fs.S3FileSystem, "_call_s3", lambda *given, **of: asked.append(given[1]) or ask(*given, **of))
        place_of(store.uri).fs.clear_instance_cache()  # type: ignore[attr-defined]
        said = lubetrip("triage", f"{store.uri}/logs", *settings)
        assert (said.returncode, said.stdout) == (2, "")
        assert "this store cannot be read (Could not connect" in said.stderr
        assert len(asked) == 1
    place_of(store.uri).fs.clear_instance_cache()  # type: ignore[attr-defined]

    monkeypatch.setitem(sys.modules, "upath", None)
    with pytest.raises(Refusal, match=r"pip install .*'universal-pathlib>="):
        place_of("s3://site/logs")
