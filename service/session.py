"""One run of `look` on the terminal: progress, the summary or the document, then the files."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from service import stdout
from service.contract import Document, Refused, document, to_json
from service.engine import Engine, Progress, default_engine
from service.look import EXIT_NOTHING, Outcome, Request, look
from service.output import default_folder, prepare, write_files
from service.prior_options import stated

if TYPE_CHECKING:
    from rich.console import Console

#: Makes the engine; tests put a stand-in here.
make_engine: Callable[[], Engine] = default_engine


@contextmanager
def _progress(console: Console) -> Iterator[Progress | None]:
    """A progress line on standard error, where someone is watching; nothing otherwise."""
    if not console.is_terminal:
        yield None
        return
    from rich.progress import BarColumn, Progress, SpinnerColumn, TextColumn, TimeElapsedColumn

    columns = (SpinnerColumn(), TextColumn("{task.description}"), BarColumn(), TimeElapsedColumn())
    with Progress(*columns, console=console, transient=True) as bar:
        task = bar.add_task("Starting", total=1.0)
        yield lambda stage, share: bar.update(task, description=stage[:1].upper() + stage[1:], completed=share)


def _say(text: str) -> None:
    sys.stderr.write(text.encode("utf-8", "replace").decode("utf-8") + "\n")


def _tell_refused(outcome: Outcome) -> None:
    for r in outcome.refused:
        _say(f"grainassay: {r.file}: {r.cause}\n  {r.remedy}")
    for note in outcome.notes:
        _say(f"grainassay: {note}")


def _files(doc: Document, outcome: Outcome, text: str) -> dict[str, bytes]:
    from service.pictures import evidence_pictures
    from service.report import report_html

    pictures = evidence_pictures(outcome.assessment, doc)
    files = {f"{photo}-evidence.jpg": data for photo, data in pictures.items()}
    files["assessment.json"] = (text + "\n").encode()
    files["report.html"] = report_html(doc, pictures, outcome.notes).encode("utf-8", "replace")
    return files


def run(request: Request, *, as_json: bool, out: Path | None, engine: Engine | None = None) -> int:
    """Assess, print, write; returns the exit status.

    Standard output carries the summary, or with `as_json` the document alone. What was found is printed before files are
    written, so that a full disk costs no answer.
    """
    from rich.console import Console

    folder = out if out is not None else (None if as_json else default_folder(request.files[0]))
    if out is not None:
        prepare(out)
    watcher = Console(stderr=True)
    gone = False
    with stdout.reserved() as write:
        with _progress(watcher) as progress:
            outcome = look(request, engine or make_engine(), progress)
            refused = [Refused(file=r.file, cause=r.cause, remedy=r.remedy) for r in outcome.refused]
            doc = document(outcome.assessment, refused, stated(request.prior))
            text = to_json(doc)
        if as_json:
            _tell_refused(outcome)
            write(text)
    if not as_json:
        from service.summary import print_summary

        try:
            print_summary(doc, Console(), outcome.notes)
            sys.stdout.flush()
        except (BrokenPipeError, SystemExit):  # the reader went away, as in `| head`: the files are still wanted
            gone = True  # Rich leaves by SystemExit then, with standard output on the null device
    if folder is not None and outcome.exit_code != EXIT_NOTHING:
        written = write_files(folder, _files(doc, outcome, text))
        tell = _say if as_json or gone else print
        tell(f"\nReport:   {written[-1]}\nPictures: {', '.join(str(p) for p in written[:-2])}\nDocument: {written[-2]}")
    return 1 if gone else outcome.exit_code
