"""Every sentence about a rig or a session that a person can see, by code.

A row gives the level (info: worth knowing; caution: look at it before you rely on it; stop: do not
pull before it is mended) and the template, whose fields `message` explains.  A code never
changes its meaning; what is no longer said goes, and its code is not used again.
"""

from __future__ import annotations

from analysis.messages.template import Template

_RIG: dict[str, Template] = {}

_PREDICTION: dict[str, Template] = {}

_READINGS: dict[str, Template] = {
    "force_level_passed": Template("caution", "{key} of {level_N:g} passed"),
    "length_level_passed": Template("caution", "{key} of {level_m:g} passed"),
    "strand_allowed": Template("stop", "strand {name}: {limit_N:.0f} allowed ({why})"),
    "part_allowed": Template("stop", "{name}: {limit_N:.0f} allowed ({why})"),
    "over_limit_by_own_cell": Template("stop", "{allowed}, by its own cell"),
    "over_limit_by_haul_cell": Template("stop", "{allowed}; carried at most, from the haul cell"),
    "slip": Template("caution", "the force fell and {rope_m:.2f} of rope came out while the load stood"),
    "shock": Template("caution", "the force rose suddenly to {force_N:.0f}"),
    "reset": Template("info", "{rope_m:.2f} of rope fed back with the tension off"),
    "reset_with_setback": Template("info", "{reset}; the load went back {setback_m:.2f}"),
    "saturated": Template("caution", "beyond the capacity of the cell: the true value is not known"),
    "limit_of_a_part": Template("stop", "{name}: {why}"),
    "alarm_told": Template("stop", "{level}: {label}"),
    "silent_all_along": Template("caution", "no reading at all"),
    "silent_for": Template("caution", "no reading for {quiet_s:.1f}"),
    "silent_lately": Template("caution", "no reading for the last {quiet_s:.1f}"),
    "travel_not_counted": Template("info", "no counter at the load, and none of the rope"),
    "travel_without_haul_cell": Template("info", (
        "no cell at the haul: rope fed back is not told from rope that lowers the load"
    )),
    "rig_change_not_used": Template("caution", (
        "the rig was changed, but {copy} {fault}: taken as the rig before"
    )),
    "creep_not_visible": Template("info", "no counter at the load: a grab that creeps is not visible"),
    "counter_backwards": Template("caution", (
        "{counter}: rope only went back under tension: if the team hauled, the counter runs backwards; "
        "turn the sign of its scale"
    )),
    "counters_opposite": Template("caution", (
        "{rope} and {load} run opposite ways: {against_m:.2f} of rope went back under tension while the "
        "load came nearer; turn the sign of one scale"
    )),
    "zero_too_low": Template("caution", (
        "{cell} reads {least_N:.0f} at its least, and rope cannot push: its zero is off by more than is "
        "said of it (u {u_N:.1f}), and so is every force: take the zero with the rope slack"
    )),
    "zero_too_high": Template("caution", (
        "{cell} never reads less than {least_N:.0f}: if the rope hung slack for a second at any time, "
        "its zero is off by more than is said of it (u {u_N:.1f}), and so is every force: take the zero "
        "with the rope slack"
    )),
    "lag_touches_no_mean": Template("info", (
        "{late} lags {early} by {lag_s:.2f} (u {u_s:.2f}): means are over the load's way, which it does "
        "not touch"
    )),
    "lag_shifted": Template("info", (
        "{late} lags {early} by {lag_s:.2f} (u {u_s:.2f}): means over rope are taken with that shift"
    )),
    "delays_contradict_readings": Template("caution", (
        "{counter} comes {seen_s:.2f} (u {seen_u_s:.2f}) after {cell} where tension was let off, and "
        "{stated_s:.2f} (u {stated_u_s:.2f}) by the sensors file, which was believed: see to delay_s and "
        "delay_u_s there"
    )),
    "load_moved_less": Template("caution", (
        "the load moved {share:.0f %} less than {rope} and the rig's ratio say ({load}): a grab creeps, "
        "{rope} counts too much, or the rig is not the one in the file"
    )),
    "load_moved_more": Template("caution", (
        "the load moved {share:.0f %} more than {rope} and the rig's ratio say ({load}): {rope} slips or "
        "counts too little, or the rig is not the one in the file"
    )),
    "grab_crept": Template("caution", (
        "stroke {stroke}: {lost_m:.2f} of rope ({share:.0f %}) came out that the load did not follow, "
        "more than in the other strokes: a grab crept"
    )),
    "counter_slipped": Template("caution", (
        "stroke {stroke}: the load moved {share:.0f %} more than the rope counted ({missing_m:.2f} of "
        "rope missing): the rope counter slipped"
    )),
    "more_strokes_disagree": Template("caution", "{strokes} more strokes in which rope and load disagree"),
    "lag_never_let_off": Template("info", "the tension was never let off"),
    "lag_seldom_seen": Template("info", (
        "rope was seen to come back together with the force in {seen} of {looks} times that the tension "
        "was let off; {needed} are needed"
    )),
    "lag_looks_differ": Template("info", "{looks} looks differ by {apart_s:.2f} from their median"),
    "lag_no_take_up": Template("info", "no take-up was seen that could check it"),
    "lag_no_rope_moved": Template("info", (
        "no rope was seen to move while the force rose or fell, so it may be no lag"
    )),
    "lag_stiffness": Template("info", (
        "at {lag_s:.2f} the rope would be {ratio:.1g} times as stiff when let off"
    )),
}  # fmt: skip

