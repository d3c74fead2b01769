"""The wall drawing as a PDF, a page for each sheet, at the scale that it states."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

_SIZE = re.compile(r'<svg [^>]*?width="(?P<width>[0-9.]+)mm" height="(?P<height>[0-9.]+)mm"')
_PAGE = (
    "@page {{ size: {width}mm {height}mm; margin: 0 }} html, body {{ margin: 0 }}"
    " svg {{ display: block; break-after: page }} svg:last-child {{ break-after: auto }}"
)


def drawing_pdf(sheets: Sequence[str]) -> bytes:
    """Return the sheets that `scheduler.layout.drawing.draw_sheets` gave as a PDF, each a page of its true size.

    Nothing outside the drawing is fetched. The text stays text: it can be searched and read out. Printed at "actual
    size" it is to scale. Raises `ValueError` where the first sheet does not give its size in millimetres.
    """
    import weasyprint  # takes a second or more to load

    size = _SIZE.search(sheets[0])
    title = re.search(r"<title>(.*?)</title>", sheets[0], re.DOTALL)
    if size is None:
        raise ValueError("the drawing does not say its size in millimetres")
    html = (
        f'<!doctype html><html lang="en"><head><title>{title[1] if title else "Wall drawing"}</title>'
        f"<style>{_PAGE.format(**size.groupdict())}</style></head><body>{''.join(sheets)}</body></html>"
    )
    return bytes(weasyprint.HTML(string=html, url_fetcher=_nothing_else).write_pdf())


def _nothing_else(url: str, *_: Any, **__: Any) -> Any:
    raise ValueError(f"a drawing needs nothing from elsewhere, and asks for {url}")
