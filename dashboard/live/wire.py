"""What the server sends to a live page, as records: forces in N, lengths in m, times in s.

Times run from the start of the session; an expanded uncertainty (U95) has about 95 % coverage.  What is
not known is None.  `assets/live/wire.d.ts` says the same to the scripts: write it anew with
`python -m dashboard.live.wire`; a test fails while it is stale.
"""

from __future__ import annotations

from pathlib import Path
from typing import Literal, NamedTuple, NotRequired, TypedDict

from analysis.live.haul_levels import Reached
from analysis.live.stroke_remaining import Nearness
from dashboard.web import assets
from dashboard.web.typescript import declaration

DECLARATION = assets.FOLDER / "live" / "wire.d.ts"


class ChannelHead(TypedDict):
    """A channel of the session, as the sensors file has it.

    name: its name.
    at: its place in the rig.
    unit: unit of its values.
    entered_in: unit in which a person enters its readings; "" where a device sends them.
    """

    name: str
    at: str
    unit: Literal["N", "m"]
    entered_in: str


class StopLevelText(TypedDict):
    """A haul force at which hauling stops.

    force_N: the level, N.
    because: what sets it.
    """

    force_N: float
    because: str


class Head(TypedDict):
    """What a page is sent once, and again where the rig is changed.

    title: of the rig.
    folder: name of the session's folder.
    units: system in which the page shows quantities.
    demo: whether the devices are simulated.
    channels: all channels, in the order of the parts `channel:k`.
    drawn: name of the force channel that the graph draws; None where there is none.
    drawn_stale_s: time without a reading after which the graph is left open, s.
    haul_cell: whether there is a cell at the haul; then it is the one that is drawn.
    ideal_ma: ideal mechanical advantage of the rig.
    model_ma: predicted mechanical advantage.
    model_ma_U95: its expanded uncertainty.
    haul_force_N: predicted haul force, N; None without a haul cell or a load.
    haul_force_U95_N: its expanded uncertainty, N.
    holds: names of the captures that hold the load while the haul rests.
    pull_distance_m: how far the load is to go, by the rig that the session began with, m.
    load_counted: whether a counter is at the load.
    travel_title: whose travel the graph draws; "" for none.
    because: which part of the rig sets the stop level, or why none does.
    rated: how many strands and parts are rated.
    parts: how many strands and parts there are.
    caution_N: caution level of the haul cell, N.
    stop_levels: stop levels of the haul cell, the lowest first.
    bin_s: width of the graph's narrowest bin, s.
    haul_strand: index of the haul strand in `strands`.
    strands: names of the strands, in rope order.
    """

    title: str
    folder: str
    units: str
    demo: bool
    channels: list[ChannelHead]
    drawn: str | None
    drawn_stale_s: float
    haul_cell: bool
    ideal_ma: float
    model_ma: float
    model_ma_U95: float
    haul_force_N: float | None
    haul_force_U95_N: float
    holds: list[str]
    pull_distance_m: float | None
    load_counted: bool
    travel_title: str
    because: str
    rated: int
    parts: int
    caution_N: float | None
    stop_levels: list[StopLevelText]
    bin_s: float
    haul_strand: int
    strands: list[str]


class NearPart(TypedDict):
    """What a rated part carries.

    name: of the part.
    force_N: force on it, N.
    limit_N: force that it is allowed, N.
    share: force_N / limit_N.
    over: whether it carries more than it is allowed.
    by: "cell" where its own cell reads the force, "most" where it carries at most that, else "".
    """

    name: str
    force_N: float | None
    limit_N: float | None
    share: float | None
    over: bool
    by: str


class Waiting(TypedDict):
    """The state of the haul in words; all that is sent while the session is still read.

    state: code of the state, of the haul or of the recorder.
    words: the state for people.
    detail: more about it.
    """

    state: str
    words: str
    detail: str


