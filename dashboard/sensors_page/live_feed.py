"""Makes what changes on the sensors page without a touch: ports, their last lines, and what channels read now."""

from __future__ import annotations

from typing import Any

from analysis.messages.message import message
from dashboard.sensors_page.acts import act
from dashboard.sensors_page.channel_acts import ZERO_S, mean_text, scatter_text
from dashboard.sensors_page.known_size import pulled_size
from dashboard.sensors_page.ports.heard_port import PortNews
from dashboard.sensors_page.ports.port_watch import SeenPort
from dashboard.sensors_page.sensors_desk import NOW_S, SensorsDesk, channel_readings
from dashboard.sensors_page.sensors_store import SensorsState
from dashboard.sensors_page.typed import shown_port
from dashboard.text.listen_sentences import COMMA_WORDS, escaped, sentence
from logger.channels.channel import Channel
from logger.channels.port_schemes import scheme_of
from logger.errors import CallFault, one_line
from logger.listening.marking import line_parts
from logger.listening.movement import Movement

SHOWN_LINES = 5  # of a port, the last ones
MOST_TIPS = 4  # of one port

Live = dict[str, Any]


def live_feed(sensors: SensorsDesk, state: SensorsState, operator: bool) -> Live:
    """What the page's script shows; operator: whether its buttons may be touched."""
    sensors.listeners.looked()
    ports = sensors.watch.ports()
    news = sensors.listeners.news()
    return {
        "version": state.version,
        "may": operator,
        "ports": [_port(sensors, state, one, news.get(one.port)) for one in ports],
        "channels": _channels(sensors, state),
        "step": _step(sensors, state),
    }


# -- ports -----------------------------------------------------------------------------------------
def _port(sensors: SensorsDesk, state: SensorsState, seen: SeenPort, news: PortNews | None) -> Live:
    used = sensors.listeners.blocked(seen.names)
    on = news is not None and news.phase != "stopped"
    buttons = [["Stop", act("stop", seen.port)] if on else ["Listen", act("listen", seen.port)]]
    if used:
        buttons = []
    else:
        buttons.append(["Settings", act("settings", seen.port)])
    if seen.port in state.typed and not used:
        buttons.append(["Forget", act("forget", seen.port)])
    shown: Live = {
        "port": seen.port,
        "name": shown_port(seen.port),
        "label": seen.label if seen.label not in ("", "n/a", seen.port) else "",
        "word": used or _word(seen, news),
        "mind": bool(news is not None and news.phase in ("gone", "silent", "no text", "closed")),
        "tips": [],
        "asks": [],
        "buttons": buttons,
        "lines": [],
    }
    if news is not None and not used:
        taken = _taken(sensors, state, seen)
        shown["tips"] = _tips(seen, news)
        shown["asks"] = _commas(seen, news)
        shown["lines"] = _lines(news, taken)
    return shown


def _word(seen: SeenPort, news: PortNews | None) -> str:
    if news is None or (news.phase == "stopped" and not news.said):
        return {True: "plugged in", False: "not plugged in", None: "an address"}[seen.here]
    settings = "" if news.baud is None else f", {news.baud} baud {news.framing}"
    asked = "" if news.ask is None else f", asked {escaped(news.ask.encode('latin-1'))}"
    match news.phase:
        case "heard":
            rate = news.lines_per_s
            lines = "listening" if rate is None else f"{rate:.3g} lines a second"
            return f"{lines}{settings}{asked}"
        case "trying":
            return f"listening, trying {news.said}" if news.said else "listening"
        case "silent":
            return f"silent for {news.since_s:.0f} s{settings}{asked}"
        case "few":
            return "sends a few bytes now and then: its rate is not found yet"
        case "no text":
            return "sends something that no usual setting reads"
        case "gone":
            return f"pulled out: {one_line(news.said, 100)}"
        case "closed":
            return one_line(news.said, 160)
    return one_line(news.said, 100)


