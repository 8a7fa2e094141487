"""Holds every sentence about a rig or a session that a person can see, by code.

A row gives the level (info: worth knowing; caution: check it before you rely on the result; stop: do not
pull before it is put right) and the template, whose fields `message` explains.  A code never changes its
meaning.  A sentence that is no longer used is removed, and its code is not used again.

The recorder writes the sentences of what sets a limit into events.csv, and a review looks them up by their
text (`analysis.prediction.alarm_rows.part_texts`).  So a change of one of them keeps the earlier sentence
under a code of its own.
"""

from __future__ import annotations

from analysis.messages.template import Template

_RIG: dict[str, Template] = {
    # what reading the file assumed
    "surface_is_a_guess": Template(
        "caution",
        "load: resistance coefficient {coefficient} is from a table of surfaces ({surface}), not "
        "measured; the true one may be far off",
    ),
    "edge_friction_u_assumed": Template(
        "info",
        "{edge}: friction {friction:g} is given a standard uncertainty of 30 %; write friction_u if "
        "you know it",
    ),
    "pulley_preset_assumed": Template(
        "caution",
        "{name}: efficiency {efficiency:.2f} with a standard uncertainty of {uncertainty:g} is assumed "
        "(a usual {preset}); write its own efficiency if you have measured it",
    ),
    "hitch_preset_assumed": Template(
        "caution",
        "{name}: where a usual {preset} gives way is assumed; hitches scatter, so never rely on one as a "
        "force limiter",
    ),
    "rope_preset_assumed": Template(
        "caution",
        "{rope}: a stretch of {share:.1f %} (standard uncertainty {share_u:.1f %}) at a tenth of its "
        "breaking strength is assumed (a usual {preset})",
    ),
    "team_pull_assumed": Template(
        "caution",
        "{people} {people:person|people} on {footing} footing: a pull of {pull_N:.0f} (standard "
        "uncertainty {u_N:.0f}) is assumed; measure it with the haul cell",
    ),
    "efficiency_assumed": Template(
        "caution",
        "pulley efficiency 0.90 with a standard uncertainty of {uncertainty:g} is assumed; write "
        "[defaults] pulley_efficiency, or measure it",
    ),
    "knots_assumed": Template(
        "caution",
        "{places}: {count:the knot's strength|the strength of these knots} is not stated; {keeps:.2f} is "
        'assumed; write knot = "bowline" or the like, or strength = ..., at {count:the tie|each tie}',
    ),
    "knot_may_slip": Template(
        "caution",
        "{places}: a {knot} may slip before it breaks; back it up, or tie another knot",
    ),
    "hitches_scatter": Template(
        "caution",
        "{hitches}: one slip load is stated, but hitches scatter from tying to tying, so a hitch is no "
        "calibrated force limiter; write slips_at_u_kN, which lowers the limit by 2 u",
    ),
    # what sets a limit
    "breaking_strength": Template("info", "{strength_N:.4g kN} breaking strength / {factor:g}"),
    "knotted_strength": Template(
        "info", "{strength_N:.4g kN} breaking strength x {keeps:g} (knot) / {factor:g}"
    ),
    "assumed_knot_strength": Template(
        "info", "{strength_N:.4g kN} breaking strength x {keeps:g} (knot, assumed) / {factor:g}"
    ),
    "named_knot_strength": Template(
        "info", "{strength_N:.4g kN} breaking strength x {keeps:g} ({knot}) / {factor:g}"
    ),
    # as sessions recorded it before, only to recognise their alarms
    "knotted_strength_before": Template(
        "info",
        "{strength_N:.4g kN} breaking strength, of which its knot keeps {keeps:g} / {factor:g}",
    ),
    "assumed_knot_strength_before": Template(
        "info",
        "{strength_N:.4g kN} breaking strength, of which its knot is assumed to keep {keeps:g} / "
        "{factor:g}",
    ),
    "working_load_limit": Template("info", "WLL {limit_N:.4g kN}"),
    "begins_to_slip": Template("info", "begins to slip at {limit_N:.4g kN}"),
    "begins_to_slip_less_u": Template(
        "info", "begins to slip at {slips_N:.4g kN}, less 2 u of {slips_u_N:.3g kN}"
    ),
    "damages_the_rope": Template("info", "damages the rope at {limit_N:.4g kN}"),
    # why a force is not known
    "load_not_stated": Template(
        "info", "the load's kind and mass, or resistance_N, are not in the rig file"
    ),
    "mass_not_stated": Template("info", "the load's mass_kg is not in the rig file"),
    "coefficient_not_stated": Template(
        "info", "the load's resistance_coefficient is not in the rig file"
    ),
    "breakaway_not_stated": Template(
        "info",
        "breakaway is not in the rig file: write [load] breakaway = 1.3 (resistance at rest / "
        "resistance while moving), or surface",
    ),
    "slope_and_ground_not_parted": Template(
        "info",
        "resistance_N does not separate the slope from the ground's friction",
    ),
    "load_runs_to_the_anchor": Template("info", "the load would run by itself toward the anchor"),
    "ground_holds_the_load": Template("info", "the ground alone holds the load"),
    "capture_cannot_hold": Template("info", "{capture} cannot hold the load alone"),
    # why lost rope is not known
    "haul_force_not_known": Template("info", "the haul force is not known"),
    "stretch_not_stated": Template(
        "info",
        "rope {rope} has no stretch_percent and stretch_at_kN in the rig file",
    ),
    # why a job has no answer
    "distance_not_stated": Template("info", "pull_distance_m is not in the rig file"),
    "locks_up_on_the_way": Template("info", "the rig locks up before the job is done"),
    "too_many_strokes": Template("info", "the job is not done after {strokes} strokes"),
    "nothing_to_slide_back": Template(
        "info",
        "{bodies} are two-blocked after {load_m:.2f} of load travel, and no grab can be slid back",
    ),
    "sliding_gains_nothing": Template("info", "sliding the grabs back gains nothing"),
    # what a model warns of
    "no_capture": Template(
        "stop",
        "NO CAPTURE holds the load during the reset of {grabs}: the load runs back when the team lets "
        "go; put a progress capture on a strand through which the rope would run back",
    ),
    "capture_holds_nothing": Template(
        "caution",
        "{capture} cannot hold the load alone: the load does not pull the rope back through it",
    ),
    "forces_are_multiples": Template(
        "caution",
        "forces are given only as multiples of the haul tension: {why}",
    ),
    "team_too_weak": Template(
        "caution",
        "the team can keep up {team_N:.0f}, but the haul needs {haul_N:.0f} (95 %: {low_N:.0f~} to "
        "{high_N:.0f})",
    ),
    "team_may_be_too_weak": Template(
        "caution",
        "the team's {team_N:.0f} may not be enough: the haul needs {haul_N:.0f}, and up to "
        "{high_N:.0f} within 95 %",
    ),
    "team_too_weak_to_start": Template(
        "caution",
        "breaking the load away takes {start_N:.0f} at the haul, for a moment; the team can keep up "
        "{team_N:.0f}",
    ),
}