_EFFICIENCY: dict[str, Template] = {
    "no_haul_cell": Template("caution", (
        'no force channel sits at = "haul": put a cell between the team and the rig'
    )),
    "haul_cell_silent": Template("caution", "{cell} has no reading"),
    "no_travel_counter": Template("caution", (
        "no counter of rope or load travel, so steady hauling cannot be told from holding: add a length "
        'channel at = "haul"'
    )),
    "counter_silent": Template("caution", "{counter} has no reading, so no travel is known"),
    "nobody_hauled": Template("caution", (
        "{cell} never rose above {floor_N:.1f}, which is all that it can tell from nothing: nobody "
        "hauled, or the cell reads too little"
    )),
    "no_rope_hauled": Template("caution", (
        "there was tension but no rope was hauled: no stroke to take a mean over"
    )),
    "never_steady": Template("caution", "in no stroke did the load move steadily"),
    "load_force_not_known": Template("info", (
        "the load's force is not known: put a cell at the load, or write the load's mass, slope and "
        "resistance_coefficient (or resistance_N) in the rig file"
    )),
    "haul_force_too_small": Template("caution", (
        "the haul force, {force_N:.0f}, is too small for {cell}, whose standard uncertainty is "
        "{u_N:.0f}: take a smaller cell or a heavier load"
    )),
    "haul_force_small": Template("caution", (
        "the haul force, {force_N:.0f}, is small for {cell}: its uncertainty is {share:.0f %} of it"
    )),
    "hauled_beyond_capacity": Template("caution", (
        "a cell was beyond its capacity while hauling: take a larger cell"
    )),
    "no_load": Template("caution", (
        "the cells say that the load resists {load_N:.0f}, which is no load: see to their zeros, and to "
        "the sign of their scales"
    )),
    "advantage_above_ideal": Template("caution", (
        "the measured advantage, {advantage:.3g}, is above the ideal {ideal:.3g} by more than its "
        "uncertainty {advantage_U95:.2g}, which cannot be; usual causes: someone pulled ahead of the "
        "haul cell, a wrong zero or scale, the wrong load, or another rig than the one in the file"
    )),
    "ripple_and_lag": Template("info", (
        "the pull ripples and nobody knows how much later {cell} speaks than the counter (up to 0.3 s is "
        "allowed for), so forces are known to ± {share:.0f %} only; their ratio, the advantage, hardly "
        "feels it where a cell is at the load. If you know the delays, state delay_s and delay_u_s of "
        "both channels in the sensors file"
    )),
    "load_stood": Template("caution", (
        "the load stood while {share:.0f %} of the rope was hauled: it moves in jerks, or the strokes "
        "are short for a rope that stretches so much; forces over the little that is left hang on the "
        "channels' delays: haul more evenly, or with less rope between hands and load"
    )),
    "one_observation": Template("info", "one observation only: how far results scatter is not known"),
    "cells_disagree": Template("caution", (
        "{cell} says that the load resists {one_N:.0f}, the other cells say {others_N:.0f}, farther "
        "apart than both are known to: see to the zeros and scales; {taken_N:.0f} is taken"
    )),
    "ground_or_pulleys": Template("info", (
        "a mass alone does not tell ground from pulleys here: the load resists anything from "
        "{low_N:.0f~} to {high_N:.0f}; state resistance_coefficient, or put a cell at the load"
    )),
    "load_by_same_cell": Template("info", (
        "the load force, {load_N:.0f}, is from session {session}, measured there by one and the same "
        "cell, {cell}, over {way_m:.1f}: it holds for the same load over the same ground"
    )),
    "load_by_other_cell": Template("info", (
        "the load force, {load_N:.0f}, is from session {session}, measured there by another cell, "
        "{cell}, over {way_m:.1f}: it holds for the same load over the same ground"
    )),
    "calibrated_below": Template("caution", (
        "{cell}: read up to {high_N:.{high_places}f}; {file} is verified {verified} only. Outside, its "
        "uncertainty does not hold: calibrate over the forces hauled, or take a larger cell"
    )),
    "calibrated_above": Template("caution", (
        "{cell}: read {low_N:.{low_places}f} in steady hauling; {file} is verified {verified} only. "
        "Outside, its uncertainty does not hold: calibrate over the forces hauled, or take a smaller "
        "cell"
    )),
    "calibrated_between": Template("caution", (
        "{cell}: read {low_N:.{low_places}f} in steady hauling and up to {high_N:.{high_places}f}; "
        "{file} is verified {verified} only. Outside, its uncertainty does not hold: calibrate over the "
        "forces hauled, or take a cell that fits"
    )),
    "verified_up_to": Template("info", "up to {most_N:.{places}f}"),
    "verified_from_to": Template("info", "from {least_N:.{places}f} ({why}) to {most_N:.{places}f}"),
    "travel_of_another_rig": Template("caution", (
        "the travel looks like {looks:.3g} to 1, the file says {file:.3g} to 1: is this the rig that was "
        "built?"
    )),
    "stroke_too_long": Template("caution", (
        "{hauled_m:.1f} of rope came out in one stroke, the rig in the file is two-blocked after "
        "{longest_m:.1f}: is this the rig that was built, with its grabs where the file has them?"
    )),
    "too_much_fed_back": Template("caution", (
        "{fed_back_m:.1f} of rope was fed back at a reset after {hauled_m:.1f} hauled: is this the rig "
        "that was built, and does the counter count both ways alike?"
    )),
    "stage_drags": Template("caution", (
        "the stage from {start} to {end} drags: it gave {ratio:.3g} ± {ratio_U95:.2g} to 1 out of "
        "{ideal:.3g}, {predicted:.3g} was predicted; look at its pulleys first"
    )),
    "advantage_not_measured": Template("info", "Nothing to compare: the rig's advantage was not measured."),
    "advantage_same": Template("info", (
        "The rig gave {measured:.{digits}g} to 1 out of {ideal:.3g}; {predicted:.{digits}g} to 1 was "
        "predicted, the same."
    )),
    "advantage_without_uncertainty": Template("info", (
        "The rig gave {measured:.{digits}g} to 1 out of {ideal:.3g}; {predicted:.{digits}g} to 1 was "
        "predicted; no uncertainty is stated, so nothing can be concluded."
    )),
    "advantage_as_predicted": Template("info", (
        "The rig gave {measured:.{digits}g} to 1 out of {ideal:.3g}, as predicted "
        "({predicted:.{digits}g} to 1) within what both are known to."
    )),
    "advantage_less": Template("caution", (
        "The rig gave {measured:.{digits}g} to 1 out of {ideal:.3g}, less than the "
        "{predicted:.{digits}g} to 1 predicted: look for {causes}."
    )),
    "advantage_less_by_ground": Template("caution", (
        "The rig gave {measured:.{digits}g} to 1 out of {ideal:.3g}, less than the "
        "{predicted:.{digits}g} to 1 predicted: {cause}."
    )),
    "advantage_more": Template("info", (
        "The rig gave {measured:.{digits}g} to 1 out of {ideal:.3g}, more than the "
        "{predicted:.{digits}g} to 1 predicted: {cause}."
    )),
    "worse_pulleys": Template("caution", (
        "a pulley that drags, rope that rubs or crosses, or worse pulleys than the file says"
    )),
    "load_resists_more": Template("caution", "or the load resists more than the file says"),
    "another_rig_built": Template("caution", "or another rig was built than the one in the file"),
    "better_pulleys": Template("info", "better pulleys than the file says"),
    "better_pulleys_or_load": Template("info", (
        "better pulleys than the file says, or a load that resists less than the file says"
    )),
    "ground_not_pulleys": Template("caution", (
        "{change}, which pulleys do not do, so measure what the load resists before judging them"
    )),
    "look_at_ground": Template("caution", "the ground: {cause}"),
    "read_outside_calibration": Template("caution", "{cells} read outside what the calibration verifies"),
    "verdict_beyond_calibration": Template("caution", "{verdict} Mind: {beyond}."),
    "force_rose_along_strokes": Template("info", (
        "the haul force rose by {share:.0f %} along each stroke, as over ground that changes"
    )),
    "force_fell_along_strokes": Template("info", (
        "the haul force fell by {share:.0f %} along each stroke, as over ground that changes"
    )),
    "force_rose_from_stroke_to_stroke": Template("info", (
        "the haul force rose by {share:.0f %} from the first stroke to the last under one rig"
    )),
    "force_fell_from_stroke_to_stroke": Template("info", (
        "the haul force fell by {share:.0f %} from the first stroke to the last under one rig"
    )),
    "force_differed": Template("info", (
        "the haul force differed by {share:.0f %} from stroke to stroke under one rig"
    )),
}  # fmt: skip