def _tips(seen: SeenPort, news: PortNews) -> list[str]:
    """What to try, and what is worth knowing."""
    said = []
    scheme = scheme_of(seen.port)
    serial = scheme is not None and scheme.needs_baud
    if news.phase == "silent":
        said.append(message("listen_try_power"))
        if serial:
            said += [
                message("desk_try_ask"),
                message("desk_try_framing"),
                message("listen_try_wires"),
            ]
        else:
            said.append(message("listen_try_sender"))
    elif news.phase == "few":
        said.append(message("desk_few"))
    elif news.phase == "no text":
        said.append(message("listen_no_text", tried=max(1, news.tried)))
    elif news.phase == "heard" and news.understood is not None:
        understood = news.understood
        if not understood.lines:
            said.append(message("listen_no_end"))
        elif not understood.series and not understood.unclear:
            said.append(message("listen_no_number"))
        said += [
            sentence(one) for one in understood.remarks if one.code in ("kinds", "other_transducer")
        ]
    return [one.text() for one in said[:MOST_TIPS]]


def _commas(seen: SeenPort, news: PortNews) -> list[Live]:
    """The question what a comma or a blank means, with its answers."""
    asks = []
    for one in () if news.understood is None else news.understood.unclear:
        if one.code in ("comma", "blank"):
            choices = str(one.values["choices"]).split()
            line = one_line(str(one.values["line"]), 60)
            what = "comma" if one.code == "comma" else "blank"
            asks.append({
                "text": f"A {what} stands in its numbers: {line}. What is it?",
                "buttons": [[COMMA_WORDS[c], act("comma", seen.port, c)] for c in choices],
            })  # fmt: skip
    return asks


def _taken(sensors: SensorsDesk, state: SensorsState, seen: SeenPort) -> dict[str, str]:
    """Name of the channel by place of the number, of one port."""
    taken = {}
    for row in sensors.rows(state):
        if row.get("port") in seen.names | {seen.port}:
            place = sensors.place_of(row)
            if place is not None:
                taken[place] = str(row.get("name", ""))
    return taken


def _lines(news: PortNews, taken: dict[str, str]) -> list[list[list[str]]]:
    """The last lines in parts: text, place of the number, name of its channel; "" for none."""
    if not news.lines:
        return [[[escaped(news.latest), "", ""]]] if news.latest else []
    series = () if news.understood is None else news.understood.series
    return [
        [
            [piece.text, piece.place or "", taken.get(piece.place or "", "")]
            for piece in line_parts(line, series)
        ]
        for line in news.lines[-SHOWN_LINES:]
    ]


# -- channels --------------------------------------------------------------------------------------
def _channels(sensors: SensorsDesk, state: SensorsState) -> dict[str, list[str]]:
    """What each channel reads now, and its state: "", "caution", "stop" or "none"."""
    checked = sensors.outcome(state).sensors
    by_name = {} if checked is None else {channel.name: channel for channel in checked.channels}
    values: dict[str, list[str]] = {}
    by_port: dict[str, list[dict[str, Any]]] = {}
    for row in sensors.rows(state):
        by_port.setdefault(str(row.get("port", "")), []).append(row)
    for port, rows in by_port.items():
        heard = sensors.heard(port)
        capture = None if heard is None else heard.since(NOW_S)
        read = {} if capture is None else channel_readings(rows, capture)
        for row in rows:
            name = str(row.get("name", ""))
            got = read.get(name, ())
            if not got:
                values[name] = ["not heard now", "none"]
                continue
            values[name] = _value(sensors, by_name.get(name), row, got[-1])
    return values


def _value(
    sensors: SensorsDesk, channel: Channel | None, row: dict[str, Any], reading: float
) -> list[str]:
    own = f"{reading:g} {row.get('unit', '')}".strip()
    if channel is None:
        return [own, ""]
    value = float(channel.si(reading))
    units = sensors.desk.units
    shown = (units.force if channel.quantity == "force" else units.length)(value)
    level = ""
    if channel.saturated(reading):
        level = "stop"
        shown += ", beyond its capacity"
    elif channel.stop_at is not None and value >= channel.stop_at:
        level, shown = "stop", f"{shown} STOP"
    elif channel.warn_at is not None and value >= channel.warn_at:
        level, shown = "caution", f"{shown} CAUTION"
    same = _number_of(shown) == _number_of(own)
    return [shown if same else f"{shown} ({own})", level]