_PREDICTION: dict[str, Template] = {
    "part_over_limit": Template(
        "stop",
        "{name}: {force_N:.2f kN} is over the allowed {limit_N:.2f kN} ({why})",
    ),
    "part_over_limit_on_the_way": Template(
        "stop",
        "{name}: {force_N:.2f kN} later in the job is over the allowed {limit_N:.2f kN} ({why})",
    ),
    "part_over_limit_in": Template(
        "stop",
        "{name}: {force_N:.2f kN} {condition}{later} is over the allowed {limit_N:.2f kN} ({why})",
    ),
    "haul_force_above_stop": Template(
        "caution",
        "the haul needs {haul_N:.0f}, but the stop level is {stop_N:.0f} ({because}): the alarm comes "
        "before the load moves; take a stronger part, or a rig that loads it less",
    ),
    "capture_over_limit": Template(
        "stop",
        "{name}: when the team lets go it holds {force_N:.2f kN}, which is over its limit",
    ),
    "part_over_limit_while": Template(
        "stop",
        "{name}: {use:.0f %} of its limit while {condition}; the limit is {limit_N:.0f} ({why})",
    ),
    "haul_force_grows": Template(
        "caution",
        "the haul force grows to {haul_N:.0f} during the job, because strands turn away from the haul "
        "axis; the forces shown are those at the start",
    ),
    "rope_too_short": Template(
        "stop", "rope {rope}: {needed_m:.1f} needed, {length_m:.1f} in the bag"
    ),
    "job_not_known": Template(
        "caution",
        "pull_distance_m is not in the rig file: strokes, resets and rope for the whole job are not known",
    ),
    "job_not_done": Template("caution", "the job cannot be done (grabs reset {mode}): {why}"),
    # the first limit
    # what the rig sees if the load jams
    "jammed_unrated": Template(
        "info",
        "{people} {people:person|people}{assumed} with all they have: {haul_N:.2g kN} on the rope, "
        "{force_N:.2g kN} on {name}; nothing is rated",
    ),
    "jammed_within": Template(
        "info",
        "{people} {people:person|people}{assumed} with all they have: {haul_N:.2g kN} on the rope, "
        "{force_N:.2g kN} on {name}, {use:.0f %} of its limit",
    ),
    "jammed_over": Template(
        "caution",
        "{people} {people:person|people}{assumed} with all they have: {haul_N:.2g kN} on the rope, "
        "{force_N:.2g kN} on {name}, {use:.0f %} of its limit: stop as soon as the load does not move",
    ),
    "nothing_is_rated": Template("info", "the rig file rates nothing that the haul loads"),
    "judged_by_own_cells": Template(
        "info",
        "every rated part has its own force cell, and alarms go by that cell",
    ),
    "limit_of_a_part": Template("info", "{name}: {why}"),
    # what an alarm is about
    "knot_at": Template("info", "knot at {place}"),
    "part_at_risk": Template("info", "{kind} {name}"),
    "body_at_risk": Template("info", "{name}"),
    "limit_of_a_strand_in": Template("info", "strand {name}: {why}, {condition}{later}"),
    "limit_of_a_part_in": Template("info", "{name}: {why}, {condition}{later}"),
    # alarm levels
    "caution_never_first_force": Template(
        "caution",
        "{channel}: its caution at {warn_N:.0f} can never come first: the stop level is "
        "{stop_N:.0f} ({label}); write warn_at below it",
    ),
    "caution_never_first_length": Template(
        "caution",
        "{channel}: its caution at {warn_m:.2f} can never come first: the stop level is "
        "{stop_m:.2f} ({label}); write warn_at below it",
    ),
    # frames of a job
    "frame_start": Template("info", "start: no rope is hauled yet"),
    "frame_hauling": Template("info", "stroke {stroke}: hauling"),
    "frame_hauling_until": Template(
        "info",
        "stroke {stroke}: hauling until {first} meets {second}",
    ),
    "frame_two_blocked": Template("info", "stroke {stroke}: {first} has met {second}"),
    "frame_two_blocked_reset": Template(
        "info", "stroke {stroke}: {first} has met {second}: reset {grabs}"
    ),
    "frame_reset": Template("info", "after stroke {stroke}: {grab} is slid back"),
    "frame_end": Template("info", "end: the load has gone the whole distance"),
    "frame_ends_before": Template("info", "the steps end here: {why}"),
    "first_stroke_only": Template("info", "{why}: only the first stroke is shown"),
    "strokes_left_out": Template("info", "{shown} of {strokes} strokes are shown"),
    # choosing a rig
    "does_not_fit": Template("info", "does not fit into this distance"),
    "needs_more_rope": Template("info", "needs {needed_m:.0f} of rope; there is {length_m:.0f}"),
    "needs_a_winch": Template("info", "needs a winch on the load, not a team"),
    "over_what_is_allowed": Template("info", "over its limit: {most_used}"),
    "most_used": Template(
        "info",
        "{kind} {name}, {condition}: {force_N:.0f}, allowed {limit_N:.0f} ({why})",
    ),
    "team_pulls_less": Template("info", "the haul needs {haul_N:.0f}; the team pulls {team_N:.0f}"),
    "team_may_pull_less": Template(
        "info",
        "the haul may need up to {haul_N:.0f} (95 %); the team pulls {team_N:.0f}",
    ),
    "efficiency_assumed_for_all": Template(
        "caution",
        "pulley efficiency 0.90 with a standard uncertainty of 0.05 is assumed for every pulley",
    ),
    "not_rated_not_judged": Template(
        "caution",
        "no rating is given for these, so they are not checked: {things}",
    ),
    "start_force_not_known": Template(
        "info",
        "the force to break the load away is not known: {why}",
    ),
    "times_for_ranking": Template(
        "info",
        "times only rank the rigs; they assume {haulers} {haulers:hauler|haulers} at {each_W:.0f} each, at most "
        "{rope_m_s:g} of rope and one minute for each reset",
    ),
    # added to the note of a rig that is written
    "chosen_for_haulers": Template("info", "Chosen for {haulers} {haulers:hauler|haulers}."),
    "chosen_for_rope": Template("info", "There is {rope_m:.1f} of rope in all."),
    "pair_force": Template(
        "info",
        "{big} ({big_ma:.3g} : 1) against {small} ({small_ma:.3g} : 1): haul force {big_N:.0f} against "
        "{small_N:.0f} ({percent:.0f} % {how})",
    ),
    "pair_stuck": Template("info", "{force}; {stuck} cannot do the job: {why}"),
    "pair_times": Template(
        "info",
        "{force}; rope through the hands {big_hands_m:.0f} against {small_hands_m:.0f}, rope needed "
        "{big_rope_m:.0f} against {small_rope_m:.0f}, resets {big_resets} against {small_resets}, about "
        "{minutes:.0f} min {how}",
    ),
}

