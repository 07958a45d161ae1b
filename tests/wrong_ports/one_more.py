"""Wrong programs that want one thing more: `python -m tests.wrong_ports.one_more [--walks 300] [--keep]`, long.

A port that was written by hand takes a condition along where it does not belong: the trip memory runs down only with
the machine stopped, a stuck channel is told only before the first trip. Here each `if` and each statement of a step
hangs on one thing more, of `THINGS` or its contrary, one at a time. Most are told by the vectors; what drawn walks tell and
the vectors do not is printed, and with `--keep` the walk stands in walks.txt from then on, named PURPOSE, up to the step that told it.
"""

import ast
import importlib
import types
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import click

from protect import outputs, protection, ranges, state
from replay.port import adversary
from replay.port.vectors import MIDDLE, Tick, build
from replay.port.walks import WALKS, Walk, read_walks, write_walks
from tests.wrong_ports.search import Drawer

MODULES = ("signals", "integral", "timers", "conditions", "table", "outputs")
PURPOSE = "one thing more"
MORE = "_more"  # the name under which a wrong program finds the thing
Words = list[int]
Told = Sequence[tuple[Sequence[int], Sequence[Tick]]]  # settings, and the ticks from power-up

# s, v, i, o: state, settings, inputs and outputs as they stand when the thing is asked for.
THINGS = (
    "i[RUN_FEEDBACK]", "i[RESET]", *(f"s[STATE] == {number}" for number in range(6)), "s[STATE] >= TRIPPED", "s[INTEGRAL] == 0",
    "s[INTEGRAL] >= v[TRIP_DELAY]", "s[INTEGRAL_FRACTION] == 0", "s[TRIPS] > 0", "s[TRIPS] > 1", "s[MEMORY_LEFT] > 0",
    "s[FAULT_TIME] > 0", "s[FAULT_TIME] >= v[FAULT_DELAY]", "s[GRACE_LEFT] > 0", "s[GRACE_LEFT] >= v[START_GRACE]",
    "s[RESTART_LEFT] > 0", "s[RESTART_LEFT] >= v[RESTART_DELAY]", *(f"s[FLAGS] & {1 << bit}" for bit in range(9)),
    "s[FLAGS] & RESETS", "o[SEEN] > 0", "o[DOUBTED] > 0", "o[SEEN] > 0 and o[DOUBTED] > 0", "o[CREDIBLE]",
    "o[NET_OIL_PRESSURE] > 0", "o[NET_OIL_PRESSURE] < 0", "o[NET_OIL_PRESSURE] < v[FLOOR]", "o[NET_OIL_PRESSURE] < v[CUT_OUT]",
    "i[ELAPSED] == 0", "i[ELAPSED] > v[MAX_GAP]", "i[ELAPSED] == v[MAX_GAP]", "i[ELAPSED] < 0",
    *(f"i[{name}] == NO_READING" for name in ("OIL_PRESSURE", "SUCTION_PRESSURE", "CRANKCASE_PRESSURE")),
    "i[CRANKCASE_PRESSURE] != i[SUCTION_PRESSURE]", "i[SUCTION_PRESSURE] < v[VACUUM]", "i[SUCTION_PRESSURE] >= v[RELOAD]",
    "i[OIL_PRESSURE] < 0", "i[SUCTION_PRESSURE] <= 0", "s[OIL_SEEN + 1] > 0", "s[OIL_SEEN] == i[OIL_PRESSURE]",
    *(f"s[{name} + 1] >= v[STUCK_AFTER]" for name in ("OIL_SEEN", "SUCTION_SEEN", "CRANKCASE_SEEN")),
    "s[CAUSE] == 0", "s[CAUSE] > 4", "s[CAUSE] == RESETS_CAUSE",
    *(f"v[{name}] == 0" for name in ("RECOVERY", "STOPPED_RECOVERY", "START_GRACE", "RESTART_DELAY", "REST_SETTLE", "RESET_HOLD")),
    "v[RELOAD_FRACTION] == 0", "v[FLOOR] == 0", "v[VACUUM] == 0", "v[RELOAD_LEVEL] == 0", "v[FLOOR_WEIGHT] == ONE",
    "v[VACUUM_WEIGHT] == ONE", "v[REST_MOST] == REST_OFF", "v[TRIPS_TO_LOCKOUT] == 1", "v[RESETS_MOST] == 1", "v[RESETS_MOST] == 7",
    "v[VACUUM] == v[RELOAD]", "v[REST_SETTLE] == v[RESTART_DELAY]", "v[RESET_HOLD] == v[RESTART_DELAY]",
    "v[RELOAD_LEVEL] == v[TRIP_DELAY]", "v[VACUUM] == v[SUCTION_LEAST]", "v[RELOAD] == v[SUCTION_MOST]",
    "v[FAULT_DELAY] < v[MAX_GAP]", "v[START_GRACE] > v[TRIP_DELAY]",
)  # fmt: skip


