"""How every command ends on bad input: one sentence a problem on standard error, and exit status 2."""

from rich.console import Console

from evenhand.errors import EvenhandError, FolderError

BAD_INPUT = 2


def complain(error: EvenhandError) -> int:
    """Print what is wrong, every problem on a line of its own.

    Parameters
    ----------
    error
        What was raised on purpose.

    Returns
    -------
    int
        The exit status, `BAD_INPUT`.
    """
    console = Console(stderr=True)
    for problem in error.problems if isinstance(error, FolderError) else (str(error),):
        console.print(problem, style="red", markup=False, highlight=False, soft_wrap=True)
    return BAD_INPUT
