"""What the command `label` confirms of a trace that says when it began."""

from pathlib import Path

from tests.support.command import lubetrip


def test_a_label_is_confirmed_by_the_clock_of_the_machine(library: Path) -> None:
    """Catches a window typed in the wrong zone and confirmed in seconds alone, and a disagreement that nobody can place."""
    told = (library / "library.toml").read_text()
    moment = 'start_utc = 2026-03-02T09:00:00Z\nzone = "Europe/Berlin"\n'
    (library / "library.toml").write_text(told.replace('id = "fault"\n', f'id = "fault"\n{moment}'))
    done = lubetrip("label", library, "fault", "--must-trip", "10:01:40", "10:02:40", "--by", "A. Ames")
    assert "  by the clock: 2026-03-02 10:01:40 CET to 2026-03-02 10:02:40 CET\n" in done.stdout
    assert "by the clock" not in lubetrip("label", library, "quiet", "--ride-through", "--by", "A. Ames").stdout
    lubetrip("label", library, "fault", "--ride-through", "--by", "B. Bolt")
    shown = " ".join(lubetrip("label", library, COLUMNS="150").stdout.split())
    assert "must trip from 100 s to 160 s - 2026-03-02 10:01:40 CET to 2026-03-02 10:02:40 CET" in shown
