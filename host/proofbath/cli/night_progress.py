"""Progress of a night on standard error: bath, step and time left."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager

from rich.progress import BarColumn, Progress, TextColumn

from proofbath.bench.night import Progressed
from proofbath.cli.output import progress_console


@contextmanager
def night_progress() -> Iterator[Callable[[Progressed], None]]:
    """Show a bar while the block runs; yields what is to be told of each commit."""
    bar = Progress(
        TextColumn("{task.fields[clock]} h"),
        BarColumn(bar_width=24),
        TextColumn("bath {task.fields[bath]} °C  {task.fields[left]} h left  {task.description}"),
        console=progress_console(),
    )
    with bar:
        task = bar.add_task("starting", total=1.0, clock=" 0.0", bath="    ?", left="   ?")

        def tell(now: Progressed) -> None:
            bar.update(
                task,
                completed=now.progress.fraction,
                clock=f"{now.reading.t_s / 3600:4.1f}",
                bath=f"{now.reading.bath_c:5.1f}",
                left=f"{now.progress.left_s / 3600:4.1f}",
                description=now.progress.label,
            )

        yield tell
