"""The README's command reference, made from the commands themselves."""

from __future__ import annotations

import click
import typer.main

from journal.cli import load_commands
from journal.cli.app import app


def reference() -> str:
    """Every command with its help and options, as Markdown."""
    load_commands()
    root = typer.main.get_command(app)
    return "\n".join(_sections(root, "thirdstop"))


def _sections(command: click.Command, name: str) -> list[str]:
    if isinstance(command, click.Group) or hasattr(command, "commands"):
        parts = [] if name == "thirdstop" else [f"### `{name}`", "", command.get_short_help_str(200), ""]
        if getattr(command, "invoke_without_command", False) and name != "thirdstop":
            parts = _usage(command, name)
        for child, inner in sorted(command.commands.items()):  # type: ignore[attr-defined]
            parts += _sections(inner, f"{name} {child}")
        return parts
    return _usage(command, name)


def _usage(command: click.Command, name: str) -> list[str]:
    context = click.Context(command, info_name=name, color=False)
    usage = " ".join(command.collect_usage_pieces(context))
    lines = [f"### `{name}`", "", (command.help or "").strip().split("\n\n")[0].replace("\n", " "), ""]
    lines += [f"```\n{name} {usage}", ""]
    for parameter in command.get_params(context):
        record = parameter.get_help_record(context)
        if record is not None:
            lines.append(f"  {record[0]}\n      {' '.join(record[1].split())}")
    return [*lines, "```", ""]
