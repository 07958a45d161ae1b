"""One trace: a file, or a table in memory, as integer arrays that have passed every check."""

from replay.trace.rows import COLUMNS
from replay.trace.trace import AnyTrace, LongTrace, Trace, first_time_s, open_trace, read_pieces, read_trace

__all__ = ["COLUMNS", "AnyTrace", "LongTrace", "Trace", "first_time_s", "open_trace", "read_pieces", "read_trace"]
