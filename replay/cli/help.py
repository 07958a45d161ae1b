"""`help`: the guides that come with the program, and how its commands end."""

from pathlib import Path

import click

from replay.cli.group import main
from replay.cli.topics import STATUS
from replay.ground.refusal import nearest, refusal

GUIDES = Path(__file__).parents[1] / "guides"
EXIT_CODES = "exit-codes"


def _topics() -> dict[str, str]:
    """Return the first line of each guide by its name."""
    heads = {path.stem: path.read_text(encoding="utf-8").split("\n", 1)[0] for path in sorted(GUIDES.glob("*.md"))}
    return {name: head.lstrip("# ") for name, head in heads.items()} | {EXIT_CODES: "Exit status of the commands"}


def _begun(_context: click.Context, _param: click.Parameter, begun: str) -> list[str]:
    """Return the guides and commands that begin so, for completion."""
    return [name for name in (*_topics(), *main.commands) if name.startswith(begun)]


@main.command("help", short_help="Print a guide: units, settings, profiles, exit-codes, ...")
@click.argument("topic", metavar="[TOPIC]", required=False, shell_complete=_begun)
@click.pass_context
def help_about(context: click.Context, topic: str | None) -> None:
    """Print the guide on TOPIC, or the help of a command; without TOPIC, list the guides."""
    topics = _topics()
    if topic is None:
        wide = max(map(len, topics))
        for name, head in topics.items():
            click.echo(f"{name:{wide}}  {head}")
    elif topic == EXIT_CODES:
        wide = max(len(status) for status, _ in STATUS)
        for status, meaning in STATUS:
            click.echo(f"{status:{wide}}  {meaning}")
    elif topic in topics:
        click.echo((GUIDES / f"{topic}.md").read_text(encoding="utf-8"), nl=False)
    elif (command := main.get_command(context, topic)) is not None:
        with click.Context(command, info_name=topic, parent=context.parent) as its:
            click.echo(command.get_help(its))
    else:
        raise refusal("help", "", "no such guide", nearest(topic, topics), topic)