class Now(Waiting, total=False):
    """The session at this moment; sent with every answer.

    time_s: time of the session, s.
    force_N: haul force, N; None where none is to be shown.
    reached: highest level that force_N is above.
    stop_share: force_N / lowest stop level.
    last_haul_N: mean haul force of the last haul stroke, N.
    since_haul_s: time since that stroke ended, s.
    held_N: force on the captures that hold the load, at most, N.
    drawing: number of the rig's drawing; another one is to be asked for.
    nearest: rated part that is nearest to its limit.
    peak_N: highest haul force of the session, N.
    peak_s: its time, s.
    peak_over: whether peak_N is above the lowest stop level.
    moved_m: load travel since the session began, m.
    to_go_m: load travel to the end of the job, m.
    rope_out_m: rope hauled less rope fed back, m.
    load_left_m: load travel until two bodies meet, m.
    rope_left_m: rope until then, m.
    nearness: how near to two-blocked that is.
    """

    time_s: float
    force_N: float | None
    reached: Reached
    stop_share: float | None
    last_haul_N: float | None
    since_haul_s: float | None
    held_N: float | None
    drawing: int
    nearest: NearPart | None
    peak_N: float | None
    peak_s: float | None
    peak_over: bool
    moved_m: float | None
    to_go_m: float | None
    rope_out_m: float | None
    load_left_m: float | None
    rope_left_m: float | None
    nearness: Nearness | None


class NextMeeting(TypedDict):
    """The bodies that meet next.

    meets: their names.
    why: why it is not known how much is left; "" where it is known.
    """

    meets: list[str]
    why: str


class Moved(TypedDict):
    """How load travel was worked out where no counter is at the load.

    first_rig: whether the way to go is that of a rig that is no longer in use.
    hauled_m: sum over haul strokes, m; None where load travel does not come from the rope.
    lowered_m: sum over strokes that lowered, m.
    rigs: with how many rigs strokes were made.
    why: why it is not known; "" where it is known.
    """

    first_rig: bool
    hauled_m: float | None
    lowered_m: float | None
    rigs: int
    why: str


class Alarms(TypedDict):
    """All alarms in numbers.

    count: how many are on, or off and not acknowledged.
    sounding: highest level of those that are not acknowledged: 0 none, 1 caution, 2 stop.
    """

    count: int
    sounding: int


class Alarm(TypedDict):
    """An alarm that is on, or off and not acknowledged.

    level: level now: 0 none, 1 caution, 2 stop.
    worst: highest level since it was acknowledged.
    label: what is at risk, in a few words.
    how: how its level came about.
    since_s: time at which it rose last, s.
    value: force on it then, N; of an alarm on travel the travel, m.
    limit: the level that was passed, in the unit of value; None where it is not known.
    acknowledged: whether it is acknowledged.
    channel: index in the channels of the head; None where they do not hold it.
    """

    level: int
    worst: int
    label: str
    how: str
    since_s: float
    value: float | None
    limit: float | None
    acknowledged: bool
    channel: int | None


class Answered(TypedDict):
    """What the recorder did with a request of a page.

    id: of the request.
    kind: kind of the row in events.csv; "refused" where the request was refused.
    text: what the recorder wrote.
    """

    id: str
    kind: str
    text: str


class Happened(TypedDict):
    """Something at a time in the session.

    time_s: its time, s.
    kind: kind of the event; of an alarm in `last_alarm` its level.
    text: what happened.
    """

    time_s: float
    kind: str
    text: str


class Span(NamedTuple):
    """What the graph marks: a stroke, a reset, a mark, a shock, a slip.

    It is sent as an array, because there are many.

    from_s: its beginning, s.
    to_s: its end, s; None while it goes on.
    kind: haul, lower, reset, mark, shock, slip, saturated or shortly over.
    """

    from_s: float
    to_s: float | None
    kind: str


class ChannelNow(TypedDict):
    """A channel at this moment.

    value: last value, N or m; None where none is to be shown.
    rate_Hz: readings in a second; None once the recording is over.
    age_s: age of the last reading, s.
    dropped: readings that were lost.
    readings: readings that were recorded.
    fault: "overdue" or "saturated"; "" for neither.
    """

    value: float | None
    rate_Hz: float | None
    age_s: float | None
    dropped: int
    readings: int
    fault: Literal["", "overdue", "saturated"]


class Predicted(TypedDict):
    """The advantage of the rig that was measured.

    ideal_ma: ideal mechanical advantage.
    model_ma: predicted mechanical advantage.
    model_ma_U95: its expanded uncertainty.
    """

    ideal_ma: float | None
    model_ma: float | None
    model_ma_U95: float | None


class Measured(TypedDict):
    """A measured quantity.

    value: its value, in the unit of the part.
    U95: its expanded uncertainty, in the same unit.
    n: number of observations.
    """

    value: float | None
    U95: float | None
    n: int