# -- the open question -----------------------------------------------------------------------------
def _step(sensors: SensorsDesk, state: SensorsState) -> Live:
    """What the device shows for the question that is open, and what may be done about it."""
    step = state.step
    try:
        if step.kind == "pull":
            rows, buttons = _pulled(sensors, state)
        elif step.kind in ("zero", "weight", "levels", "change") and step.channel:
            rows, buttons = _now(sensors, state)
        else:
            rows, buttons = [], []
    except CallFault as fault:
        rows, buttons = [f"{fault.fault}; {fault.cure}."], []
    # of what is told the first line is the answer; the rest explains it
    quiet = "" if step.kind == "pull" else "note"
    return {"rows": [[row, quiet if k else ""] for k, row in enumerate(rows)], "buttons": buttons}


def _now(sensors: SensorsDesk, state: SensorsState) -> tuple[list[str], list[list[str]]]:
    name = state.step.channel
    steady = sensors.steadiness(state, name, ZERO_S)
    if steady is None:
        return [f"{name} is not heard now: listen to its port."], []
    shown_mean = mean_text(steady.mean, steady.sd, steady.n)
    over = f"mean of {steady.n} readings over {ZERO_S:g} s"
    try:
        channel = sensors.channel(state, name)
    except CallFault:
        scatter = f"{steady.sd:.2g}"
        return [f"Now {shown_mean}, {over}; they scatter by {scatter}."], []
    units = sensors.desk.units
    show = units.force if channel.quantity == "force" else units.length
    value, sd = float(channel.si(steady.mean)), abs(float(channel.si(channel.zero + steady.sd)))
    if abs(value) < sd / 2.0:
        value = 0.0  # its sign would be chance
    rows = [f"Now {show(value)}" + (", and it moves" if steady.moves else "")]
    rows.append(
        f"It shows {shown_mean} {channel.unit}, {over}; scatter {scatter_text(channel, steady.sd, units)}."
    )
    if not steady.moves or state.step.kind != "zero":
        return rows, []
    return rows, [["Take the zero although it moves", act("zero", name, "anyway")]]


def _pulled(sensors: SensorsDesk, state: SensorsState) -> tuple[list[str], list[list[str]]]:
    name = state.step.channel
    row = sensors.row(state, name)
    heard = sensors.heard(row.get("port"))
    pull = None if heard is None else heard.pull()
    if heard is None or heard.news().phase != "heard":
        return [f"{name} is not heard now: listen to its port."], []
    if pull is None:
        return ["Touch Pull again, so that its numbers are watched."], []
    if not pull.ready:
        return ["Leave it at rest for a moment: its numbers are taken."], []
    moved, place = pull.moved(), sensors.place_of(row)
    if not moved:
        rest = None if place is None else pull.rest(place)
        shown = "" if rest is None else f" At rest {name} shows {rest:.6g}."
        return [f"No number has moved yet.{shown}"], []
    own = next((one for one in moved if one.place == place), None)
    rows: list[str] = []
    buttons: list[list[str]] = []
    if own is None:
        rows.append(f"{name} did not move; {moved[0].place} {_moved(moved[0])}.")
        buttons.append(["It is that number", act("number", heard.port, moved[0].place)])
    else:
        rows.append(f"{name} {_moved(own)}.")
        if (own.change < 0.0) != sensors.turned(state, name):
            rows.append("So a pull counts as negative.")
            if sensors.curve(state, name) is None:
                buttons.append(["Turn it round", act("turn", name)])
            else:
                rows.append(
                    "Its calibration says so: if that is wrong, take the calibration out under Known weight."
                )
        else:
            rows.append("So a pull counts as positive, as it shall.")
        if own.back:
            rows.append("It was there shortly before: if you let go just now, touch Pull again.")
        said, offers = pulled_size(sensors, state, own)
        rows += said
        buttons += [list(one) for one in offers]
    others = [one.place for one in moved if one.place != place][:3]
    if own is not None and others:
        rows.append(f"Also moved: {', '.join(others)}.")
    return rows, buttons


def _moved(one: Movement) -> str:
    turn = "rose" if one.change > 0.0 else "fell"
    return f"{turn} by {abs(one.change):.4g}, from {one.rest:.6g} to {one.farthest:.6g}"


def _number_of(text: str) -> tuple[float | str, ...]:
    """Number and unit of a text such as "1.50 m", so that "1.5 m" is the same."""
    number, _, unit = text.partition(" ")
    try:
        return float(number), unit
    except ValueError:
        return number, unit
