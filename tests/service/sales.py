"""A sale for tests of its records: a customer with a site, an order and an awning, and the survey of its wall."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from fastapi.testclient import TestClient
from httpx2 import Response

from tests.surveys import PLAIN

AWNING: dict[str, Any] = {
    "model": "hood", "width_mm": 4000, "projection_mm": 3000, "weight_kg": 60, "box_mm": 4300, "boxes": 1,
    "motor": "right", "cloth": "oat", "yard_id": "north", "arrives_on": "2027-04-04",
    "parts": {"awning": 1, "bracket": 4},
}  # fmt: skip


@dataclass
class Sale:
    """The ids of what was made."""

    customer: str
    site: str
    order: str
    awning: str

    def survey(self, **changes: Any) -> dict[str, Any]:
        """Return the body of a survey of this awning's wall."""
        return {
            "site_id": self.site, "awning_id": self.awning, "surveyed_on": "2027-03-01", "surveyed_by": "Ida",
            "document": PLAIN, "uncertain": "", **changes,
        }  # fmt: skip

    def visit(self, **changes: Any) -> dict[str, Any]:
        """Return the body of an install of this awning."""
        return {"kind": "install", "site_id": self.site, "order_id": self.order, "awning_id": self.awning, **changes}


def made(answer: Response) -> dict[str, Any]:
    """Return the record that was made."""
    assert answer.status_code == 201, answer.text
    record: dict[str, Any] = answer.json()
    return record


def sale(office: TestClient, **awning: Any) -> Sale:
    """Make a sale by the office's client."""
    customer = made(office.post("/customers", json={"name": "Odile Marrack"}))["id"]
    place = {"customer_id": customer, "town": "Tern", "address": "1 Row", "lat": 41.0, "lon": -98.0}
    site = made(office.post("/sites", json=place))["id"]
    sold = {"customer_id": customer, "site_id": site, "ordered_on": "2027-02-01"}
    order = made(office.post("/orders", json=sold))["id"]
    hung = made(office.post("/awnings", json={"order_id": order, **AWNING, **awning}))["id"]
    return Sale(customer, site, order, hung)