_READINGS: dict[str, Template] = {
    "force_level_passed": Template("caution", "{key} of {level_N:g} passed"),
    "length_level_passed": Template("caution", "{key} of {level_m:g} passed"),
    "strand_allowed": Template("stop", "strand {name}: {limit_N:.0f} allowed ({why})"),
    "part_allowed": Template("stop", "{name}: {limit_N:.0f} allowed ({why})"),
    "over_limit_by_own_cell": Template("stop", "{allowed}, measured by its own cell"),
    "over_limit_by_haul_cell": Template("stop", (
        "{allowed}; the force shown is computed from the haul cell: it carried at most that"
    )),
    "over_limit_about": Template("stop", (
        "{allowed}; the force shown is computed from the haul cell: it carried about that, maybe more"
    )),
    "over_limit_while_hauling": Template("stop", (
        "{allowed}; at the highest haul force it carried at most that"
    )),
    "over_limit_at_rest": Template("stop", (
        "{allowed}; while the load was eased, held or lowered it carried at most that, by what the load "
        "last needed"
    )),
    "over_limit_lowering": Template("stop", (
        "{allowed}; while the load was lowered before any hauling it carried about that"
    )),
    "slip": Template("caution", (
        "the force fell and {rope_m:.2f} of rope came out while the load stood still"
    )),
    "shock": Template("caution", "the force rose suddenly to {force_N:.0f}"),
    "reset": Template("info", "{rope_m:.2f} of rope fed back with the tension off"),
    "reset_with_setback": Template("info", "{reset}; the load lost {setback_m:.2f} (setback)"),
    "saturated": Template("caution", "beyond the capacity of the cell: the true value is not known"),
    "alarm_told": Template("stop", "{level}: {label}"),
    "silent_all_along": Template("caution", "no reading at all"),
    "silent_for": Template("caution", "no reading for {quiet_s:.1f}"),
    "silent_lately": Template("caution", "no reading for the last {quiet_s:.1f}"),
    "travel_not_counted": Template("info", "no counter at the load or at the haul"),
    "travel_without_haul_cell": Template("info", (
        "no cell at the haul: rope fed back at a reset looks the same as rope that lowers the load"
    )),
    "rig_change_not_used": Template("caution", (
        "the rig was changed, but {copy} {fault}: the earlier rig is used instead"
    )),
    "creep_not_visible": Template("info", "no counter at the load: a creeping grab cannot be seen"),
    "counter_backwards": Template("caution", (
        "{counter}: under tension the rope only ran back; if the team hauled, the counter counts "
        "backwards: change the sign of its scale"
    )),
    "counter_only_up": Template("caution", (
        "{counter} never ran back, not even between strokes: if it only counts up, no reset and no "
        "lowering can be seen; take a counter that counts both ways"
    )),
    # none in 1,040 undisturbed sessions of two simulators: fewer than 1 in 346 (95 %, rule of three)
    "load_counter_only_up": Template("caution", (
        "{counter} never ran back, although rope went back under tension: if it only counts up, no lowering and no "
        "setback can be seen, and load travel is too large; take a counter that counts both ways"
    )),
    "counters_opposite": Template("caution", (
        "{rope} and {load} count in opposite directions: {against_m:.2f} of rope ran back under "
        "tension while the load came nearer; change the sign of one scale"
    )),
    "reads_negative": Template(
        "caution",
        "{cell} reads negative under every pull, down to {least_N:.0f}: its sign is wrong, not its "
        "zero; change the sign of its scale in the sensors file, or exchange the signal wires",
    ),
    "zero_too_low": Template("caution", (
        "{cell}: its lowest reading is {least_N:.0f}, but rope cannot push: the zero is off by more "
        "than its stated uncertainty (u {u_N:.1f}), and so is every force; zero the cell with the "
        "rope slack"
    )),
    # none in 1,040 undisturbed sessions of two simulators: fewer than 1 in 346 (95 %, rule of three)
    "zero_drifts": Template("caution", (
        "{cell}: its zero drifts by {drift_N:.1f} from the first slack rope to the last, more than its stated "
        "uncertainty (u {u_N:.1f}); the drift is in the uncertainty of the forces; zero the cell at each reset"
    )),
    "zero_too_high": Template("caution", (
        "{cell}: its lowest reading is {least_N:.0f}; if the rope hung slack for a second at any "
        "time, the zero is off by more than its stated uncertainty (u {u_N:.1f}), and so is every "
        "force; zero the cell with the rope slack"
    )),
    "lag_touches_no_mean": Template("info", (
        "{late} lags {early} by {lag_s:.2f} (u {u_s:.2f}); forces are averaged over load travel, "
        "which this lag does not affect"
    )),
    "lag_shifted": Template("info", (
        "{late} lags {early} by {lag_s:.2f} (u {u_s:.2f}); forces are averaged over rope travel, "
        "corrected for this lag"
    )),
    "delays_contradict_readings": Template("caution", (
        "{counter} lags {cell} by {seen_s:.2f} (u {seen_u_s:.2f}) in the readings where the tension "
        "was let off, but by {stated_s:.2f} (u {stated_u_s:.2f}) in the sensors file, which is used: "
        "check delay_s and delay_u_s there"
    )),
    "load_moved_less": Template("caution", (
        "{load} shows {share:.0f %} less load travel than {rope} and the rig's ratio give: a grab "
        "creeps, {rope} counts too much, or the rig is not the one in the file"
    )),
    "load_moved_more": Template("caution", (
        "{load} shows {share:.0f %} more load travel than {rope} and the rig's ratio give: {rope} "
        "slips or counts too little, or the rig is not the one in the file"
    )),
    "grab_crept": Template("caution", (
        "stroke {stroke}: {lost_m:.2f} of the hauled rope ({share:.0f %}) did not move the load, more "
        "than in the other strokes: a grab crept"
    )),
    "counter_slipped": Template("caution", (
        "stroke {stroke}: the load moved {share:.0f %} more than the counted rope gives "
        "({missing_m:.2f} of rope missing): the rope counter slipped"
    )),
    "more_strokes_disagree": Template("caution", (
        "rope and load travel disagree in {strokes} more strokes"
    )),
    "lag_never_let_off": Template("info", "the tension was never let off"),
    "lag_seldom_seen": Template("info", (
        "the tension was let off {looks} times; rope came back together with the force in {seen} of "
        "them, and {needed} are needed"
    )),
    "lag_looks_differ": Template("info", (
        "{looks} estimates of the lag differ from their median by {apart_s:.2f}"
    )),
    "lag_no_take_up": Template("info", "no take-up was recorded to check the lag against"),
    "lag_no_rope_moved": Template("info", (
        "no rope moved while the force rose or fell, so this may not be a lag"
    )),
    "lag_stiffness": Template("info", (
        "a lag of {lag_s:.2f} would make the rope {ratio:.1g} times as stiff when let off as when "
        "taken up"
    )),
}  # fmt: skip