_REVIEW: dict[str, Template] = {
    "rows_left_out": Template("caution", "{rows} torn or unreadable rows left out"),
    "rig_changed": Template("info", (
        "the rig was changed during the session ({each}); what is shown as measured and predicted is of "
        "{shown}"
    )),
    "rig_changed_now": Template("caution", (
        "the rig was changed: levels, shares and drawing are the new rig's; where its bodies stand, and "
        "so how far it can be hauled, is not known"
    )),
    "what_if_rig": Template("info", "the rig had been that of {rig}"),
    "what_if_efficiency": Template("info", (
        "every pulley had the efficiency {efficiency:.2f}, taken as exact"
    )),
    "rig_measured": Template("info", (
        "{rig} from {from_s:.1f}, {strokes} strokes: {advantage:.3g} ± {advantage_U95:.2g} to 1 out of "
        "{ideal:.3g}, efficiency {efficiency:.3f} ± {efficiency_U95:.2g}"
    )),
    "rig_not_measured": Template("info", "{rig} from {from_s:.1f}, {strokes} strokes: no advantage measured"),
    "rig_note": Template("caution", "{text}"),
    "ground_changed": Template("info", (
        "{change}; the load's force changed with it and the advantage did not: the ground, not the rig"
    )),
    "advantage_changed": Template("caution", (
        "{change}; the advantage changed from stroke to stroke too: look at the rig"
    )),
    "cell_later": Template("info", "{cell} speaks {lag_s:.2f} later than the haul cell; allowed for"),
    "cell_earlier": Template("info", "{cell} speaks {lag_s:.2f} earlier than the haul cell; allowed for"),
    "cut_short": Template("caution", "the recording was cut short: what came after is not known"),
    "changed_after_sealing": Template("caution", (
        "files were changed after the session was sealed: `haul verify` names them"
    )),
    "no_load_counter": Template("info", (
        "no counter at the load: a slip cannot be seen, nor a load that stands"
    )),
    "no_rope_counter": Template("info", "no rope counter at the haul: rope travel comes from {counter}"),
    "channel_silent": Template("caution", "{channel}: no reading"),
    "lines_dropped": Template("caution", "{channel}: {lines} lines dropped, see rejects.csv"),
    "readings_late": Template("caution", "{channel}: {readings} readings out of order, not used"),
    "readings_bad": Template("caution", (
        "{channel}: {readings} readings that are no sensible number, not used"
    )),
    "counter_jumped": Template("caution", (
        "{channel}: the counter jumped {jumps} times; the jumps are left out"
    )),
    "channel_unknown": Template("caution", (
        "{channel}: readings of a channel that the sensors file does not have, not used"
    )),
    "ran_back": Template("caution", "the load ran back {back_m:.2f} while nobody pulled"),
    "events_not_listed": Template("info", "{events} more events are not listed"),
}  # fmt: skip

