"""The hunt for ports that want one thing more: a wrong program is told, a right one is not, and nothing stays changed."""

from protect import protection, timers
from tests.support.toolchain import vector_set
from tests.wrong_ports.one_more import MODULES, Place, Program, Wrong, drawn, hunt, places, sources, wrongs


def place_of(module: str, part: str) -> Place:
    """Return the place of a module that has this text."""
    source = sources()[module]
    return next(place for place in places(module, source) if source[place.begin : place.end] == part)


def test_a_right_program_is_told_by_nothing_and_a_wrong_one_by_the_first_step_that_differs() -> None:
    """Catches a hunt that compares nothing, or takes every program for a wrong one."""
    told, texts = drawn(1, 12), sources()
    down = place_of("timers", "run_down(state, MEMORY_LEFT, seen)")
    always, never = (Program(texts, Wrong(down, "if", thing)) for thing in ("i[RESET] >= 0", "i[RESET] > 1"))

    assert Program(texts, None).tells(told) is None
    assert always.tells(told) is None
    assert never.tells(told) is not None
    assert protection.timers is timers


def test_every_module_of_a_step_has_conditions_and_statements_to_change() -> None:
    """Catches a module that is passed over, and a place whose text is not a whole condition or statement."""
    for module, source in sources().items():
        found = list(places(module, source))
        assert {place.statement for place in found} == {False, True}
        for place in found:
            compile(next(wrongs(place)).text(source), module, "exec")
    assert set(sources()) == set(MODULES)


def test_what_the_vectors_tell_is_not_looked_for_in_the_walks() -> None:
    """Catches a hunt that says of what is found that it is not, and one that says so of nothing."""
    down = place_of("timers", "run_down(state, MEMORY_LEFT, seen)")
    some = [(case.settings, case.ticks) for case in vector_set().cases[:3]]
    equal, told = Wrong(down, "if", "s[TRIPS] < 100"), Wrong(down, "if", "s[STATE] == 0")

    assert dict(hunt(iter((equal, told)), some, drawn(1, 12))) == {equal: None}
