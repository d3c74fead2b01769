"""Parts lists, bench counts, and what a kit's condition allows."""

from __future__ import annotations

import math

import pytest

from scheduler.errors import BadInput
from scheduler.kit import (
    Kit,
    after_count,
    after_loading,
    compare,
    new_kit,
    parts_list,
    with_spares,
)
from scheduler.layout.compute import lay_out
from scheduler.layout.site.tools import tools_for
from tests.surveys import plain_survey


def plain_kit(maker: dict[str, int] | None = None, **changes: object) -> Kit:
    survey = plain_survey(**changes)
    layout = lay_out(survey)
    return parts_list(survey, layout, tools_for(survey, layout.fastener), maker)


def test_parts_of_the_plain_survey() -> None:
    kit = plain_kit()
    brackets = 4
    assert kit.crate() == {
        "awning": 1, "bracket": brackets, "hood": 1, "hood end cap": 2, "hood support": brackets, "hand transmitter": 1,
    }  # fmt: skip
    shelf = kit.shelf()
    (lag,) = [name for name in shelf if name.startswith("lag 3/8 x ")]
    holes = brackets * 4
    assert shelf.pop(lag) == holes + 2
    assert shelf == {"shim": 8, "washer 3/8 in": holes + 2, "sealant cartridge": 1}
    assert kit.equipment() == {"stepladder-6": 2, "material-lift": 1}
    assert (kit.box_mm, kit.boxes, kit.weight_kg) == (4300, 1, 66)
    assert {"level 4 ft", "chalk line", "drill driver"} <= {item.name for item in kit.items if item.where == "back"}


def test_what_the_maker_packs_is_not_taken_from_the_shelf() -> None:
    kit = plain_kit(maker={"awning": 1, "bracket": 3, "shim": 20, "arm cover": 2})
    assert kit.crate() == {"awning": 1, "bracket": 3, "shim": 20, "arm cover": 2}
    assert kit.shelf()["bracket"] == 1  # the wall asks for four
    assert "shim" not in kit.shelf()


def test_masonry_takes_its_anchor_by_the_name_in_its_report() -> None:
    anchor = {"name": "sleeve anchor 1/2 in", "tension_n": 9000, "shear_n": 9000, "source": "report"}
    shelf = plain_kit(wall={"kind": "concrete"}, anchor=anchor, awning={"motor": None, "hood": False}).shelf()
    assert shelf["sleeve anchor 1/2 in"] == with_spares(16)
    assert not any(name.startswith("washer") for name in shelf)


def test_a_layout_without_brackets_makes_no_kit() -> None:
    survey = plain_survey(wall={"kind": "brick-veneer"})
    layout = lay_out(survey)
    with pytest.raises(BadInput, match="settle its stops"):
        parts_list(survey, layout, ())
    with pytest.raises(BadInput, match=r"maker\.bracket: must be 1 or more"):
        plain_kit(maker={"bracket": 0})


@pytest.mark.parametrize(("holes", "taken"), [(0, 0), (1, 3), (16, 18), (20, 22), (21, 24), (40, 44)])
def test_spares_one_in_ten_begun_two_at_least(holes: int, taken: int) -> None:
    assert with_spares(holes) == taken


def test_a_count_says_what_is_short_uncounted_and_extra() -> None:
    listed = {"awning": 1, "bracket": 4, "hood": 1, "shim": 8}
    count = compare(listed, {"awning": 1, "bracket": 4, "shim": 9, "crank": 1}, damaged={"bracket": 2})
    assert count.short == {"bracket": 2}
    assert count.uncounted == ("hood",)
    assert count.extra == {"shim": 1, "crank": 1}


def test_impossible_counts_are_refused() -> None:
    with pytest.raises(BadInput, match=r"counted\.bracket: must not be negative"):
        compare({"bracket": 4}, {"bracket": -1})
    with pytest.raises(BadInput, match=r"damaged\.bracket: must not be more than was counted \(1\), is 2"):
        compare({"bracket": 4}, {"bracket": 1}, {"bracket": 2})


def test_the_life_of_a_short_kit() -> None:
    listed = {"awning": 1, "bracket": 4}
    kit = new_kit(listed)
    assert kit.condition == "uncounted"
    kit = after_count(kit, compare(listed, {"awning": 1, "bracket": 2}))
    assert (kit.condition, kit.missing) == ("short", {"bracket": 2})
    with pytest.raises(BadInput, match="only a verified kit is loaded, this one is short"):
        after_loading(kit)
    kit = after_count(kit, compare(listed, {"awning": 1, "bracket": 4}))
    assert kit.condition == "verified"
    kit = after_loading(kit)
    assert kit.condition == "loaded"
    with pytest.raises(BadInput, match="unload it first"):
        after_count(kit, compare(listed, {"awning": 1, "bracket": 4}))


def test_half_a_count_leaves_the_kit_uncounted_unless_something_is_short() -> None:
    listed = {"awning": 1, "bracket": 4}
    assert after_count(new_kit(listed), compare(listed, {"awning": 1})).condition == "uncounted"
    assert after_count(new_kit(listed), compare(listed, {"awning": 0})).condition == "short"


def test_a_box_is_rounded_up_to_whole_millimetres_and_kilograms() -> None:
    kit = plain_kit(awning={"width": 3999.5, "weight_kg": 55.1})
    assert kit.box_mm == 4300
    assert kit.weight_kg == math.ceil(55.1 * 1.1)
