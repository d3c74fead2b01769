"""A crew that is called after its people is still one crew in every sentence, in English and Spanish."""

from __future__ import annotations

import pytest

from api.fields import shown
from api.languages import speaking
from api.languages.core import core_says
from scheduler.week import crew_begins, crew_goes_on


@pytest.mark.parametrize("name", ["Lea and Bo", "Lea y Bo", "Lea & Bo", "Lea, Bo", "Lea/Bo", "Lea+Bo"])
def test_a_crew_of_two_names_is_one_crew(name: str) -> None:
    assert (crew_begins(name), crew_goes_on(name)) == (f"The crew {name}", f"the crew {name}")
    assert (shown.crew_begins(name), shown.crew_goes_on(name)) == (f"The crew {name}", f"the crew {name}")
    with speaking("es"):
        assert (shown.crew_begins(name), shown.crew_goes_on(name)) == (f"La cuadrilla {name}", f"la cuadrilla {name}")


@pytest.mark.parametrize("name", ["Bramwith", "Rask-Orme", "north-1", "Andover", "Yves Anders"])
def test_a_crew_of_one_name_is_called_by_it(name: str) -> None:
    assert (crew_begins(name), crew_goes_on(name), shown.crew_begins(name)) == (name, name, name)


def test_it_is_one_crew_in_spanish_too_where_a_sentence_is_kept_in_english() -> None:
    words = f"{crew_begins('Lea and Bo')} does not work on Mon Apr 12: it has no hours that day."
    with speaking("es"):
        assert core_says(words) == "La cuadrilla Lea y Bo no trabaja el lun 12 abr: ese día no tiene horas."
