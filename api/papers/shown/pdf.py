"""Papers printed as PDF from templates."""

from __future__ import annotations

import datetime
import functools
import zoneinfo
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from api import tables
from api.fields.shown import FILTERS, said
from api.languages import gettext, language
from api.languages.templates import speaks
from api.outside import outside
from api.papers.shown.cautions import GOES_FIRST
from api.papers.shown.job_page import allowed


def print_pdf(template: str, values: dict[str, Any], business: tables.Business, now: datetime.datetime) -> bytes:
    """Return a template as PDF in the language spoken, on letter or A4 as the business measures.

    Nothing from elsewhere is fetched.
    """
    paper = "letter" if business.units == "imperial" else "A4"
    printed = now.astimezone(zoneinfo.ZoneInfo(business.timezone))
    html = (
        _environment(language())
        .get_template(template)
        .render(**values, paper=paper, printed=printed, goes_first=gettext(GOES_FIRST))
    )
    return outside(printed_html, html)


def printed_html(html: str) -> bytes:
    """Return a page as PDF; nothing from elsewhere is fetched."""
    import weasyprint  # takes a second or more to load

    return bytes(weasyprint.HTML(string=html, url_fetcher=_nothing_else).write_pdf())


@functools.cache
def _environment(code: str) -> Environment:
    folder = Path(__file__).parents[2] / "templates"
    made = Environment(
        loader=FileSystemLoader(folder),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=said,
    )
    made.filters.update(FILTERS, allowed=allowed)
    speaks(made, code)
    return made


def _nothing_else(url: str, *_: Any, **__: Any) -> Any:
    raise ValueError(f"a printed paper needs nothing from elsewhere, and asks for {url}")
