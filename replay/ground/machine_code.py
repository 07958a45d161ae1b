"""Functions compiled by numba, their machine code kept in the project's cache.

numba's own cache ends a command where it is damaged or where no folder can be written. Here it is read and written by
`replay.ground.cache`, one file for each function and kinds of arguments.
"""

import contextlib
import hashlib
import pickle
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numba
from numba.core.caching import FunctionCache
from numba.core.serialize import dumps

from replay.ground.cache import keep, read_kept
from replay.ground.compiling import tell_of_compiling

_NumbaCache: Any = FunctionCache  # which has no types
_dumps: Callable[[Any], bytes] = dumps


def compiled(function: Callable[..., Any], folder: Path, **options: Any) -> Any:
    """Return the compiled form of a function, its machine code kept in a folder; options: those of numba."""
    tell_of_compiling()
    made: Any = numba.njit(**options)(function)
    try:
        made._cache = _Cache(function, folder)  # noqa: SLF001 - what `cache=True` does, with a cache of its own
    except Exception:  # noqa: BLE001 - where this numba keeps nothing so, it is compiled each time
        return made
    return made


class _Cache(_NumbaCache):  # type: ignore[misc]
    """The cache of one function: without machine code that can be used it has none, and without room it keeps none."""

    def __init__(self, function: Callable[..., Any], folder: Path) -> None:
        config: Any = numba.config
        before, config.CACHE_DIR = config.CACHE_DIR, str(folder)
        try:
            super().__init__(function)
        finally:
            config.CACHE_DIR = before
        self._cache_file = _Files(folder, function.__name__)

    def load_overload(self, sig: Any, target_context: Any) -> Any:
        """Return the code for some kinds of arguments, None where it has to be compiled."""
        try:
            return super().load_overload(sig, target_context)
        except Exception:  # noqa: BLE001 - whatever is wrong with what was kept
            return None

    def save_overload(self, sig: Any, data: Any) -> None:
        """Keep the code for some kinds of arguments."""
        with contextlib.suppress(Exception):  # it is not kept then
            super().save_overload(sig, data)


class _Files:
    """What numba reads and writes of one function: machine code by its key."""

    def __init__(self, folder: Path, name: str) -> None:
        self.folder, self.name = folder, name

    def _file(self, key: Any) -> Path:
        return self.folder / f"{self.name}.{hashlib.sha256(repr(key).encode()).hexdigest()[:16]}.nbc"

    def load(self, key: Any) -> Any:
        data = read_kept(self._file(key))
        return None if data is None else pickle.loads(data)  # noqa: S301 - as this command wrote it

    def save(self, key: Any, data: Any) -> None:
        keep(self._file(key), _dumps(data))

    def flush(self) -> None:
        """Forget nothing: what is of no use any more stands in another folder."""
