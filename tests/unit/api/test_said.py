"""What is kept in English and said in the reader's language where it is shown: reasons, refusals, the history."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest
from jinja2 import Environment

from api.falls.since import sentence
from api.fields.shown import in_tag, said
from api.languages import speaking
from api.languages.catalogues import texts
from api.languages.core import core_says, refused_says
from api.languages.templates import whole_figures
from api.languages.whole import kept_together
from api.ledger.history_words import DID, NOUNS
from scheduler.engine.reasons.sentences import amount

ROOT = Path(__file__).parents[3]


@pytest.mark.parametrize(
    ("english", "spanish"),
    [
        (
            "Its kit is complete only on Wed Apr 14; with its kit complete by Mon Apr 12 it could go with Veldt in"
            " place of J-1058 on Mon Apr 12.",
            "Su kit no está completo hasta el mié 14 abr; con su kit completo el lun 12 abr podría ir con Veldt en"
            " lugar de J-1058 el lun 12 abr.",
        ),
        (
            "It needs 3 people, Corranby has 2, and there are 0 helpers at yard river on Fri Apr 16; with 1 more helper"
            " it could go with Corranby on Fri Apr 16.",
            "Hacen falta 3 personas, Corranby tiene 2, y hay 0 ayudantes en la base river el vie 16 abr; con 1 ayudante"
            " más podría ir con Corranby el vie 16 abr.",
        ),
        (
            f"No room: it would push out J-1055 and J-1057 (Veldt on Thu Apr 15), {amount(98242)} worse; nothing"
            " cheaper was found with everything planned again.",
            "No cabe: desplazaría a J-1055 y J-1057 (Veldt el jue 15 abr), $982.42 peor; con todo planeado de nuevo no"
            " se encontró nada más barato.",
        ),
        (
            "ladder-24 is out on Mon Mar 15: yard north has 2, Rask-Orme has 2 out, and it needs 1 of ladder-24; with 1"
            " more of ladder-24 it could go with elm on Mon Mar 15.",
            "escalera de 24 pies está fuera el lun 15 mar: la base north tiene 2, Rask-Orme lleva 2, y hacen falta 1 de"
            " escalera de 24 pies; con 1 más de escalera de 24 pies podría ir con elm el lun 15 mar.",
        ),
    ],
)
def test_a_reason_is_said_clause_by_clause(english: str, spanish: str) -> None:
    with speaking("es"):
        assert core_says(english) == spanish
    assert core_says(english) == english


@pytest.mark.parametrize(
    ("changed", "spanish"),
    [
        (["crew hours", "ladders and tools", "the shelf", "kits"],
         "horas de cuadrillas, escaleras y herramientas, el estante y kits"),
        (["ladders and tools", "people and skills"], "escaleras y herramientas y personas y habilidades"),
        (["vans", "ladders and tools"], "camionetas y escaleras y herramientas"),
    ],
)  # fmt: skip
def test_what_has_changed_is_said_whole_where_a_thing_has_an_and_of_its_own(changed: list[str], spanish: str) -> None:
    with speaking("es"):
        assert core_says(sentence(changed)) == f"Cambió desde entonces: {spanish}. Planee otra vez."


def test_a_value_that_two_braces_share_leaves_no_blank_before_the_colon() -> None:
    said = "Fully out at 15° the front bar comes 9' out and 2' down, with 6' 7\" clear under the valance: measure again"
    with speaking("es"):
        assert "la cenefa: " in core_says(f"{said} where the ground is not level.")


def test_a_refusal_keeps_its_values() -> None:
    with speaking("es"):
        assert refused_says('must be a date such as 2027-04-12, is "soon"') == (
            'debe ser una fecha como 2027-04-12, es "soon"'
        )
        assert refused_says("J-1042 is done: its crate is not counted any more.") == (
            "J-1042: hecho; su caja ya no se cuenta."
        )
        assert refused_says("Quite another thing that nobody has written.") == (
            "Quite another thing that nobody has written."
        )
    assert refused_says("is missing") == "is missing"


def noted() -> set[tuple[str, str]]:
    """Return what is done to what, of every line that the service writes into the history with both written out."""
    found = set()
    for path in (ROOT / "api").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.Call) and ast.unparse(node.func) == "note" and len(node.args) > 4:
                did, noun = node.args[3:5]
                if isinstance(did, ast.Constant) and isinstance(noun, ast.Constant):
                    found.add((str(did.value), str(noun.value)))
    return found


def test_whatever_the_service_notes_is_in_the_catalogue() -> None:
    lines = noted()
    assert len(lines) > 40
    nouns, said = {"case": "changed visit", "account": "sign-in"}, {"drafted": "wrote"}
    missing = {did for did, _ in lines if f"{{who}} {said.get(did, did)} {{what}}" not in DID}
    missing |= {noun for did, noun in lines if noun not in did and f"the {nouns.get(noun, noun)}" not in NOUNS}
    assert not missing
    assert {*DID, *NOUNS} <= texts("es", "messages").all.keys()


@pytest.mark.parametrize(
    ("source", "kept"),
    [
        ("{{ n | round }} % chance", "{{ n | round }}\u00a0% chance"),
        ("<b>5 %</b> of {% if n % 5 %}all{% endif %}", "<b>5\u00a0%</b> of {% if n % 5 %}all{% endif %}"),
        ("{% if n == 1 %}one{% endif %} % sign, {{ 7 % n }}", "{% if n == 1 %}one{% endif %} % sign, {{ 7 % n }}"),
        ("drive {{ n }} min, {{ n }} minutes", "drive {{ n }}\u00a0min, {{ n }} minutes"),
        ("{{ work }} in {{ town }}", "{{ work }} in {{ town }}"),
        ('<li data-item="{{ item }}">{{ item }} lb', '<li data-item="{{ (item) | in_tag }}">{{ item }}\u00a0lb'),
    ],
)
def test_no_line_breaks_between_a_figure_and_its_unit(source: str, kept: str) -> None:
    assert whole_figures(source) == kept


@pytest.mark.parametrize(
    ("text", "kept"),
    [
        ("45 min", "45~min"),
        ("3 h 40 on site", "3~h~40 on site"),
        ("ladder 24 ft", "ladder 24~ft"),
        ("escalera de 12 pies", "escalera de 12~pies"),
        ("6' 2 1/16\" up", "6'~2~1/16\" up"),
        ("lag 3/8 x 3 in, 5 ft 6 in", "lag 3/8 x 3~in, 5~ft 6~in"),
        ("gusts 30 mph, 0.2 in", "gusts 30~mph, 0.2~in"),
        ("12 in the yard, 3 minutes, 4 hours", "12 in the yard, 3 minutes, 4 hours"),
    ],
)
def test_no_line_breaks_within_a_length_or_a_time(text: str, kept: str) -> None:
    assert kept_together(text).replace("\u00a0", "~") == kept


def test_what_a_script_sends_back_keeps_its_blanks() -> None:
    jinja = Environment(finalize=said, autoescape=True)
    jinja.filters["in_tag"] = in_tag
    shown = jinja.from_string('<li data-item="{{ x | in_tag }}">{{ x }}').render(x="lag 3/8 x 3 in")
    assert shown == '<li data-item="lag 3/8 x 3 in">lag 3/8 x 3\u00a0in'
