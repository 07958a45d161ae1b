"""What a fit settled, in words that say whose value it is."""

from replay.display.fit import unknown_words


def test_an_unknown_is_told_with_what_it_is_of() -> None:
    """Catches `run 1 oil` and `sensors oil gain`, which nobody can read."""
    assert [
        unknown_words(key) for key in ("run 1 oil_c", "run 12 share", "sensors oil_gain", "sensors suction_lag_s")
    ] == [
        "oil temperature at the start of run 1",
        "refrigerant in the oil at the start of run 12",
        "gain of the oil sensor",
        "lag of the suction sensor",
    ]
    assert unknown_words("behaviour.drying_time_s") == "drying time"
