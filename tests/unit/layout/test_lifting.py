"""Hands and lifts: figures by the published rules, words that never call a lift safe."""

from __future__ import annotations

import pytest

from scheduler.layout.site.lifting import hands_and_lift


@pytest.mark.parametrize(
    ("weight_kg", "width_mm", "hands", "material_lift"),
    [
        (25, 3000, 2, False),  # 55 lb: within 68 lb for two
        (30.8, 3000, 2, False),
        (30.9, 3000, 3, False),  # 68.1 lb: three, to 76.5 lb
        (34.6, 3000, 3, False),
        (34.8, 3000, 2, True),
        (60, 4000, 2, True),
        (60, 4876.8, 2, True),
        (60, 4900, 3, True),  # above 16 ft: common practice
        (91, 4000, 3, True),  # above 200 lb: common practice
    ],
)
def test_hands_by_weight_and_width(weight_kg: float, width_mm: float, hands: int, material_lift: bool) -> None:
    lift = hands_and_lift(weight_kg, 2900, width_mm)
    assert (lift.hands, lift.material_lift) == (hands, material_lift)
    assert lift.share_kg == pytest.approx(weight_kg / hands)


def test_no_words_of_safety_and_the_limits_of_the_figures_are_said() -> None:
    lift = hands_and_lift(60, 2900, 4000)
    text = " ".join(finding.text for finding in lift.findings)
    assert "safe" not in text
    assert "beyond a recommended hand lift" in text
    assert "No published figure covers a lift with the hands above 70 in, by a team, or from a ladder" in text
    assert [finding.level for finding in lift.findings] == ["caution", "caution"]


def test_work_below_seventy_inches_needs_no_overhead_caution() -> None:
    assert [f.code for f in hands_and_lift(25, 1700).findings] == ["hands"]
    assert [f.code for f in hands_and_lift(25, 1800).findings] == ["hands", "overhead-lift"]
