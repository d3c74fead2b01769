"""`ops/languages`: bring the catalogues up to date with the texts in the sources.

ops/languages           take new texts in, let those that are gone go; say what is still to be translated
ops/languages --check   change nothing; exit code 1 where a catalogue is not whole
"""

from __future__ import annotations

import datetime
import io
import sys
from collections.abc import Iterator
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.pofile import read_po, write_po

from api.languages import ENGLISH, LANGUAGES
from api.languages.catalogues import path_of
from api.languages.extraction import DOMAINS, faults

# The same in every catalogue: it tells nothing that the history of the sources does not.
WRITTEN = datetime.datetime(2026, 11, 29, tzinfo=datetime.UTC)
ROOT = Path(__file__).resolve().parents[2]


def updated(keep: bool) -> Iterator[str]:
    """Yield what is wrong with each catalogue, once what is new in the sources is in it; `keep`: written too."""
    for code in sorted(set(LANGUAGES) - {ENGLISH}):
        for domain, found in DOMAINS.items():
            path = path_of(code, domain)
            before = path.read_bytes() if path.exists() else b""
            made = read_po(io.BytesIO(before), locale=code) if before else Catalog(locale=code, fuzzy=False)
            made.update(found(ROOT), no_fuzzy_matching=True, update_creation_date=False)
            made.obsolete.clear()
            made.project, made.version, made.header_comment = (
                "Eaveboard",
                "",
                f"# Texts of Eaveboard: {LANGUAGES[code]}.",
            )
            made.last_translator = made.language_team = made.msgid_bugs_address = "Eaveboard"
            made.creation_date = made.revision_date = WRITTEN
            after = io.BytesIO()
            write_po(after, made, width=120, sort_by_file=True, ignore_obsolete=True)
            if keep:
                path.parent.mkdir(parents=True, exist_ok=True)
                path.write_bytes(after.getvalue())
            elif after.getvalue() != before:
                yield f"{path.relative_to(ROOT)}: not up to date, run ops/languages"
            yield from (f"{path.relative_to(ROOT)}: {fault}" for fault in faults(made))


def main(arguments: list[str]) -> int:
    """Do what the arguments say; return the exit code."""
    if arguments not in ([], ["--check"]):
        print(__doc__, file=sys.stderr)
        return 2
    wrong = list(updated(keep=not arguments))
    print(*wrong, sep="\n")
    return 1 if wrong and arguments else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
