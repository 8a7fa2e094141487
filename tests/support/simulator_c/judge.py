"""Judges a review by codes: what is covered, what is null and why, what is blamed, what was counted.

ACCUSES says what each caution of the catalogue lays the blame on.  A code that is not here accuses nothing, and
`test_each_caution_is_classed` fails until somebody decides.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from analysis.messages.catalogue import CATALOGUE
from analysis.messages.message import Message
from analysis.review.review import review_all
from analysis.rig_file.load import parse_rig
from logger.channels.sensors_file import parse_sensors
from support.readings import analyse, block, info
from support.simulator_c.hauls import TrueStroke
from support.simulator_c.sessions import Disturbance, DisturbedSession

QUANTITIES = ("efficiency", "actual_ma", "haul_force_N", "load_force_N")
TOTALS = ("travel_efficiency", "work_efficiency")
LATE_S = (
    0.8  # by which an event may be late: the devices speak up to 0.25 s late, and it lasts 0.3 s
)

ACCUSES: dict[str, set[str]] = {
    # readings
    "slip": {"slip"},
    "shock": {"shock"},
    "saturated": {"capacity"},
    "silent_all_along": {"silence"},
    "silent_for": {"silence"},
    "silent_lately": {"silence"},
    "channel_silent": {"silence"},
    "haul_cell_silent": {"silence"},
    "counter_silent": {"silence"},
    "lines_dropped": {"silence"},
    "readings_late": {"clock"},
    "readings_bad": {"readings"},
    "channel_unknown": {"readings"},
    "rows_left_out": {"readings"},
    "uncertainty_not_stated": {"sensors file"},
    # counters
    "counter_backwards": {"counter's sign"},
    "counters_opposite": {"counter's sign"},
    "counter_only_up": {"counts_up"},
    "load_counter_only_up": {"counts_up"},
    "counter_jumped": {"counter"},
    "counter_slipped": {"counter"},
    "load_moved_less": {"grab", "counter", "rig"},
    "load_moved_more": {"counter", "rig"},
    "grab_crept": {"grab"},
    "more_strokes_disagree": {"grab", "counter", "rig"},
    "ran_back": {"capture"},
    "delays_contradict_readings": {"delay"},
    # cells
    "reads_negative": {"sign"},
    "zero_too_low": {"zero"},
    "zero_too_high": {"zero"},
    "zero_drifts": {"zero"},
    "cells_disagree": {"zero", "unit", "place"},
    "no_load": {"zero", "sign"},
    "haul_force_too_small": {"small"},
    "haul_force_small": {"small"},
    "unit_looks_wrong": {"unit"},
    "one_unit_looks_wrong": {"unit"},
    "hauled_beyond_capacity": {"capacity"},
    "peaks_beyond_capacity": {"capacity"},
    "cell_at_its_range": {"capacity"},
    "haul_cell_reversed": {"sign"},
    "cells_contradict_rig": {"unit", "place"},
    "cells_contradict_any_pulley": {"unit", "place", "sign"},
    "cells_may_be_misread": {"unit", "place", "pulleys"},
    "cell_sends_another_unit": {"unit"},
    "haul_cell_at_load": {"place"},
    "load_cell_at_anchor": {"place"},
    "calibrated_below": {"calibration"},
    "calibrated_above": {"calibration"},
    "calibrated_between": {"calibration"},
    "read_outside_calibration": {"calibration"},
    # the rig and the load
    "travel_of_another_rig": {"rig"},
    "efficiency_of_another_rig": {"rig"},
    "stroke_too_long": {"rig"},
    "too_much_fed_back": {"rig", "counter"},
    "another_rig_built": {"rig"},
    "stage_drags": {"pulleys"},
    "worse_pulleys": {"pulleys"},
    "load_resists_more": {"load"},
    "advantage_changed": {"pulleys"},
    "ground_not_pulleys": {"ground"},
    "look_at_ground": {"ground"},
    "advantage_above_ideal": {"team", "zero", "unit", "load", "rig"},
    "load_stood": {"stands", "stretch", "delay"},
    "nobody_hauled": {"nobody"},
    "no_rope_hauled": {"stands"},
    "only_tugged": {"stands", "stretch"},
    "never_steady": {"stands"},
}
# cautions that speak of the rig file, of limits, of a recording's end, or carry another message: no cause of a number
NO_CAUSE = {
    "force_level_passed", "length_level_passed", "strand_allowed", "part_allowed",
    "over_limit_by_own_cell", "over_limit_by_haul_cell", "over_limit_about", "over_limit_while_hauling",
    "over_limit_at_rest", "over_limit_lowering", "alarm_told", "rig_change_not_used", "no_haul_cell",
    "no_travel_counter", "advantage_less", "advantage_less_by_ground", "verdict_beyond_calibration",
    "chapter_caution", "peaks_not_bounded", "cut_short", "changed_after_sealing",
    "verdict_refused", "verdict_of_another_rig",
}  # fmt: skip

# cautions of the rig file, whatever was measured
OF_THE_FILE = {"no_capture", "forces_are_multiples"}
# what the comparison with the prediction looks at: it judges the rig that was built, not the readings
VERDICTS = {
    "worse_pulleys",
    "load_resists_more",
    "another_rig_built",
    "look_at_ground",
    "ground_not_pulleys",
}


@dataclass(frozen=True)
class Judged:
    """What a review says of a session, beside what is true.

    off: (value - true) / U95 by quantity, None where the value is null.  error, width: (value - true) / true and
    U95 / true.  cautions: codes of cautions, verdict and reasons excepted; reasons: codes of why_not and verdict.
    first: code of the first caution that accuses anything, "" for none.
    """

    session: DisturbedSession
    off: dict[str, float | None]
    error: dict[str, float]
    width: dict[str, float]
    cautions: frozenset[str]
    reasons: frozenset[str]
    first: str
    verdict: str
    strokes: list[dict[str, Any]]
    resets: int
    events: list[dict[str, Any]]
    json: dict[str, Any] = field(repr=False)

    def blamed(self, what: Disturbance) -> set[str]:
        """Codes of cautions and reasons that accuse something, and nothing that went wrong."""
        codes = self.cautions | (self.reasons & set(ACCUSES) - VERDICTS)
        return {c for c in codes if ACCUSES.get(c) and not ACCUSES[c] & what.causes}

    def names_the_cause(self, what: Disturbance) -> bool:
        """Whether some message names something that went wrong."""
        return any(ACCUSES.get(c, set()) & what.causes for c in self.cautions | self.reasons)

    def missed(self, what: Disturbance) -> list[str]:
        """Quantities whose interval does not hold the truth."""
        return [q for q, off in self.off.items() if off is not None and abs(off) > 1]

    def silent_nulls(self, what: Disturbance) -> list[str]:
        """Quantities that are null while nothing names the cause."""
        if self.names_the_cause(what):
            return []
        return [q for q in QUANTITIES if self.off[q] is None]

    def wrongly_given(self, what: Disturbance) -> list[str]:
        """Quantities that have a value and cannot be known."""
        return [q for q in what.nulls if self.json["measured"][q] is not None]

    def right_strokes(self) -> bool:
        """Whether the strokes are as many as were hauled and lowered."""
        return len(self.strokes) == len(self.session.haul.strokes)

    def right_resets(self) -> bool:
        """Whether the resets are as many as were made."""
        return self.resets == self.session.haul.resets


def codes(messages: Iterable[Message | None]) -> set[str]:
    """The codes of messages and of the messages that they hold."""
    seen: set[str] = set()
    for one in messages:
        if isinstance(one, Message):
            seen.add(one.code)
            for value in one.values.values():
                seen |= codes(value if isinstance(value, tuple | list) else [value])
    return seen


def judge(session: DisturbedSession) -> Judged:
    """Review a session and put what it says beside what is true."""
    rig = parse_rig(session.rig_text, "rig.toml")
    sensors = parse_sensors(session.sensors_text, "sensors.toml")
    reviewed = review_all(info(sensors), rig, analyse(rig, sensors, block(**session.readings)))
    json = reviewed.json
    off: dict[str, float | None] = {}
    error, width = {}, {}
    for name in (*QUANTITIES, *TOTALS):
        given, true = json["measured"][name], session.true.get(name)
        off[name] = None
        if given is not None and given["U95"] is not None:
            away = math.inf if true is None else given["value"] - true
            off[name] = away / given["U95"] if given["U95"] > 0 else math.copysign(math.inf, away)
            if true is not None:
                error[name], width[name] = away / true, given["U95"] / true
        elif given is not None:
            off[name] = math.inf  # a value without an interval covers nothing
    said = [m for m in reviewed.messages if m.level != "info"]
    estimates, verdict = reviewed.main.estimates, reviewed.main.agreement.verdict
    return Judged(
        session=session,
        off=off,
        error=error,
        width=width,
        cautions=frozenset(c for c in codes(said) if CATALOGUE[c].level != "info"),
        first=next((m.code for m in said if ACCUSES.get(m.code)), ""),
        reasons=frozenset(codes([*estimates.why_not, verdict])),
        verdict=verdict.code,
        strokes=json["strokes"],
        resets=json["resets"],
        events=[e for e in json["events"] if e["kind"] in ("slip", "shock")],
        json=json,
    )


def matched(judged: Judged, kind: str) -> tuple[int, int, int]:
    """(true events of a kind that were seen, true events, events seen that were none); half a second early to LATE_S late."""
    true = [j.time_s for j in judged.session.haul.jolts if j.kind == kind]
    seen = [e["time_s"] for e in judged.events if e["kind"] == kind]
    hit = sum(any(-0.5 <= s - t <= LATE_S for s in seen) for t in true)
    wrong = sum(not any(-0.5 <= s - t <= LATE_S for t in true) for s in seen)
    return hit, len(true), wrong


def stroke_errors_s(judged: Judged, stroke: TrueStroke, k: int) -> tuple[float, float]:
    """How much earlier the k-th stroke begins, and how much later it ends, than the load moved, in s."""
    return stroke.start_s - judged.strokes[k]["start_s"], judged.strokes[k]["end_s"] - stroke.end_s
