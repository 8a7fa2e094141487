"""What pages are sent: the records, their declarations, and that no script judges a quantity itself."""

import json
import re
import typing

import pytest
from support.growing_session import DemoPull, Page

import dashboard.live.conversion_wire as conversion_wire
import dashboard.live.wire as live_wire
import dashboard.plan.wire as plan_wire
import dashboard.review.wire as review_wire
from dashboard.live.watcher import Watch
from dashboard.web import assets
from dashboard.web.typescript import declaration, field_lines, is_named_tuple, optional_fields

WIRES = (conversion_wire, live_wire, plan_wire, review_wire)
RECORDS = [
    value for wire in WIRES for value in vars(wire).values()
    if (typing.is_typeddict(value) or is_named_tuple(value)) and value.__module__ == wire.__name__
]  # fmt: skip
BASES = {**live_wire.BASES, **review_wire.BASES}
SCRIPTS = sorted(assets.FOLDER.rglob("*.js"))
QUANTITY = r"[\w.]+_(?:N|m|share)\b|\bshare\b"


class Cell(typing.TypedDict):
    """A force cell.

    name: of the cell; None for an unnamed one,
        over two lines.
    level: what it is above.
    """

    name: str | None
    level: typing.Literal["", "stop"]


class OwnCell(Cell):
    """A cell with a place.

    at: where it is.
    """

    at: str


class Cells(typing.TypedDict):
    """All cells.

    rows: values, one for each reading.
    figure: their plot.
    """

    rows: typing.NotRequired[list[list[float | None]]]
    figure: typing.Annotated[dict, "PlotFigure"]


class Place(typing.NamedTuple):
    """Where a cell is.

    at: name of the place; None for none.
    share: of the way.
    """

    at: str | None
    share: float


class NumberedCells(typing.TypedDict, total=False):
    """Cells by number.

    cell: each of them.
    """

    cell: Cell | None


@pytest.mark.parametrize("wire", WIRES, ids=lambda wire: wire.__name__)
def test_the_declaration_that_the_scripts_are_checked_by_is_not_stale(wire):
    fresh = wire.text()
    assert wire.DECLARATION.read_text("utf-8") == fresh, f"python -m {wire.__name__}"
    for record in RECORDS:
        if record.__module__ == wire.__name__ and record.__name__ != "Numbered":
            kind = "type" if is_named_tuple(record) else "interface"
            name = rf"^export {kind} {record.__name__}( extends \w+)? [{{=]"
            assert re.search(name, fresh, re.M)


@pytest.mark.parametrize("record", RECORDS, ids=lambda record: record.__name__)
def test_each_field_of_a_record_has_a_line_and_the_declaration_its_comment(record):
    base = BASES.get(record)
    inherited = set(typing.get_type_hints(base)) if base else set()
    assert set(typing.get_type_hints(record)) - inherited == set(field_lines(record))


def test_a_record_is_declared_with_its_options_and_its_numbered_parts():
    written = declaration(
        "A heading.", [Cell, OwnCell, Cells], {Cells: NumberedCells}, {OwnCell: Cell}
    )
    assert written.startswith("/* A heading. */\n\n/** A force cell. */\nexport interface Cell {\n")
    assert (
        "  /** of the cell; null for an unnamed one, over two lines. */\n  name: string | null;"
        in written
    )
    assert '  level: "" | "stop";' in written
    assert (
        "export interface OwnCell extends Cell {\n  /** where it is. */\n  at: string;\n}"
        in written
    )
    assert "  rows?: (number | null)[][];" in written and "  figure: PlotFigure;" in written
    assert "  /** each of them. */\n  [key: `cell:${string}`]: Cell | null;" in written
    place = declaration("", [Place])
    assert " *   at: name of the place; null for none.\n" in place
    assert "\nexport type Place = [at: string | null, share: number];\n" in place
    with pytest.raises(TypeError):
        declaration("", [typing.TypedDict("Odd", {"value": bytes})])


def fits(value, hint) -> bool:
    """Whether a value that was sent is of the type that its record says."""
    if typing.is_typeddict(hint):
        hints = typing.get_type_hints(hint)
        return (
            isinstance(value, dict) and set(hints) - optional_fields(hint) <= set(value) <= set(hints)
            and all(fits(inner, hints[key]) for key, inner in value.items())
        )  # fmt: skip
    if is_named_tuple(hint):
        hints = list(typing.get_type_hints(hint).values())
        return isinstance(value, list) and len(value) == len(hints) and all(map(fits, value, hints))
    origin, inner = typing.get_origin(hint), typing.get_args(hint)
    if origin is typing.Literal:
        return value in inner
    if origin is list:
        return isinstance(value, list) and all(fits(one, inner[0]) for one in value)
    if inner:  # one of several
        return any(fits(value, one) for one in inner)
    if hint is float:
        return isinstance(value, int | float) and not isinstance(value, bool)
    return isinstance(value, hint) and (hint is bool or not isinstance(value, bool))


def test_what_is_sent_of_a_haul_is_of_the_declared_types(tmp_path):
    pull = DemoPull(tmp_path / "s", 2, 30.0)
    now = [0.0]
    watch = Watch(tmp_path / "s", clock=lambda: now[0])
    page = Page(watch)
    numbered = typing.get_type_hints(live_wire.Numbered)
    plain = typing.get_type_hints(live_wire.Parts)
    seen = set()
    for k in range(1, 61):
        now[0] = k / 2
        pull.feed(k / 2)
        watch.tick()
        answer = page.ask()
        for key, value in answer["parts"].items():
            name = key.split(":")[0]
            seen.add(name)
            assert fits(value, numbered[name] if ":" in key else plain[key]), (key, value)
        rest = {**answer, "parts": {}}
        assert fits(rest, live_wire.SinceAnswer), json.dumps(rest)
    assert {"head", "channel", "strand", "use", "span", "event", "actual_ma", "alarms"} <= seen
    assert max(page.sizes[1:]) < 1000


@pytest.mark.parametrize("script", SCRIPTS, ids=lambda path: path.name)
def test_no_script_compares_a_quantity_with_a_threshold_of_its_own(script):
    """Which level is reached, what is over its limit, what is two-blocked: the server says so."""
    text = re.sub(r"/\*.*?\*/|//[^\n]*", "", script.read_text("utf-8"), flags=re.S)
    for at in re.finditer(rf"(?:{QUANTITY})\s*[<>]=?\s*(?:[0-9]|{QUANTITY})", text):
        drawn = script.name in ("graph.js", "tiles.js", "format.js") and re.search(
            r"top_N|end_N|reach|highest|lowest|nearest", at[0]
        )
        time = re.match(r"(?:from|to|start|end|until|cursor|now)_s", at[0])
        assert drawn or time, at[0]
