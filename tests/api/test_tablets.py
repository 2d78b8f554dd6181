"""Tablets through the API: the same acts as at the desk."""

from shop.acts.tablets import enrol_tablet
from shop.clock import now
from tests import factories


def test_administrator_makes_a_code_moves_and_revokes(programs, catalogue):
    factories.make_station("S-02")
    ada = programs["administrator"]
    offer = ada.ask("POST", "tablets/", {"name": "T-01", "station": "S-01"})
    assert offer.status == 201
    enrol_tablet(code=offer.json["code"], at=now())
    pk = offer.json["tablet"]["id"]
    assert ada.ask("POST", f"tablets/{pk}/move/", {"station": "S-02", "reason": "bench rebuilt"}).json["station"] == "S-02"
    assert ada.ask("POST", f"tablets/{pk}/revoke/", {"reason": ""}).rules == ["data.required"]
    assert ada.ask("POST", f"tablets/{pk}/revoke/", {"reason": "lost"}).json["revoked_because"] == "lost"
    (listed,) = programs["auditor"].get("tablets/")
    assert (listed["name"], listed["station"], bool(listed["revoked_at"])) == ("T-01", "S-02", True)
    assert "code" not in listed


def test_unknown_station_is_named_in_the_refusal(programs, catalogue):
    answer = programs["administrator"].ask("POST", "tablets/", {"name": "T-01", "station": "S-77"})
    assert answer.status in (404, 422)
    assert "S-77" in answer.text
