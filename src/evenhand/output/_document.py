"""The shell that all pages share: head, style, skip link, header, links to the sections, the sections, footer."""

from collections.abc import Sequence
from functools import cache
from importlib.resources import files

from evenhand.output._markup import esc

INVENTED_MARK = '<p class="invented">Invented data: a made-up example, not a real roastery.</p>\n'


def build_document(
    *,
    title: str,
    skip_to: str,
    header: str,
    parts: Sequence[tuple[str, str, str]],
    invented: bool,
    style: str = "",
) -> str:
    """Build a whole HTML document with its style inside, without script and without any outside reference.

    Parameters
    ----------
    title
        Of the document; plain text.
    skip_to
        What the skip link leads to, as plain text: the first part.
    header
        Inside of the header, as HTML.
    parts
        Id, heading and HTML of each section; those without HTML are left out.
    invented
        Whether the data are invented, which title and footer then say.
    style
        CSS beside that of all pages.
    """
    shown = [(ident, heading, html) for ident, heading, html in parts if html]
    links = "".join(f'<li><a href="#{ident}">{heading}</a></li>' for ident, heading, _ in shown)
    sections = "".join(
        f'<section aria-labelledby="{ident}"><h2 id="{ident}" tabindex="-1">{heading}</h2>\n{html}</section>\n'
        for ident, heading, html in shown
    )
    return (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{esc(title)}{' (invented data)' if invented else ''}</title>\n"
        f"<style>\n{_style()}{style}</style>\n</head>\n<body>\n"
        f'<a class="skip" href="#{parts[0][0]}">Skip to the {skip_to}</a>\n'
        f"<header>\n{header}</header>\n"
        f'<nav aria-label="On this page"><ul>{links}</ul></nav>\n<main>\n{sections}</main>\n'
        f"<footer><p>Written by Evenhand, which judges the roast, not the shot."
        f"{' All data on this page are invented.' if invented else ''}</p></footer>\n</body>\n</html>\n"
    )


def build_definitions(pairs: Sequence[tuple[str, str]]) -> str:
    """Build a list of terms and what they mean, both plain text."""
    listed = "".join(f"<dt>{esc(term)}</dt><dd>{esc(text)}</dd>\n" for term, text in pairs)
    return f"<dl>\n{listed}</dl>\n"


@cache
def _style() -> str:
    return files("evenhand.output").joinpath("page.css").read_text(encoding="utf-8")
