"""An object store for tests: a server of this process that speaks S3 over a socket of this machine, and what it is asked."""

import contextlib
import logging
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from moto.server import ThreadedMotoServer


@dataclass
class Store:
    """A store with one bucket; `asked` are the requests so far, "GET /site/logs/a.csv" and the like."""

    uri: str
    asked: list[str] = field(default_factory=list)

    def put(self, file: Path, name: str) -> str:
        """Put a file into the bucket and return its URI."""
        from upath import UPath

        (UPath(self.uri) / name).write_bytes(file.read_bytes())
        return f"{self.uri}/{name}"

    def put_folder(self, folder: Path, name: str) -> str:
        """Put all files of a folder into the bucket and return its URI."""
        for file in sorted(folder.rglob("*")):
            if file.is_file():
                self.put(file, f"{name}/{file.relative_to(folder)}")
        return f"{self.uri}/{name}"


class _Asked(logging.Handler):
    """Takes down what a store is asked."""

    def __init__(self, asked: list[str]) -> None:
        super().__init__()
        self.asked = asked

    def emit(self, record: logging.LogRecord) -> None:
        """Take down one request, colours left out."""
        if found := re.search(r"((?:GET|HEAD|PUT|POST) \S+) HTTP", record.getMessage()):
            self.asked.append(found[1])


@contextlib.contextmanager
def object_store() -> Iterator[Store]:
    """Start a store, with what its clients need in the environment, which the workers of a cluster take over."""
    from upath import UPath

    server = ThreadedMotoServer(ip_address="127.0.0.1", port=0, verbose=False)
    server.start()
    host, port = server.get_host_and_port()
    store = Store("s3://site")
    handler, log = _Asked(store.asked), logging.getLogger("werkzeug")
    log.setLevel(logging.INFO)
    log.addHandler(handler)
    log.propagate = False
    with pytest.MonkeyPatch.context() as patch:
        for name, value in {
            "AWS_ENDPOINT_URL": f"http://{host}:{port}",
            "AWS_ACCESS_KEY_ID": "tests",
            "AWS_SECRET_ACCESS_KEY": "tests",
            "AWS_DEFAULT_REGION": "us-east-1",
        }.items():
            patch.setenv(name, value)
        UPath(store.uri).fs.clear_instance_cache()
        UPath(store.uri).mkdir()
        yield store
        UPath(store.uri).fs.clear_instance_cache()
    log.removeHandler(handler)
    server.stop()
