"""Evenhand judges the roast, not the shot.

`judge` does in Python what the command of that name does; it is imported when first used, so that importing the package
costs nothing.
"""

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from evenhand.records.judging import judge

__version__ = "0.1.0"
__all__ = ["__version__", "judge"]


def __getattr__(name: str) -> Any:
    if name == "judge":
        from evenhand.records.judging import judge

        return judge
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