_LIVE: dict[str, Template] = {}

_LIBRARY: dict[str, Template] = {
    "trend_too_few": Template("info", (
        "{sessions} sessions with a known {what}: {needed} are needed for a trend"
    )),
    "trend_one_day": Template("info", "all within one day: no trend to be told"),
    "trend_falls": Template("caution", (
        "the {what} falls, {first:.3f} to {last:.3f} over {days:.0f} days, by more than its uncertainty: "
        "something wears or drags; a person looks at pulleys, rope and their run"
    )),
    "trend_rises": Template("info", (
        "the {what} rises, {first:.3f} to {last:.3f} over {days:.0f} days, by more than its uncertainty"
    )),
    "trend_none": Template("info", (
        "no change of the {what} can be told, {first:.3f} to {last:.3f} over {days:.0f} days"
    )),
    "ratios_same_load": Template("info", "{big:.3g} : 1 against {small:.3g} : 1 on the same load"),
    "ratios_not_measured": Template("info", (
        "{ratios}: the haul force was not measured in both, so nothing can be said."
    )),
    "ratios_compared": Template("info", (
        "{ratios}: {gain} where the ratios promise {promised:.0f %}, for {cost}; {verdict}."
    )),
    "less_haul_force": Template("info", "{less:.0f %} less haul force (± {doubt:.0f %})"),
    "no_less_haul_force": Template("info", "no less haul force ({more:+.0f %~} ± {doubt:.0f %})"),
    "cost_rope": Template("info", "{rope:.2g} times the rope a metre, {more}"),
    "cost_time": Template("info", "{time:.2g} times the time a metre, {more}"),
    "cost_resets": Template("info", "{big} resets against {small}"),
    "not_worth_it": Template("info", "not worth it: friction took what the bigger ratio promised"),
    "worth_it_if_needed": Template("info", (
        "worth it only where the team cannot keep up the greater force; the rig files do not say what it "
        "can"
    )),
    "not_needed": Template("info", "not needed: the team's {team_N:.0f} kept up the smaller ratio's force"),
    "not_enough": Template("info", "not enough: the team keeps up {team_N:.0f}, less than either needs"),
    "worth_it": Template("info", (
        "worth it: the smaller ratio needs {needs_N:.0f}, and the team keeps up {team_N:.0f}"
    )),
}  # fmt: skip

CATALOGUE: dict[str, Template] = {
    **_RIG, **_PREDICTION, **_READINGS, **_EFFICIENCY, **_REVIEW, **_LIVE, **_LIBRARY,
}  # fmt: skip
