"""The person at the keyboard: told on standard error, asked by prompts."""

from __future__ import annotations

import click

from proofbath.bench.person import Act
from proofbath.cli.output import progress_console


class KeyboardPerson:
    """Reads the screen, does what it says, presses Enter."""

    def __init__(self) -> None:
        self._shown = progress_console()

    def tell(self, text: str) -> None:
        """Show a line."""
        self._shown.print(text, markup=False)

    def wait(self, text: str) -> None:
        """Show a line and wait for Enter."""
        click.prompt(
            f"{text}  [Enter]", default="", show_default=False, prompt_suffix=" ", err=True
        )

    def act(self, act: Act) -> None:
        """Show what to do now; the bench is watched meanwhile."""
        self._shown.print(f"  NOW: {act.text}", style="bold", markup=False)

    def agrees(self, question: str) -> bool:
        """Ask for yes or no; no unless yes is typed."""
        return click.confirm(question, default=False, err=True)

    def reads(self, what: str, wanted: str) -> str:
        """Ask for what a scanner types or hands do."""
        return str(click.prompt(f"Scan or type the {what} on its tag", err=True))