_EFFICIENCY: dict[str, Template] = {
    "no_haul_cell": Template("caution", (
        'no force channel has at = "haul": put a cell between the team and the rig'
    )),
    "haul_cell_silent": Template("caution", "{cell} has no reading"),
    "no_travel_counter": Template("caution", (
        "no counter of rope or load travel, so steady hauling looks the same as holding: add a length "
        'channel with at = "haul"'
    )),
    "counter_silent": Template("caution", "{counter} has no reading, so no travel is known"),
    "nobody_hauled": Template("caution", (
        "{cell} never rose above {floor_N:.1f}, the smallest force that it can tell from zero: nobody "
        "hauled, or the cell reads too little"
    )),
    "no_rope_hauled": Template("caution", (
        "there was tension but no rope was hauled, so there is no stroke to measure"
    )),
    # none in 1,040 undisturbed sessions of two simulators: fewer than 1 in 346 (95 %, rule of three)
    "only_tugged": Template("caution", (
        "{tugs} {tugs:pull|pulls} only stretched the rope, which sprang back: the load did not move, so there is no "
        "stroke to measure"
    )),
    "never_steady": Template("caution", "the load did not move steadily in any stroke"),
    "load_force_not_known": Template("info", (
        "the load's force is not known: put a cell at the load, or write the load's mass, slope and "
        "resistance_coefficient (or resistance_N) in the rig file"
    )),
    "haul_force_too_small": Template("caution", (
        "the haul force, {force_N:.0f}, is too small for {cell}, whose standard uncertainty is "
        "{u_N:.0f}: take a smaller cell or a heavier load"
    )),
    "haul_force_small": Template("caution", (
        "the haul force, {force_N:.0f}, is small for {cell}: the cell's uncertainty is {share:.0f %} "
        "of the force"
    )),
    "hauled_beyond_capacity": Template("caution", (
        "a cell was loaded beyond its capacity while hauling: take a larger cell"
    )),
    "no_load": Template("caution", (
        "the cells give a load force of {load_N:.0f}, which is impossible: check their zeros and the "
        "signs of their scales"
    )),
    "advantage_above_ideal": Template("caution", (
        "the measured advantage, {advantage:.3g}, is above the ideal {ideal:.3g} by more than its "
        "uncertainty {advantage_U95:.2g}, which cannot be; usual causes: someone pulled ahead of the "
        "haul cell, a wrong zero or scale, the wrong load, or another rig than the one in the file"
    )),
    "ripple_and_lag": Template("info", (
        "the pull comes in surges, and the delay between {cell} and the counter is not known (up to "
        "0.3 s is allowed for), so forces are uncertain by ± {share:.0f %}; the advantage is hardly "
        "affected if there is a cell at the load. If you know the delays, write delay_s and delay_u_s "
        "of both channels into the sensors file"
    )),
    "load_stood": Template("caution", (
        "the load stood still while {share:.0f %} of the rope was hauled: it moves in jerks, or the "
        "strokes are short for the stretch of the rope. The forces come from the little that is left "
        "and depend on the channels' delays: haul more evenly, or with less rope between hands and "
        "load"
    )),
    "uncertainty_not_stated": Template(
        "caution",
        "{channel}: the sensors file states no uncertainty, so nothing can be said of how far its "
        "values can be trusted; write u or u_percent, or name a calibration",
    ),
    "rests_on_unstated": Template(
        "info",
        "{channels} {count:states|state} no uncertainty, so what rests on {count:it|them} has no "
        "interval and is left out; write u or u_percent in the sensors file",
    ),
    "unit_looks_wrong": Template(
        "caution",
        "{cell} measured {force_N:.0f} where the rig file gives {expected_N:.0f}, a factor of "
        "{times:.2g}: it looks like {sent}, not {unit}; compare with the device's display and write "
        "its unit in the sensors file",
    ),
    "one_unit_looks_wrong": Template(
        "caution",
        "{first} and {second} are a factor of {times:.2g} apart from what the rig gives: one of them "
        "looks like another unit (kg, lbf or kN in place of N, or the reverse); compare both with the "
        "displays of the devices",
    ),
    "one_observation": Template("info", (
        "there is only one observation, so the scatter of the results is not known"
    )),
    "cells_disagree": Template("caution", (
        "{cell} gives a load force of {one_N:.0f}, the other cells {others_N:.0f}; they differ by "
        "more than their uncertainties: check the zeros and scales; {taken_N:.0f} is used"
    )),
    "ground_or_pulleys": Template("info", (
        "with the mass alone, ground friction cannot be separated from pulley friction here: the load "
        "force is anywhere from {low_N:.0f~} to {high_N:.0f}; write resistance_coefficient, or put a "
        "cell at the load"
    )),
    "load_by_same_cell": Template("info", (
        "the load force, {load_N:.0f}, was measured in session {session} by the same cell, {cell}, "
        "over {way_m:.1f}: it is valid only for the same load on the same ground"
    )),
    "load_by_other_cell": Template("info", (
        "the load force, {load_N:.0f}, was measured in session {session} by another cell, {cell}, "
        "over {way_m:.1f}: it is valid only for the same load on the same ground"
    )),
    "calibrated_below": Template("caution", (
        "{cell} read up to {high_N:.{high_places}f}, but {file} is verified only {verified}. Outside "
        "that range the stated uncertainty does not hold: calibrate over the forces hauled, or take a "
        "larger cell"
    )),
    "calibrated_above": Template("caution", (
        "{cell} read {low_N:.{low_places}f} in steady hauling, but {file} is verified only "
        "{verified}. Outside that range the stated uncertainty does not hold: calibrate over the "
        "forces hauled, or take a smaller cell"
    )),
    "calibrated_between": Template("caution", (
        "{cell} read {low_N:.{low_places}f} in steady hauling and up to {high_N:.{high_places}f}, but "
        "{file} is verified only {verified}. Outside that range the stated uncertainty does not "
        "hold: calibrate over the forces hauled, or take a cell that fits"
    )),
    "verified_up_to": Template("info", "up to {most_N:.{places}f}"),
    "verified_from_to": Template("info", "from {least_N:.{places}f} ({why}) to {most_N:.{places}f}"),
    "travel_of_another_rig": Template("caution", (
        "rope and load travel give {looks:.3g} to 1, the rig file gives {file:.3g} to 1: check that "
        "the rig is the one in the file"
    )),
    "stroke_too_long": Template("caution", (
        "{hauled_m:.1f} of rope was hauled in one stroke, but the rig in the file is two-blocked "
        "after {longest_m:.1f}: check that the rig is the one in the file, with its grabs in the same "
        "places"
    )),
    "too_much_fed_back": Template("caution", (
        "{fed_back_m:.1f} of rope was fed back at a reset, but only {hauled_m:.1f} was hauled before "
        "it: check that the rig is the one in the file, and that the counter counts alike in both "
        "directions"
    )),
    "stage_drags": Template("caution", (
        "the stage from {start} to {end} drags: it gave {ratio:.3g} ± {ratio_U95:.2g} to 1 out of "
        "{ideal:.3g}, and {predicted:.3g} was predicted; check its pulleys first"
    )),
    # none in 1,040 undisturbed sessions of two simulators: fewer than 1 in 346 (95 %, rule of three)
    "efficiency_of_another_rig": Template("caution", (
        "rope and load travel give {looks:.3g} to 1, the rig file gives {file:.3g} to 1: another rig was built, so "
        "its ideal advantage is not known and there is no efficiency; correct the rig file and review again"
    )),
    # none in 1,040 undisturbed sessions of two simulators: fewer than 1 in 346 (95 %, rule of three)
    "cell_at_its_range": Template("caution", (
        "{cell} comes to {top_N:.0f} again and again and stays exactly there: it reads no more than that, so "
        "the forces were at least as large and are not known; take a larger cell, and write its capacity"
    )),
    # none in 1,040 undisturbed sessions of two simulators: fewer than 1 in 346 (95 %, rule of three)
    "cells_contradict_rig": Template("caution", (
        "the cells give an advantage of {advantage:.3g} where the ideal is {ideal:.3g}, which no pulleys "
        "explain: {causes}"
    )),
    "cells_contradict_any_pulley": Template("caution", (
        "the cells give an advantage of {advantage:.3g} where the ideal is {ideal:.3g}, which takes pulleys of an "
        "efficiency below {floor:g}: check the unit, the place and the sign of every cell in the sensors file"
    )),
    # none in 1,040 undisturbed sessions of two simulators: fewer than 1 in 346 (95 %, rule of three)
    "cells_may_be_misread": Template("caution", (
        "the advantage is far below the prediction; worse pulleys may be the cause, but check first: {causes}"
    )),
    "cell_sends_another_unit": Template("caution", (
        "{cell} looks like {sent}, not {unit}: compare with the device's display and write its unit in the "
        "sensors file"
    )),
    "haul_cell_at_load": Template("caution", (
        "{cell} reads as much as the load: it sits at the load's side of the rig, not in the haul strand"
    )),
    "load_cell_at_anchor": Template("caution", (
        '{cell} reads what a cell at the anchor would: if it sits there, write at = "anchor"'
    )),
    # none in 1,040 undisturbed sessions of two simulators: fewer than 1 in 346 (95 %, rule of three)
    "haul_cell_reversed": Template("caution", (
        "{cell} reads negative under every pull, so no stroke is seen: its sign is wrong; change the sign of its "
        "scale in the sensors file, or exchange the signal wires"
    )),
    "verdict_refused": Template("caution", "Nothing to compare: {why}."),
    "verdict_of_another_rig": Template("caution", (
        "The rig gave {measured:.3g} to 1, which is not compared with the prediction: {why}."
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
        "({predicted:.{digits}g} to 1) within the uncertainty of both."
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
    "load_resists_more": Template("caution", "or a load that resists more than the file says"),
    "another_rig_built": Template("caution", "or a rig that is not the one in the file"),
    "better_pulleys": Template("info", "better pulleys than the file says"),
    "better_pulleys_or_load": Template("info", (
        "better pulleys than the file says, or a load that resists less than the file says"
    )),
    "ground_not_pulleys": Template("caution", (
        "{change}, which pulleys do not cause: measure the load force before you blame the pulleys"
    )),
    "look_at_ground": Template("caution", "the ground: {cause}"),
    "read_outside_calibration": Template("caution", (
        "{cells} read outside the verified range of the calibration"
    )),
    "verdict_beyond_calibration": Template("caution", "{verdict} Mind: {beyond}."),
    "force_rose_along_strokes": Template("info", (
        "the haul force rose by {share:.0f %} along each stroke, as it does where the ground changes"
    )),
    "force_fell_along_strokes": Template("info", (
        "the haul force fell by {share:.0f %} along each stroke, as it does where the ground changes"
    )),
    "force_rose_from_stroke_to_stroke": Template("info", (
        "the haul force rose by {share:.0f %} from the first stroke to the last with the same rig"
    )),
    "force_fell_from_stroke_to_stroke": Template("info", (
        "the haul force fell by {share:.0f %} from the first stroke to the last with the same rig"
    )),
    "force_differed": Template("info", (
        "the haul force differed by {share:.0f %} from stroke to stroke with the same rig"
    )),
}  # fmt: skip

_REVIEW: dict[str, Template] = {
    "rows_left_out": Template("caution", "{rows} torn or unreadable rows left out"),
    "rig_changed": Template("info", (
        "the rig was changed: the session has {chapters} chapters, each with its own rig; the measured and "
        "predicted values shown for the whole session are those of chapter {shown}, {rig}"
    )),
    "chapter_caution": Template("caution", "chapter {chapter}: {said}"),
    "chapter_info": Template("info", "chapter {chapter}: {said}"),
    "peaks_beyond_capacity": Template("caution", (
        "{parts}: no upper bound is known, because {cell} was beyond its capacity: the force may have been "
        "higher; take a cell with more capacity"
    )),
    "peaks_not_bounded": Template("caution", (
        "{parts}: no upper bound is known: the friction there adds to the force; put a cell on this part"
    )),
    "what_if_rig": Template("info", "the rig had been that of {rig}"),
    "what_if_efficiency": Template("info", (
        "every pulley had the efficiency {efficiency:.2f}, taken as exact"
    )),
    "ground_changed": Template("info", (
        "{change}; the load force changed with it and the advantage did not: the ground changed, not "
        "the rig"
    )),
    "advantage_changed": Template("caution", (
        "{change}; the advantage changed from stroke to stroke too: check the rig"
    )),
    "cell_later": Template("info", "{cell} lags the haul cell by {lag_s:.2f}; this is corrected"),
    "cell_earlier": Template("info", (
        "{cell} leads the haul cell by {lag_s:.2f}; this is corrected"
    )),
    "cut_short": Template("caution", "the recording was cut short: what came after is not known"),
    "changed_after_sealing": Template("caution", (
        "files were changed after the session was sealed: `haul verify` names them"
    )),
    "no_load_counter": Template("info", (
        "no counter at the load: a slip or a load that stands still cannot be seen"
    )),
    "no_rope_counter": Template("info", "no rope counter at the haul: rope travel comes from {counter}"),
    "channel_silent": Template("caution", "{channel}: no reading"),
    "lines_dropped": Template("caution", "{channel}: {lines} lines dropped, see rejects.csv"),
    "readings_late": Template("caution", "{channel}: {readings} readings out of order, not used"),
    "readings_bad": Template("caution", (
        "{channel}: {readings} readings that are not valid numbers, not used"
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

_LIVE: dict[str, Template] = {
    "sealed_after": Template("info", "sealed after {after_s:.0f}"),
    "sealed_after_why": Template("info", "{sealed} ({why})"),
    "files_changed": Template("caution", "after the session was sealed: `haul verify` names them"),
    "channel_without_reading": Template(
        "stop",
        (
            "NO READING of {channel} was recorded: this session holds nothing of it; check the cable, `port`, "
            "`baud` and `format` in the sensors file, and record again"
        ),
    ),
    "recorder_gone": Template(
        "stop",
        "the recorder stopped {since_s:.0f} into the session: nothing is recorded",
    ),
    "recorder_stalled": Template(
        "stop",
        "the recorder has written nothing for {quiet_s:.0f}; numbers are old",
    ),
    "rig_changed_now": Template(
        "caution",
        (
            "the rig was changed: levels, shares and drawing are those of the new rig; where its grabs stand "
            "is known from the next full reset on, and the rope left with it"
        ),
    ),
    # what is going on at the rope
    "no_reading_at_all": Template("caution", "{cell}: no reading at all"),
    "no_reading_for": Template("caution", "{cell}: no reading for {age_s:.0f}"),
    "no_haul_reading": Template("caution", "no reading of the haul tension"),
    "no_counter_speaks": Template("info", "no counter reads: hauling and holding look alike"),
    "load_stands": Template("info", "the load stands still"),
    "nothing_hauled_yet": Template("info", "nothing hauled yet"),
    "team_has_the_load": Template("info", "the team has the load on the rope"),
    "lowered_or_set": Template(
        "info",
        "no counter at the load: lowering it and setting it on a capture look alike",
    ),
    "load_goes_back": Template("info", "the load moves back under tension"),
    "rope_goes_back": Template("info", "rope is given back, the load stands still"),
    "no_tension_so_far": Template("info", "no tension at the haul so far"),
    "ran_back_since": Template("stop", "{back_m:.2g} since the haul was let go"),
    "ran_back_first": Template("info", "; the load ran back {back_m:.2g} first"),
    "fed_back_held_on": Template("info", "rope is fed back; the load is held on {captures}"),
    "fed_back_not_held": Template(
        "caution", "rope is fed back; no capture in the rig file holds the load"
    ),
    "looks_held": Template(
        "info",
        ("no counter shows the load: look whether {captures} holds it before anyone lets go"),
    ),
    "rope_is_loaded": Template("info", "the rope between it and the load is loaded{ran_back}"),
    "haul_let_go": Template("info", "haul let go; rope may still be loaded{ran_back}"),
    "holder_not_known": Template(
        "caution", "the rig file has no capture: what holds the load is not known"
    ),
    # why what is left of a stroke is not known
    "rig_was_changed": Template(
        "info", ("the rig was changed: known again when every grab was slid back to its place")
    ),
    "rig_was_changed_no_grabs": Template(
        "info", "the rig was changed: known again when hauling goes on"
    ),
    "rig_change_unread": Template(
        "caution",
        ("the rig was changed, but its file cannot be used: the places of its grabs are not known"),
    ),
    "plates_not_known": Template(
        "info", ("the rig was changed: where its plates stand is not known")
    ),
    "locks_up_here": Template("info", "the rig locks up in its present position"),
    "fed_back_not_counted": Template(
        "info",
        "no rope counter at the haul: the rope fed back at a reset is not known",
    ),
    "no_counter": Template("info", "no counter at the load or the haul"),
    "after_the_reset": Template("info", "known again when hauling goes on after the reset"),
    "too_many_grabs": Template("info", "after a reset: too many grabs to tell which were slid"),
    "fed_back_fits_none": Template(
        "info",
        "after a reset: the {fed_m:.2g} of rope fed back fit no grab slid back to its place",
    ),
    "fed_back_fits_several": Template(
        "info",
        "after a reset: the rope fed back fits {grabs} slid back to its place",
    ),
    # how the loads are inferred
    "from_the_cell": Template(
        "info",
        "computed from the cell, without friction or with the model's friction, whichever is larger",
    ),
    "at_most_from_the_haul_cell": Template(
        "info",
        "at most this, computed from the haul cell for a frictionless rig",
    ),
    "at_most_but_for_some": Template(
        "info",
        "at most this, computed from the haul cell for a frictionless rig; {parts} with the model's "
        "friction",
    ),
    "from_the_haul_cell": Template(
        "info",
        "computed from the haul cell for a frictionless rig; the force is higher where friction helps "
        "to hold",
    ),
    "what_the_load_needed": Template(
        "info",
        "at most this, computed from the force that the load last needed, at rest on a capture or "
        "while it is eased",
    ),
    "by_own_cells": Template(
        "info",
        "{parts} measured by {count:its|their} own cell; others: {others}",
    ),
}

_REPORT: dict[str, Template] = {
    "part_over_limit_by_cell": Template("stop", (
        "{name} {force_N:.0f} of {limit_N:.0f} by its own cell ({use:.0f %})"
    )),
    "part_over_limit_about": Template(
        "stop", "{name} about {force_N:.0f} of {limit_N:.0f} ({use:.0f %}), maybe more"
    ),
    "part_over_limit_at_most": Template("stop", "{name} at most {force_N:.0f} of {limit_N:.0f} ({use:.0f %})"),
    "parts_over_limit": Template("stop", (
        "OVER THE LIMIT: {parts}{more}. A person inspects them before they are used again."
    )),
}  # fmt: skip

_LIBRARY: dict[str, Template] = {
    "gear_forces_inferred": Template("caution", (
        "unless a cell sits on the item, its force is computed from what was measured at the haul or the load: it "
        "carried at most that, while hauling, eased, held or lowered"
    )),
    "gear_not_bounded": Template("caution", (
        "{item}: its highest force is not known, and it may have been above the levels more often than is counted; {why}"
    )),
    "gear_recorded_alone": Template("caution", (
        "only recorded sessions count; a person inspects gear and retires it, not this program"
    )),
    "session_unreadable": Template("caution", "{session} is not counted: {why}"),
    "trend_too_few": Template("info", (
        "{sessions} sessions with a known {what}: {needed} are needed for a trend"
    )),
    "trend_one_day": Template("info", "all sessions are from one day, too short for a trend"),
    "trend_falls": Template("caution", (
        "the {what} falls, {first:.3f} to {last:.3f} over {days:.0f} days, by more than its "
        "uncertainty: something wears or drags; a person should inspect the pulleys, the rope and how "
        "it runs"
    )),
    "trend_rises": Template("info", (
        "the {what} rises, {first:.3f} to {last:.3f} over {days:.0f} days, by more than its uncertainty"
    )),
    "trend_none": Template("info", (
        "no change of the {what} can be detected, {first:.3f} to {last:.3f} over {days:.0f} days"
    )),
    "ratios_same_load": Template("info", "{big:.3g} : 1 against {small:.3g} : 1 on the same load"),
    "ratios_not_measured": Template("info", (
        "{ratios}: the haul force was not measured in both, so they cannot be compared."
    )),
    "ratios_compared": Template("info", (
        "{ratios}: {gain} where the ratios promise {promised:.0f %}, for {cost}; {verdict}."
    )),
    "less_haul_force": Template("info", "{less:.0f %} less haul force (± {doubt:.0f %})"),
    "more_haul_force": Template("info", "{more:.0f %} more haul force (± {doubt:.0f %})"),
    "ratios_no_difference_shown": Template("info", (
        "{ratios}: no difference of the haul force is shown ({change:+.0f %~} ± {doubt:.0f %}), which "
        "does not mean that there is none; {promise}, for {cost}; haul more strokes, or use a cell with "
        "less uncertainty, to see a difference."
    )),
    "promise_may_be_kept": Template("info", "the ratios promise {promised:.0f %} less"),
    "promise_ruled_out": Template("info", (
        "the {promised:.0f %} less that the ratios promise is ruled out"
    )),
    "ratios_other_load": Template("info", (
        "{big:.3g} : 1 against {small:.3g} : 1: no verdict, because {why}; if both moved the same load, "
        "add --same-load."
    )),
    "load_not_in_both_files": Template("info", "not both rig files state the load's mass_kg or resistance_N"),
    "loads_differ_in_files": Template("info", "the rig files state different loads"),
    "loads_measured_apart": Template("info", (
        "the rig files state the same load, but {one_N:.0f} and {other_N:.0f} were measured"
    )),
    "cost_rope": Template("info", "{rope:.2g} times the rope a metre, {more}"),
    "cost_time": Template("info", "{time:.2g} times the time a metre, {more}"),
    "cost_resets": Template("info", "{big} resets against {small}"),
    "not_worth_it": Template("info", "not worth it: friction took what the bigger ratio promised"),
    "worth_it_if_needed": Template("info", (
        "worth it only where the team cannot keep up the greater force; the rig files do not state "
        "the team's pull_N"
    )),
    "not_needed": Template("info", (
        "not needed: the team can keep up {team_N:.0f}, enough for the smaller ratio"
    )),
    "not_enough": Template("info", "not enough: the team keeps up {team_N:.0f}, less than either needs"),
    "worth_it": Template("info", (
        "worth it: the smaller ratio needs {needs_N:.0f}, and the team keeps up {team_N:.0f}"
    )),
}  # fmt: skip

_LISTEN: dict[str, Template] = {
    # what a person must say
    "listen_comma": Template(
        "caution",
        'a comma: decimal or separator? "{line}" can be read as {choices}; write {cure} in the [[channel]]',
    ),
    "listen_blank": Template(
        "caution",
        'a blank between digits: between thousands or between numbers? "{line}" can be read as one number or as '
        'two; write format = "text" with thousands = " ", or with number = 1, in the [[channel]]',
    ),
    "listen_counts": Template(
        "caution",
        '{place} ("{number}") is in counts: write unit = "count" and scale = the newtons or metres in one count',
    ),
    "listen_no_unit": Template(
        "caution",
        '{place} ("{number}") shows no unit: write quantity and unit in its [[channel]]',
    ),
    "listen_flag": Template(
        "caution",
        '"{word}" behind {place} ("{number}"): a unit, or a flag such as gross, tare or in motion?',
    ),
    # what is worth knowing
    "listen_other_unit": Template(
        "info", '{place} ("{number}") is in {word}, no unit of a force or a length: no channel reads it'
    ),
    "listen_steady": Template(
        "info",
        '{place} is "{number}" in every line, such as an address or a status: no channel reads it',
    ),
    "listen_device_time": Template(
        "info",
        '{place} ("{number}") rises as a clock in {unit} does: it is taken for the device\'s own time, and a '
        "comment in each [[channel]] says how to use it",
    ),
    "listen_kinds": Template(
        "caution",
        '{place} ("{number}"): this device sends lines of several kinds with nothing that tells them '
        "apart, so no channel reads it",
    ),
    "listen_not_proved": Template(
        "caution",
        '{place} ("{number}"): no [[channel]] reads it from all of these lines; compare the lines with '
        "the device's manual",
    ),
    "listen_not_together": Template(
        "caution", "these channels do not read well in one file: record with one of them ({fault})"
    ),
    "listen_other_transducer": Template(
        "info", "the sentence also carries {name} (type {kind}, in {unit}), no force in N or length in M"
    ),
    "listen_either_parity": Template(
        "info",
        "a line of eight bits reads the same with even and with odd parity; if the device does not understand "
        'a question, write framing = "8O1"',
    ),
    "listen_usb": Template(
        "info", 'port = "{port}" finds this device again when it stands in another socket'
    ),
    "listen_by_id": Template("info", 'port = "{port}" finds it again too, by its maker\'s name'),
    "listen_lost": Template("caution", "the device is gone: {why}"),
    # why nothing is understood
    "listen_silent": Template(
        "caution", "nothing came in {waited_s:.0f}, and nothing was sent to the device"
    ),
    "listen_no_answer": Template("caution", 'no answer to "{ask}" came in {waited_s:.0f}'),
    "listen_try_power": Template(
        "info", "is it switched on, and does its menu say that it sends by itself (continuous, stream)?"
    ),
    "listen_try_ask": Template(
        "info",
        "many indicators speak only when they are asked: look up the question in the manual and try --ask "
        '"READ?\\r\\n"; a Modbus device needs a channel with format = "modbus"',
    ),
    "listen_try_framing": Template(
        "info", "an asked device may want another rate or framing: try --baud 9600 --framing 7E1"
    ),
    "desk_few": Template(
        "info",
        "few bytes come, with seconds between them: wait until its rate is found, or say rate and framing under "
        "Settings",
    ),
    "desk_try_ask": Template(
        "info",
        "many indicators speak only when they are asked: look the question up in the manual, and type it under Settings",
    ),
    "desk_try_framing": Template(
        "info", "an asked device may want another rate or framing: type them under Settings too"
    ),
    "listen_try_wires": Template(
        "info",
        "swapped wires keep a line silent: exchange RX and TX (A and B of a two-wire bus), and check the ground",
    ),
    "listen_try_sender": Template(
        "info", "does the device send to this address and port, and does a firewall let it through?"
    ),
    "listen_no_text": Template(
        "caution",
        "bytes came, but no lines of text at {tried} {tried:setting|settings} of rate and framing: "
        "try --baud and --framing from the manual; it may be a binary device, such as Modbus",
    ),
    "listen_few": Template(
        "caution",
        "{bytes} {bytes:byte|bytes} came, with seconds between the lines: too few lines to find the rate and the "
        "framing; listen for longer with --for 120, or state --baud and --framing from the manual",
    ),
    "listen_few_lines": Template(
        "caution",
        "only {bytes} {bytes:byte|bytes} came, which look like lines at {baud} baud, {framing}, too few to be sure: "
        "listen for longer with --for 60, or state --baud {baud} --framing {framing}",
    ),
    "listen_few_seven": Template(
        "caution",
        "only {bytes} {bytes:byte|bytes} came, which look like lines of {framing}, too few to be sure: listen for "
        "longer with --for 60, or state --framing {framing}",
    ),
    "listen_no_end": Template(
        "caution", "text came, but no line has ended: listen for longer with --for 30"
    ),
    "listen_no_number": Template("caution", "lines came, but no number stands in them"),
}  # fmt: skip

_PLACES: dict[str, Template] = {
    "capture_no_room": Template("info", "a capture can't stand here: {fault}"),
    "capture_would_not_hold": Template("info", "a capture here alone would not hold the load"),
    "capture_no_run": Template("info", "the rope does not run here while hauling, so a capture would take in nothing"),
    "no_grab_to_place": Template("info", "the rig has no grab"),
    "no_place_for_grabs": Template("caution", (
        "no places of the grabs do the job with the rope and the space there is"
    )),
}  # fmt: skip

_CONVERSION: dict[str, Template] = {
    "convert_nothing_holds": Template("stop", (
        "nothing holds the load without hands: no capture of the rig does, and the rig file does not make sure "
        "that the load cannot run back; put a capture on the rope, or state [load]"
    )),
    "convert_lets_go": Template("info", "{name} would not hold the load after it"),
    "convert_strand_loaded": Template("info", "{strand} carries {share:.2g} of the load"),
    "convert_grab_pulled": Template("info", "{name} is pulled from one side"),
    "convert_rope_loaded": Template("info", "its rope carries the load"),
    "convert_too_long": Template("stop", (
        "no way with the load held was found before the search was given up; the farthest fails at move {number}, {move} "
        "{why}; convert to a rig between the two first"
    )),
    "convert_over_limit": Template("stop", (
        "{name} would carry {force_N:.0f} while it holds the load, and is allowed {limit_N:.0f}"
    )),
    "convert_borrowed": Template("caution", (
        "{count} more {kind} than either rig has {count:is|are} needed on the way"
    )),
    "convert_holds_the_load": Template("info", "{name} holds the load"),
    "convert_the_load": Template("info", "the load"),
    "convert_the_anchor": Template("info", "the anchor"),
    "convert_a_body": Template("info", "{name}"),
    "convert_kind_pulley": Template("info", "pulley"),
    "convert_kind_capture": Template("info", "capture"),
    "convert_kind_grab": Template("info", "grab"),
    "convert_kind_edge": Template("info", "edge"),
    "convert_kind_haul": Template("info", "haul"),
    "convert_hold": Template("info", "Set {name} and ease the load on to it until the haul is slack."),
    "convert_ease": Template("info", "Set {name} and ease the load from {before} on to it."),
    "convert_chock": Template("info", (
        "Chock the load so that it cannot move either way, and ease the haul until the rope is slack."
    )),
    "convert_off": Template("info", "Take {kind} {name} off {body}."),
    "convert_off_rope": Template("info", "Take {kind} {name} off the rope."),
    "convert_put": Template("info", "Clip {kind} {name} to {body} and lay strand {strand} over it."),
    "convert_put_capture": Template("info", "Put capture {name} at {body} on strand {strand}."),
    "convert_put_and_hold": Template("info", (
        "While the team holds: {first} Set it and ease the load on to it until the haul is slack."
    )),
    "convert_put_grab": Template("info", "Put grab {name} on strand {strand}, {at_m:.1f} from the anchor."),
    "convert_put_grab_by": Template("info", (
        "Put grab {name} on strand {strand}, load side of {capture}, {at_m:.1f} from the anchor."
    )),
    "convert_move": Template("info", (
        "Take {kind} {name} off {before} and clip it to {body}, on strand {strand}; from here it is {new}."
    )),
    "convert_move_grab": Template("info", (
        "Take grab {name} off the rope and put it on strand {strand}, {at_m:.1f} from the anchor; from here it is "
        "{new}."
    )),
    "convert_relocate": Template("info", (
        "Take grab {name} off the rope, with what hangs on it, and put it on strand {strand}, {at_m:.1f} from the "
        "anchor."
    )),
    "convert_slide": Template("info", "Slide grab {name} along its strand to {at_m:.1f} from the anchor."),
    "convert_untie": Template("info", "Untie rope {rope} from {body}"),
    "convert_take_haul": Template("info", "Take the end of rope {rope} from the {haul}"),
    "convert_take_slack": Template("info", "Take the slack end of rope {rope}"),
    "convert_then_tie": Template("info", "{first} and tie it to {body}."),
    "convert_then_haul": Template("info", "{first} and hand it to the {haul}."),
    "convert_then_slack": Template("info", "{first} and leave it slack."),
    "convert_rope_on": Template("info", "Lay rope {rope} with its parts: {path}."),
    "convert_rope_off": Template("info", "Take rope {rope} off with its parts: {path}."),
    "convert_new_names": Template("info", "Take up the slack. From here on the parts have the names of the new rig: {names}."),
    "convert_take_up": Template("info", "Take up the slack."),
    "convert_refused": Template("stop", "there is no way with the load held: it fails at move {number}, {move} {why}"),
    "convert_last_rig": Template("stop", "the converted rig would not work: {why}"),
    "convert_unrated": Template("caution", (
        "{name} holds the load during the conversion and its strength is not stated; check that it holds {force_N:.0f}"
    )),
    "convert_unrated_share": Template("caution", (
        "{name} holds the load during the conversion and its strength is not stated"
    )),
    "convert_places_of_file": Template("caution", (
        "where the bodies stand now is not known; places along a strand are those of the rig file, at the start of the job"
    )),
    "convert_marked_before": Template("caution", (
        "{count} {count:move is|moves are} marked already that this page did not send; check that they are of this list, or take "
        "them back"
    )),
    "convert_too_many_marked": Template("stop", (
        "{count} moves are marked already and this list has {moves}; take back what is not of it"
    )),
    "convert_working_still": Template("info", "another list is still being worked out; wait for it"),
    "convert_other_marked": Template("stop", (
        "moves of another list are marked; take them back first, or finish that list"
    )),
    "convert_same_rig": Template("info", "nothing to do: it is the rig that stands"),
    "convert_only_ground": Template("caution", (
        "no capture holds during the conversion; keep the chocks under the load until the haul is taut again"
    )),
}  # fmt: skip

CATALOGUE: dict[str, Template] = {
    **_RIG, **_PREDICTION, **_READINGS, **_EFFICIENCY, **_REVIEW, **_LIVE, **_REPORT, **_LIBRARY, **_LISTEN,
    **_PLACES, **_CONVERSION,
}  # fmt: skip
