"""The sensors page of a desk as its operator's browser calls it: acts by name, and what the page then shows."""

from __future__ import annotations

import json
from typing import Any

from dashboard.web.touches import TOUCHES
from support.desk_server import OpenDesk, gathered_touches
from support.http_server import Answer

SENSORS_PAGE = "/sensors/"


class SensorsHand:
    """Touches the sensors page of an open desk through its callbacks."""

    def __init__(self, desk: OpenDesk) -> None:
        self.desk = desk
        self.change = desk.callback(SENSORS_PAGE, changes=True)
        self.look = desk.callback(SENSORS_PAGE, changes=False)

    def body(
        self,
        triggered: list[tuple[Any, str, Any]],
        fields: dict[str, Any] | None = None,
        touches: Any = None,
    ) -> dict[str, Any]:
        """The request of a call with these touches, (id, property, value), or others; with fields by name."""
        gathered = gathered_touches(*triggered) if touches is None else touches
        outs = [
            {"id": part.rpartition(".")[0], "property": part.rpartition(".")[2].partition("@")[0]}
            for part in self.change["output"].strip(".").split("...")
        ]
        return {
            "output": self.change["output"],
            "outputs": outs,
            "inputs": [{"id": TOUCHES, "property": "data", "value": gathered}],
            "state": [
                [{"id": {"type": "field", "name": name, "act": ""}, "property": "value", "value": value}
                 for name, value in (fields or {}).items()],
                {"id": "width", "property": "data", "value": 360},
            ],
            "changedPropIds": [f"{TOUCHES}.data"],
        }  # fmt: skip

    def call(self, body: Any, role: str = "operator") -> Answer:
        """The answer to a call of the operator's callback."""
        return self.desk.call(SENSORS_PAGE, body, role)

    def do(self, *act: Any, **fields: Any) -> str:
        """Touch the button of an act; returns what the page says."""
        identity = {"type": "do", "act": json.dumps(act)}
        status, data, _ = self.call(self.body([(identity, "n_clicks", 1)], fields))
        assert status == 200, data
        return _said(data)

    def live_act(self, *act: Any) -> str:
        """Touch something that the page's script made, such as a number in a line."""
        return self.do(*act)

    def shown(self, role: str = "operator") -> dict[str, Any]:
        """Everything that a page shows that was just loaded, by id."""
        body = {
            "output": self.look["output"],
            "outputs": [
                {"id": part.rpartition(".")[0], "property": part.rpartition(".")[2]}
                for part in self.look["output"].strip(".").split("...")
            ],
            "inputs": [{"id": "look", "property": "n_intervals", "value": 1},
                       {"id": "width", "property": "data", "value": 360}],
            "state": [{"id": "version", "property": "data", "value": 0}],
            "changedPropIds": ["look.n_intervals"],
        }  # fmt: skip
        status, data, _ = self.desk.call(SENSORS_PAGE, body, role)
        assert status == 200, data
        return dict(json.loads(data)["response"])

    def live(self, role: str = "operator") -> dict[str, Any]:
        """What runs by now."""
        return dict(json.loads(self.shown(role)["live"]["data-live"]))

    def port(self, port: str) -> dict[str, Any] | None:
        """What is shown of a port; None where it is not there."""
        return next((one for one in self.live()["ports"] if one["port"] == port), None)

    def places(self, port: str) -> list[str]:
        """The numbers that can be touched in the last line of a port."""
        shown = self.port(port)
        lines = shown["lines"] if shown else []
        return [place for _, place, _ in lines[-1] if place] if lines else []

    def told(self) -> str:
        """What the open question says of the device now."""
        return " ".join(text for text, _ in self.live()["step"]["rows"])

    def step(self) -> str:
        """The open question, as all texts in it; "" for none."""
        return " ".join(texts_in(self.shown()["step"]["children"]))


def _said(data: bytes) -> str:
    return str(json.loads(data)["response"].get("said", {}).get("children", ""))


def texts_in(component: Any) -> list[str]:
    """All texts of Dash components, in order."""
    if isinstance(component, str):
        return [component]
    if isinstance(component, list):
        return [text for one in component for text in texts_in(one)]
    if isinstance(component, dict):
        return texts_in(component.get("props", {}).get("children"))
    return []
