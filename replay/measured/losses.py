"""What an import lost, left out or held, said first where it is much: what is not there cannot be judged."""

from typing import Any

from replay.ground.wording import words
from replay.measured.assemble import HOUR_MS, Counts

MUCH = 0.2  # share from which it is said before all else

NO_SUCTION = "suction pressure was not logged: neither vacuum nor a reload into it can be seen"


def judged_share(counts: Counts) -> float:
    """Return the share of the hours between first and last row in which oil pressure can be judged.

    Rows that were left out leave a gap behind, or, at a wrong time, none: the smaller share counts, but for logs on
    change, of which a share of the rows is none of the time.
    """
    kept = sum(part.end_ms - part.start_ms for part in counts.parts)
    there = kept / (kept + counts.lost_ms) if kept else 0.0
    if not counts.made:
        there = min(there, 1 - (_left_out(counts) + counts.without_status) / max(counts.read, 1))
    return there * (counts.net.running / counts.net.run_rows if counts.net.run_rows else 1.0)


def said_first(counts: Counts) -> list[str]:
    """Return what is to be said before all else, in words; nothing where little was lost."""
    kept_ms = sum(part.end_ms - part.start_ms for part in counts.parts)
    whole_h, left_out = (kept_ms + counts.lost_ms) / HOUR_MS, _left_out(counts)
    net, rows = counts.net, max(counts.kept, 1)
    shares = [
        (counts.lost_ms / HOUR_MS / whole_h if whole_h else 0.0, f"of the {whole_h:.2f} h are lost in gaps"),
        (left_out / max(counts.read, 1), "of the rows were left out as broken"),
        (counts.without_status / max(counts.read, 1), "of the rows have no running status and were left out"),
        (1 - net.running / net.run_rows if net.run_rows else 0.0, "of the running rows have no net oil pressure"),
    ]
    for signal, seen in counts.readings.items():
        shares.append((seen.missing / rows, f"of the rows have no reading of {words(signal)}"))
        shares.append((counts.not_good[signal] / max(counts.read, 1), f"of the {words(signal)} readings are not good"))
    shares += [(held / rows, f"of the rows hold an older {words(signal)}") for signal, held in counts.held.items()]
    shares.append((counts.made / rows, "of the rows were made between those of the file, where readings hold"))
    much = [f"{100 * share:.0f} % {what}" for share, what in shares if share > MUCH]
    return [f"Can be judged on {100 * judged_share(counts):.0f} % of its hours.", *much] if much else []


def _left_out(counts: Counts) -> int:
    return sum(mend.rows for mend in counts.mends.values())


def as_entry(counts: Counts, *, constant: bool) -> dict[str, Any]:
    """Return what an entry of a library says of it: where much was lost, the share that is left to judge and why.

    constant: nobody measured suction pressure.
    """
    said = said_first(counts)[1:]
    if constant:
        said.append(NO_SUCTION)
    return {"judged_share": round(judged_share(counts), 3), "losses": said} if said else {}