class Strokes(TypedDict):
    """What was hauled so far.

    haul_strokes: haul strokes, the one that goes on among them.
    resets: resets.
    haul_travel_m: rope hauled, m.
    load_travel_m: load travel, m.
    """

    haul_strokes: int
    resets: int
    haul_travel_m: float | None
    load_travel_m: float | None


class Parts(TypedDict, total=False):
    """Parts that are sent where they changed; None takes a part away.

    head: what is sent once.
    fault: why the session is not followed now.
    left: the bodies that meet next.
    moved: how load travel was worked out.
    alarms: all alarms in numbers.
    done: the recorder's last answers to pages.
    sudden: the last shock, slip, saturated reading or level that was passed shortly.
    last_alarm: the last alarm.
    tensions_from: what the strands' tensions follow from.
    predicted: the advantage of the rig that was measured.
    actual_ma: measured mechanical advantage.
    efficiency: measured efficiency, a share.
    load_force_N: load force, N.
    load_force_method: load estimator: known, cell, haul-and-lower or model.
    why_not: why no advantage is measured.
    verdict: whether measurement and prediction agree.
    strokes: what was hauled so far.
    """

    head: Head
    fault: str | None
    left: NextMeeting
    moved: Moved
    alarms: Alarms
    done: list[Answered]
    sudden: Happened | None
    last_alarm: Happened | None
    tensions_from: str | None
    predicted: Predicted
    actual_ma: Measured | None
    efficiency: Measured | None
    load_force_N: Measured | None
    load_force_method: str | None
    why_not: str | None
    verdict: str | None
    strokes: Strokes


class Numbered(TypedDict, total=False):
    """Parts of which there are several, under keys "name:k".

    alarm: open ones first, the worst and the latest first.
    event: the last events, the latest first.
    span: what the graph marks.
    channel: in the order of the head.
    strand: tensions of 40 strands in rope order, N; None for a strand that may have some or none.
    use: rated parts, the nearest to its limit first.
    warning: a warning of the review.
    chapter: a row of the table of chapters, as texts, names of the columns first; none while the session has one.
    peak: a row of the table of highest forces likewise, the most used first.
    """

    alarm: Alarm | None
    event: Happened | None
    span: Span | None
    channel: ChannelNow | None
    strand: list[float | None]
    use: NearPart | None
    warning: str | None
    chapter: list[str] | None
    peak: list[str] | None


class Bins(TypedDict):
    """Bins of one channel, those that are new and the one that grew.

    level: a bin is 2 ** level times as wide as the narrowest.
    flat: for each bin its index, lowest and highest value and, of a force, mean value, one after
        the other; (4 * bins,) in N or (3 * bins,) in m.
    """

    level: int
    flat: list[float]


class SinceAnswer(TypedDict):
    """The answer to a page that asks what is new.

    run: names the run of the server.
    force: bins of the force that is drawn.
    travel: bins of the travel that is drawn.
    now: the session at this moment; None before anything was read.
    parts: what changed since the version that the page has.
    version: version of the parts that the page has now.
    seq: bins of level 0 up to here are sent.
    more: 1 where there are more bins: the page asks again at once.
    """

    run: str
    force: Bins | None
    travel: Bins | None
    now: Now | None
    parts: Parts
    version: int
    seq: int
    more: NotRequired[int]


class RigChoice(TypedDict):
    """A rig file beside the session.

    file: its name.
    title: of the rig; "" where it has none.
    """

    file: str
    title: str


class RigsAnswer(TypedDict):
    """The answer to a page that asks for the rigs that may be on the ground now.

    rigs: in order of their names.
    """

    rigs: list[RigChoice]


RECORDS = (
    ChannelHead, StopLevelText, Head, NearPart, Waiting, Now, NextMeeting, Moved, Alarms, Alarm, Answered, Happened, Span,
    ChannelNow, Predicted, Measured, Strokes, Parts, Bins, SinceAnswer,
    RigChoice, RigsAnswer,
)  # fmt: skip
BASES: dict[type, type] = {Now: Waiting}


def text() -> str:
    """The declaration of all records."""
    heading = "Written by `python -m dashboard.live.wire` from dashboard/live/wire.py: change that."
    return declaration(heading, RECORDS, {Parts: Numbered}, BASES)


def write(path: Path = DECLARATION) -> None:
    """Write the declaration that the scripts are checked by."""
    path.write_text(text(), "utf-8", newline="\n")


if __name__ == "__main__":
    write()
