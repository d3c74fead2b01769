"""Measure the week sheet in a real browser: `python -m tests.benchmarks.bench_pages DATA [ADDRESS ...]`.

DATA is a data folder with a planned week (`ops/start` makes one); it is copied, not touched. Printed for each page and
width: its height in screens, the words to be seen on it, and for a week sheet the height and words of a visit's line
and the warning marks on visits. Ends with 1 where axe finds a fault.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
from pathlib import Path
from typing import Any

from playwright.sync_api import ViewportSize, sync_playwright

from api.access.accounts import Role
from tests.browser.board import Board, add_people, axe, serving
from tests.browser.chromium import ARGS, CHROMIUM

SCREENS: tuple[ViewportSize, ...] = (
    {"width": 1280, "height": 900},
    {"width": 1440, "height": 900},
    {"width": 1920, "height": 1080},
)
_WARNING = "▲◧□"
# Hidden text has no innerText; letters and figures between spaces are words, signs alone are not.
_MEASURED = """() => {
  const words = (e) => (e.innerText.match(/\\S*[\\p{L}\\p{N}]\\S*/gu) ?? []).length;
  const visits = [...document.querySelectorAll("td .visit")];
  const middle = (all) => all.length ? all.sort((a, b) => a - b)[Math.floor(all.length / 2)] : null;
  return {
    screens: document.documentElement.scrollHeight / innerHeight,
    words: words(document.body),
    visits: visits.length,
    line_px: middle(visits.map((e) => e.getBoundingClientRect().height)),
    line_words: middle(visits.map(words)),
    marks: visits.map((e) => (e.innerText.match(/[WARNING]/gu) ?? []).length).reduce((a, b) => a + b, 0),
  };
}""".replace("WARNING", _WARNING)


def main(data: Path, addresses: list[str]) -> int:
    """Print the table; return 1 where axe finds a fault on a page, else 0."""
    faults = 0
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        copy = shutil.copytree(data, Path(folder) / "data")
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGS)
        with serving(copy) as (app, address):
            add_people(app)
            board = Board(app, address, browser)
            page = board.signed_in_page(Role.manager)
            print(
                f"{'page':<22}{'width':>6}{'screens':>9}{'words':>7}{'visits':>8}{'px':>5}{'words':>7}{'marks':>7}  axe"
            )
            for where in addresses:
                for screen in SCREENS:
                    page.set_viewport_size(screen)
                    page.goto(where)
                    page.evaluate("document.fonts.ready")
                    told = _checked(page)
                    faults += told != "no fault"
                    print(_line(where, screen["width"], page.evaluate(_MEASURED)), told)
            board.close_pages()
        browser.close()
    return 1 if faults else 0


def _checked(page: Any) -> str:
    try:
        axe(page)
    except AssertionError as fault:
        return str(fault)
    return "no fault"


def _line(where: str, width: int, found: dict[str, float | None]) -> str:
    def number(name: str, digits: int = 0) -> str:
        value = found[name]
        return "–" if value is None else f"{value:.{digits}f}"

    return (
        f"{where:<22}{width:>6}{number('screens', 2):>9}{number('words'):>7}{number('visits'):>8}"
        f"{number('line_px'):>5}{number('line_words'):>7}{number('marks'):>7} "
    )


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1]), sys.argv[2:] or ["/"]))
