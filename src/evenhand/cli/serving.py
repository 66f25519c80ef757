"""`evenhand serve`: opens the bench on this machine."""

from rich.console import Console

from evenhand.cli._complaints import complain
from evenhand.errors import EvenhandError


def run(*, host: str, port: int, names: tuple[str, ...], tls: bool) -> int:
    """Serve until stopped.

    Returns
    -------
    int
        The exit status: 0, or 2 when it could not start.
    """
    from evenhand.bench.serving import Place, serve

    console = Console()

    def say(line: str) -> None:
        console.print(line, markup=False, highlight=False, soft_wrap=True)
        console.file.flush()

    try:
        serve(Place(host=host, port=port, names=names, tls=tls), say=say)
    except EvenhandError as error:
        return complain(error)
    return 0