@dataclass(frozen=True)
class Place:
    """A condition or a statement of a module: text[begin:end]."""

    module: str
    begin: int
    end: int
    statement: bool


@dataclass(frozen=True)
class Wrong:
    """A place that hangs on one thing more; how: and, or, or if."""

    place: Place
    how: str
    thing: str

    def text(self, source: str) -> str:
        """Return the source of the module with it."""
        part = source[self.place.begin : self.place.end]
        said = f"if {MORE}(): {part}" if self.place.statement else f"({part}) {self.how} {MORE}()"
        return source[: self.place.begin] + said + source[self.place.end :]

    def name(self, source: str) -> str:
        """Return what it is, in a line."""
        part = " ".join(source[self.place.begin : self.place.end].split())
        return f"{self.place.module}: {part} [{self.how} {self.thing}]"


def sources() -> dict[str, str]:
    """Return the sources of the modules of a step."""
    folder = Path(protection.__file__).parent
    return {name: (folder / f"{name}.py").read_text(encoding="utf-8") for name in MODULES}


def places(module: str, source: str) -> Iterator[Place]:
    """Yield the conditions of a module, and its statements that could be left out."""
    starts = [0]
    for line in source.splitlines(keepends=True):
        starts.append(starts[-1] + len(line))  # the sources of the logic are ASCII
    for function in ast.parse(source).body:
        known: set[str] = set()
        for node in ast.walk(function) if isinstance(function, ast.FunctionDef) else ():
            part = node.test if isinstance(node, ast.If) else node
            if isinstance(node, ast.If) or _could_be_left_out(node, known):
                end = getattr(part, "end_lineno", 0), getattr(part, "end_col_offset", 0)
                begin = getattr(part, "lineno", 0), getattr(part, "col_offset", 0)
                first, last = (starts[line - 1] + column for line, column in (begin, end))
                yield Place(module, first, last, statement=part is node)


def _could_be_left_out(node: ast.AST, known: set[str]) -> bool:
    """Say whether a node is a statement without which the function still runs; known: names that are assigned by then."""
    if isinstance(node, ast.Assign):
        target = node.targets[0]
        first = isinstance(target, ast.Name) and target.id not in known
        known |= {target.id} if isinstance(target, ast.Name) else set()
        return isinstance(target, ast.Subscript | ast.Name) and not first
    return isinstance(node, ast.AugAssign) or (isinstance(node, ast.Expr) and isinstance(node.value, ast.Call))


def wrongs(place: Place) -> Iterator[Wrong]:
    """Yield what may be wrong at a place."""
    for thing in (*THINGS, *(f"not ({thing})" for thing in THINGS)):
        yield from (Wrong(place, how, thing) for how in (("if",) if place.statement else ("and", "or")))


