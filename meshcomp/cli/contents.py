"""The help of the program: its commands as a table of contents, in the job's order."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from typer.core import TyperGroup

if TYPE_CHECKING:
    import typer

__all__ = ["Contents"]


class Contents(TyperGroup):
    """Commands under the headings they were added with, each with its whole sentence."""

    def format_commands(self, ctx: typer.Context, formatter: Any) -> None:  # type: ignore[override]
        """Write one section for each heading."""
        sections: dict[str, list[tuple[str, str]]] = {}
        for name in self.list_commands(ctx):
            command: Any = self.get_command(ctx, name)
            heading = command.rich_help_panel or "Commands"
            sentence = (command.help or "").partition("\n\n")[0]
            sections.setdefault(heading, []).append((name, " ".join(sentence.split())))
        widest = max(len(name) for rows in sections.values() for name, _ in rows)
        for heading, rows in sections.items():
            with formatter.section(heading):
                formatter.write_dl([(name.ljust(widest), text) for name, text in rows])
