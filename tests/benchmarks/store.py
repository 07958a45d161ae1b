"""Triage of a fleet in an object store on a Dask cluster, beside a plain read of the same data there: python -m tests.benchmarks store.

10,000 machine-days at one row every 10 s (STORE_DAYS, STORE_STEP_S), a Parquet file a day, partitioned by machine and
date: the invented machine of the benchmark `triage`, twenty different days again and again. The store is a server in a
process of its own, the cluster two workers on the same machine, so that store, workers and scheduler share its cores.
STORE_PLACE=folder puts the same partitioned data set into a folder instead, so that no store takes its share.
The peer is what one would write: each worker reads its machines' files by pyarrow's own means and adds up the columns.
"""

import os
import pickle
import resource
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from tests.benchmarks.triage import SETTINGS, rows

DAYS = int(os.environ.get("STORE_DAYS", "10000"))
PLACE = os.environ.get("STORE_PLACE", "store")
STEP_S = int(os.environ.get("STORE_STEP_S", "10"))
DAYS_OF_A_MACHINE = 20
UNIX_S = 1_767_225_600
DAY_S = 86400
BATCH = 250  # objects that are put at a time


def day_of(number: int, rng: np.random.Generator) -> bytes:
    """Return a day as a Parquet file: every STEP_S-th row of the machine at 1 Hz."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    begin = number * DAY_S
    columns = {name: values[::STEP_S] for name, values in rows(begin, begin + DAY_S, rng).items()}
    columns["time_s"] = columns["time_s"] + UNIX_S
    sink = pa.BufferOutputStream()
    pq.write_table(pa.table({name: pa.array(values, from_pandas=True) for name, values in columns.items()}), sink)
    return sink.getvalue().to_pybytes()


def fill(uri: str) -> int:
    """Put the fleet into the store; return its bytes."""
    from upath import UPath

    root, rng = UPath(uri), np.random.default_rng(1)
    files = [day_of(number, rng) for number in range(DAYS_OF_A_MACHINE)]
    root.parent.mkdir(exist_ok=True)
    names = [(f"machine=K{at // DAYS_OF_A_MACHINE:04d}", at % DAYS_OF_A_MACHINE) for at in range(DAYS)]
    for begin in range(0, DAYS, BATCH):
        part = names[begin : begin + BATCH]
        for machine, day in part if PLACE != "store" else ():
            (root / machine / f"date={day:02d}").mkdir(parents=True, exist_ok=True)
        root.fs.pipe({f"{root.path}/{machine}/date={day:02d}/part-0.parquet": files[day] for machine, day in part})
    return sum(len(files[day]) for _, day in names)


def added_up(files: list[str]) -> float:
    """Read the files of a machine by pyarrow alone and add their columns up."""
    import pyarrow.compute as pc
    import pyarrow.dataset as ds
    from pyarrow import fs

    address = os.environ.get("AWS_ENDPOINT_URL")
    store = fs.S3FileSystem(endpoint_override=address) if PLACE == "store" else fs.LocalFileSystem()
    table = ds.dataset(files, filesystem=store, format="parquet").to_table()
    return sum(float(pc.sum(column).as_py() or 0) for column in table.columns)


def plain_read(uri: str, scheduler: str) -> str:
    """Let the workers add up what their machines' files hold."""
    from distributed import Client
    from upath import UPath

    root, machines = UPath(uri), {}
    for file in sorted(root.fs.find(root.path)):
        machines.setdefault(file.split("/")[-3], []).append(file)
    with Client(scheduler) as client:
        sums = client.gather(client.map(added_up, list(machines.values()), pure=False))
    return f"{len(sums)} machines, sum {sum(sums):.6g}"


def triaged(uri: str, scheduler: str) -> str:
    """Triage the fleet."""
    from replay.triage.report import triage_logs

    with tempfile.TemporaryDirectory() as folder:
        settings = Path(folder) / "slow.toml"
        text = SETTINGS.read_text(encoding="utf-8").replace('max_gap = "3 s"', f'max_gap = "{3 * STEP_S} s"')
        settings.write_text(text.replace('stuck_after = "30 s"', f'stuck_after = "{30 * STEP_S} s"'), encoding="utf-8")
        report = triage_logs([uri], settings, cluster=scheduler)
    found = report.machines
    size = sum(len(pickle.dumps(one)) for one in found)
    spells, read = sum(sum(one.events.values()) for one in found), sum(one.rows for one in found)
    return f"{len(found)} machines, {read} rows, {spells} events; {size / 1e6:.1f} MB of findings"


def server() -> tuple[subprocess.Popen[bytes], str]:
    """Start the store; return its process and address."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = [sys.executable, "-m", "moto.server", "-H", "127.0.0.1", "-p", str(port)]
    running = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    for _ in range(300):
        with socket.socket() as trial:
            if trial.connect_ex(("127.0.0.1", port)) == 0:
                return running, f"http://127.0.0.1:{port}"
        time.sleep(0.1)
    raise TimeoutError("the store does not answer")


def measured(name: str, work: Callable[[str, str], str], uri: str, scheduler: str, size: int) -> float:
    """Do the work; print and return its seconds."""
    begin = time.perf_counter()
    told = work(uri, scheduler)
    spent = time.perf_counter() - begin
    speed = f"{DAYS / spent:7.0f} machine-days/s, {DAYS * DAY_S / STEP_S / spent / 1e6:6.2f} M rows/s"
    print(f"{name:10} {spent:8.1f} s, {speed}, {size / spent / 1e6:6.1f} MB/s; {told}")
    return spent


def measure(uri: str) -> None:
    """Fill a place and print what it takes to read it plainly and to triage it."""
    from distributed import LocalCluster

    begin = time.perf_counter()
    size = fill(uri)
    print(f"{DAYS} machine-days at {STEP_S} s, {size / 1e6:.0f} MB, put in {time.perf_counter() - begin:.0f} s")
    with LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address="127.0.0.1:0") as cluster:
        scheduler = cluster.scheduler_address
        plain = measured("plain read", plain_read, uri, scheduler, size)
        ours = measured("triage", triaged, uri, scheduler, size)
    here = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"triage by plain read {ours / plain:.2f}; peak memory here {here:.0f} MiB")


def main() -> None:
    """Print what the fleet takes, and the ratio to the plain read."""
    if PLACE != "store":
        with tempfile.TemporaryDirectory() as folder:
            measure(f"{folder}/logs")
        return
    running, address = server()
    given = {"AWS_ENDPOINT_URL": address, "AWS_ACCESS_KEY_ID": "b", "AWS_SECRET_ACCESS_KEY": "b"}
    os.environ.update(given | {"AWS_DEFAULT_REGION": "us-east-1"})
    try:
        measure("s3://fleet/logs")
    finally:
        running.terminate()
        running.wait()