class Program:
    """The step with one module of it changed, or with none."""

    def __init__(self, texts: dict[str, str], wrong: Wrong | None) -> None:
        """Compile what is changed."""
        self.module: types.ModuleType | None = None
        if wrong is not None:
            self.name = wrong.place.module
            self.module = types.ModuleType(f"protect.{self.name}")
            exec(compile(wrong.text(texts[self.name]), self.name, "exec"), self.module.__dict__)  # noqa: S102 - our own text
            names = vars(importlib.import_module("protect.ranges")) | vars(state) | vars(outputs)
            asked = f"lambda s, v, i, o: {wrong.thing}"
            self.asked: Callable[[Words, Words, Words, Words], object] = eval(asked, names)  # noqa: S307 - as above

    def tells(self, told: Told) -> tuple[int, int] | None:
        """Return the walk and the step in which it comes to something else, or None."""
        if self.module is None:
            return _first_difference(told)
        right = getattr(protection, self.name)
        setattr(protection, self.name, self.module)
        try:
            return _first_difference(told, lambda *words: setattr(self.module, MORE, lambda: self.asked(*words)))
        finally:
            setattr(protection, self.name, right)


def _first_difference(told: Told, before: Callable[..., None] = lambda *_: None) -> tuple[int, int] | None:
    memory, results = [0] * state.STATE_SIZE, [0] * outputs.OUTPUTS_SIZE
    inputs = [0] * ranges.INPUTS_SIZE
    for number, (settings, ticks) in enumerate(told):
        values = list(settings)
        state.power_up(memory, values)
        before(memory, values, inputs, results)
        for at, tick in enumerate(ticks):
            inputs[:] = tick.inputs
            protection.step(memory, values, inputs, results)
            if (*memory, *results) != (*tick.state, *tick.outputs):
                return number, at
    return None


def drawn(seed: int, walks: int) -> list[tuple[tuple[int, ...], list[Tick]]]:
    """Return drawn walks with what the reference makes of them."""
    drawer, found = Drawer(seed), []
    for _ in range(walks):
        values, mood, inputs = drawer.settings(), [0] * adversary.MOOD_SIZE, [0] * ranges.INPUTS_SIZE
        adversary.draw_mood(drawer.rng, mood)
        memory, results = [0] * state.STATE_SIZE, [0] * outputs.OUTPUTS_SIZE
        state.power_up(memory, values)
        ticks = []
        for _ in range(drawer.random.choice((10, 30, 60))):
            drawer.inputs(memory, values, mood, inputs)
            protection.step(memory, values, list(inputs), results)
            ticks.append(Tick(tuple(inputs), tuple(memory), tuple(results)))
        found.append((tuple(values), ticks))
    return found


def hunt(found: Iterator[Wrong], vectors: Told, walks: Told) -> Iterator[tuple[Wrong, tuple[int, int] | None]]:
    """Yield what the vectors do not tell, each with the walk and step that does, or None."""
    texts = sources()
    for wrong in found:
        program = Program(texts, wrong)
        if program.tells(vectors) is None:
            yield wrong, program.tells(walks)


@click.command()
@click.option("--walks", default=300, show_default=True, help="How many are drawn.")
@click.option("--seed", default=27, show_default=True)
@click.option("--keep", is_flag=True, help="Add what tells more to walks.txt.")
def command(walks: int, seed: int, *, keep: bool) -> None:
    """Print what drawn walks tell and the vectors do not."""
    vectors: list[tuple[tuple[int, ...], Sequence[Tick]]] = [(case.settings, case.ticks) for case in build().cases]
    told, lengths, silent = drawn(seed, walks), {}, 0
    texts = sources()
    every = (wrong for name in MODULES for place in places(name, texts[name]) for wrong in wrongs(place))
    for wrong, by in hunt(every, vectors, told):
        if by is None:
            silent += 1
            continue
        walk, step = by
        lengths[walk] = max(lengths.get(walk, 0), step + 1)
        vectors.append((told[walk][0], told[walk][1][: step + 1]))
        click.echo(f"not told by the vectors: {wrong.name(texts[wrong.place.module])}")
    more = [
        Walk(PURPOSE, told[walk][0][: ranges.SETTING_COUNT], tuple(tick.inputs for tick in told[walk][1][:length]))
        for walk, length in lengths.items()
    ]
    click.echo(
        f"{len(more)} walks of {sum(len(walk.inputs) for walk in more)} steps tell more; {silent} told by nothing"
    )
    if keep:
        write_walks(WALKS, [*read_walks(WALKS, MIDDLE), *more])


if __name__ == "__main__":
    command()
