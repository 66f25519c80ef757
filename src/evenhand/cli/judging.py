"""`evenhand judge`: check the way out first, judge, then show and write; bad input ends in sentences and status 2."""

from pathlib import Path

from rich.console import Console

from evenhand.cli._complaints import complain
from evenhand.errors import EvenhandError, OutputError
from evenhand.output.judgement_file import to_json
from evenhand.output.terminal import show
from evenhand.output.write import check_writable, write_beside_then_rename
from evenhand.records.judging import judge


def run(
    folder: Path,
    *,
    json: Path | None,
    html: Path | None,
    pdf: Path | None,
    batches: tuple[str, ...],
    paper: str,
) -> int:
    """Judge a folder, show the verdicts, write the files asked for.

    Returns
    -------
    int
        The exit status: 0, or 2 with the reasons on standard error and no file written.
    """
    console = Console()
    outputs = {"json": json, "html": html, "pdf": pdf}
    try:
        _check_outputs(outputs)
        judgement = judge(folder, batches=batches)
        # Everything is made before anything is written, so that a failure leaves no half of it behind.
        made: list[tuple[Path, bytes]] = []
        if json is not None:
            made.append((json, to_json(judgement).encode()))
        if html is not None:
            from evenhand.output.page import page

            made.append((html, page(judgement).encode()))
        if pdf is not None:
            from evenhand.output.paper import paper as print_paper

            made.append((pdf, print_paper(judgement, size=paper)))
        for path, content in made:
            write_beside_then_rename(path, content)
    except EvenhandError as error:
        return complain(error)
    show(judgement, console, only=batches)
    for path, _ in made:
        console.print(f"Written: {path}", markup=False, highlight=False, soft_wrap=True)
    return 0


def _check_outputs(outputs: dict[str, Path | None]) -> None:
    """Refuse before the work what cannot be written after it, all of it in one go."""
    problems: list[str] = []
    taken: dict[Path, str] = {}
    for kind, path in outputs.items():
        if path is None:
            continue
        if path.resolve() in taken:
            problems.append(f"--{kind} and --{taken[path.resolve()]} both name {path}; give each a file of its own.")
        taken[path.resolve()] = kind
        try:
            check_writable(path)
        except OutputError as error:
            problems.append(str(error))
    if problems:
        raise OutputError("\n".join(problems))
