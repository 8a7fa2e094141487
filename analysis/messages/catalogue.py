"""Every sentence about a rig or a session that a person can see, by code.

A row gives the level (info: worth knowing; caution: look at it before you rely on it; stop: do not
pull before it is mended) and the template, whose fields `message` explains.  A code never
changes its meaning; what is no longer said goes, and its code is not used again.
"""

from __future__ import annotations

from analysis.messages.template import Template

_RIG: dict[str, Template] = {
    # what reading the file assumed
    "surface_is_a_guess": Template(
        "caution",
        "load: resistance coefficient {coefficient} of {surface} is a table's guess within a factor, "
        "not a measurement",
    ),
    "edge_friction_u_assumed": Template(
        "info",
        "{edge}: friction {friction:g} is taken with a standard uncertainty of 30 %; write friction_u "
        "where it is known",
    ),
    "efficiency_assumed": Template(
        "caution",
        "pulley efficiency 0.90 with a standard uncertainty of {uncertainty:g} is assumed; write "
        "[defaults] pulley_efficiency, or measure it",
    ),
    "knots_assumed": Template(
        "caution",
        "{places}: {count:the knot's strength|the strength of these knots} is not stated; {keeps:.2f} is "
        "assumed; write strength = ... at {count:the tie|each tie}",
    ),
    # what sets a limit
    "breaking_strength": Template("info", "{strength_N:.4g kN} breaking strength / {factor:g}"),
    "knotted_strength": Template(
        "info",
        "{strength_N:.4g kN} breaking strength, of which its knot keeps {keeps:g} / {factor:g}",
    ),
    "assumed_knot_strength": Template(
        "info",
        "{strength_N:.4g kN} breaking strength, of which its knot is assumed to keep {keeps:g} / "
        "{factor:g}",
    ),
    "working_load_limit": Template("info", "WLL {limit_N:.4g kN}"),
    "begins_to_slip": Template("info", "begins to slip at {limit_N:.4g kN}"),
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
        "how much more the ground holds before the load moves is not stated: write [load] breakaway = "
        "1.3 (times its resistance while moving), or surface",
    ),
    "slope_and_ground_not_parted": Template(
        "info", "resistance_N does not say which part of it is slope and which is ground"
    ),
    "load_runs_to_the_anchor": Template("info", "the load would run by itself toward the anchor"),
    "ground_holds_the_load": Template("info", "the ground alone holds the load"),
    "capture_cannot_hold": Template("info", "{capture} cannot hold the load alone"),
    # why lost rope is not known
    "haul_force_not_known": Template("info", "the haul force is not known"),
    "stretch_not_stated": Template(
        "info", "rope {rope} states no stretch_percent and stretch_at_kN"
    ),
    # why a job has no answer
    "distance_not_stated": Template("info", "pull_distance_m is not in the rig file"),
    "locks_up_on_the_way": Template("info", "the rig locks up on the way"),
    "too_many_strokes": Template("info", "not done after {strokes} strokes"),
    "nothing_to_slide_back": Template(
        "info",
        "{bodies} are two-blocked after {load_m:.2f} and no grab can be slid back",
    ),
    "sliding_gains_nothing": Template("info", "sliding the grabs back gains nothing"),
    # what a model warns of
    "no_capture": Template(
        "stop",
        "NO CAPTURE covers the reset of {grabs}: the load runs back when the team lets go; put a capture "
        "on a strand that wants to run out",
    ),
    "capture_holds_nothing": Template(
        "caution",
        "{capture} cannot hold the load alone: no rope wants to run out through it",
    ),
    "forces_are_multiples": Template(
        "caution", "forces are multiples of the haul tension only: {why}"
    ),
    "team_too_weak": Template(
        "caution",
        "the team can keep up {team_N:.0f}, the model needs {haul_N:.0f} (95 %: {low_N:.0f~} to "
        "{high_N:.0f})",
    ),
    "team_may_be_too_weak": Template(
        "caution",
        "the team's {team_N:.0f} may not do: the model needs {haul_N:.0f}, but up to {high_N:.0f} within "
        "95 %",
    ),
    "team_too_weak_to_start": Template(
        "caution",
        "breaking the load away takes {start_N:.0f} at the haul, for a moment; the team can keep up "
        "{team_N:.0f}",
    ),
}

_PREDICTION: dict[str, Template] = {
    "part_over_limit": Template(
        "stop", "{name}: {force_N:.2f kN} is over what is allowed, {limit_N:.2f kN} ({why})"
    ),
    "part_over_limit_on_the_way": Template(
        "stop",
        "{name}: {force_N:.2f kN} on the way is over what is allowed, {limit_N:.2f kN} ({why})",
    ),
    "capture_over_limit": Template(
        "stop",
        "{name}: holding {force_N:.2f kN} with the team's hands off is over what is allowed",
    ),
    "part_over_limit_while": Template(
        "stop",
        "{name}: {use:.0f %} of what is allowed while {condition}; allowed is {limit_N:.0f} ({why})",
    ),
    "haul_force_grows": Template(
        "caution",
        "the haul force grows to {haul_N:.0f} on the way, as strands come to stand beside the haul axis; "
        "the forces here are those at the start",
    ),
    "rope_too_short": Template(
        "stop", "rope {rope}: {needed_m:.1f} needed, {length_m:.1f} in the bag"
    ),
    "job_not_known": Template(
        "caution",
        "pull_distance_m is not in the rig file: strokes, resets and rope for the whole job are not known",
    ),
    "job_not_done": Template("caution", "job, grabs reset {mode}: {why}"),
    # the first limit
    "nothing_is_rated": Template("info", "nothing that the haul loads is rated in the rig file"),
    "judged_by_own_cells": Template("info", "what is rated is judged by its own cell"),
    "limit_of_a_strand": Template("info", "strand {name}: {why}"),
    "limit_of_a_part": Template("info", "{name}: {why}"),
    # frames of a job
    "frame_start": Template("info", "start: nothing is pulled yet"),
    "frame_hauling": Template("info", "stroke {stroke}: hauling"),
    "frame_hauling_until": Template(
        "info", "stroke {stroke}: hauling; next, {first} meets {second}"
    ),
    "frame_two_blocked": Template("info", "stroke {stroke}: {first} has met {second}"),
    "frame_two_blocked_reset": Template(
        "info", "stroke {stroke}: {first} has met {second}: reset {grabs}"
    ),
    "frame_reset": Template("info", "after stroke {stroke}: {grab} is slid back"),
    "frame_end": Template("info", "end: the load is where it has to be"),
    "frame_ends_before": Template("info", "the story ends here: {why}"),
    "first_stroke_only": Template("info", "{why}: the first stroke only"),
    "strokes_left_out": Template("info", "{shown} of {strokes} strokes are shown"),
    # choosing a rig
    "does_not_fit": Template("info", "does not fit into this distance"),
    "needs_more_rope": Template("info", "needs {needed_m:.0f} of rope, {length_m:.0f} are there"),
    "needs_a_winch": Template("info", "needs a winch on the load, not a team"),
    "over_what_is_allowed": Template("info", "over what is allowed: {most_used}"),
    "most_used": Template(
        "info",
        "{kind} {name}, {condition}, {force_N:.0f} where {limit_N:.0f} is allowed ({why})",
    ),
    "team_pulls_less": Template("info", "the team pulls {team_N:.0f}, it takes {haul_N:.0f}"),
    "team_may_pull_less": Template(
        "info", "may take up to {haul_N:.0f} (95 %), the team pulls {team_N:.0f}"
    ),
    "efficiency_assumed_for_all": Template(
        "caution",
        "pulley efficiency 0.90 with a standard uncertainty of 0.05 is assumed for every pulley",
    ),
    "not_rated_not_judged": Template("caution", "not rated, so not judged: {things}"),
    "start_force_not_known": Template("info", "to break away: not known; {why}"),
    "times_for_ranking": Template(
        "info",
        "times are for ranking alone: {haulers} haulers at {each_W:.0f} each, at most {rope_m_s:g} of "
        "rope, a minute a reset",
    ),
    "pair_force": Template(
        "info",
        "{big} ({big_ma:.3g} : 1) against {small} ({small_ma:.3g} : 1): haul force {big_N:.0f} against "
        "{small_N:.0f} ({percent:.0f} % {how})",
    ),
    "pair_stuck": Template("info", "{force}; {stuck} does not get there: {why}"),
    "pair_times": Template(
        "info",
        "{force}; rope through the hands {big_hands_m:.0f} against {small_hands_m:.0f}, rope needed "
        "{big_rope_m:.0f} against {small_rope_m:.0f}, resets {big_resets} against {small_resets}, about "
        "{minutes:.0f} min {how}",
    ),
}

_READINGS: dict[str, Template] = {}

_EFFICIENCY: dict[str, Template] = {}

_REVIEW: dict[str, Template] = {}

_LIVE: dict[str, Template] = {
    # what is going on at the rope
    "no_reading_at_all": Template("caution", "{cell}: no reading at all"),
    "no_reading_for": Template("caution", "{cell}: no reading for {age_s:.0f}"),
    "no_haul_reading": Template("caution", "no reading of the haul tension"),
    "no_counter_speaks": Template("info", "no counter speaks: hauling and holding look alike"),
    "load_stands": Template("info", "the load stands"),
    "nothing_hauled_yet": Template("info", "nothing hauled yet"),
    "team_has_the_load": Template("info", "the team has the load on the rope"),
    "lowered_or_set": Template("info", "no counter at the load: is it lowered or set?"),
    "load_goes_back": Template("info", "the load goes back under tension"),
    "rope_goes_back": Template("info", "rope goes back, the load stands"),
    "no_tension_so_far": Template("info", "no tension at the haul so far"),
    "ran_back_since": Template("stop", "{back_m:.2g} since the haul was let go"),
    "ran_back_first": Template("info", "; it ran back {back_m:.2g} first"),
    "fed_back_held_on": Template("info", "rope is fed back; the load is held on {captures}"),
    "fed_back_not_held": Template(
        "caution", "rope is fed back; no capture in the rig file holds the load"
    ),
    "rope_is_loaded": Template("info", "the rope behind it is loaded{ran_back}"),
    "haul_let_go": Template("info", "haul let go; rope may still be loaded{ran_back}"),
    "holder_not_known": Template(
        "caution", "the rig file has no capture: what holds the load is not known"
    ),
    # why what is left of a stroke is not known
    "rig_was_changed": Template("info", "the rig was changed"),
    "locks_up_here": Template("info", "the rig locks up where its bodies stand now"),
    "fed_back_not_counted": Template(
        "info", "no rope counter at the haul: what a reset fed back is not known"
    ),
    "no_counter": Template("info", "no counter at the load or the haul"),
    "after_the_reset": Template("info", "known again when hauling goes on after the reset"),
    "too_many_grabs": Template("info", "after a reset: too many grabs to tell which were slid"),
    "fed_back_fits_none": Template(
        "info", "after a reset: the {fed_m:.2g} of rope fed back fit no grab slid home"
    ),
    "fed_back_fits_several": Template(
        "info", "after a reset: the rope fed back fits {grabs} slid home"
    ),
    # how the loads are inferred
    "from_the_cell": Template(
        "info",
        "from the cell through the rig, frictionless or with the model's friction, the larger",
    ),
    "at_most_from_the_haul_cell": Template(
        "info", "at most, from the haul cell through the frictionless rig"
    ),
    "at_most_but_for_some": Template(
        "info",
        "at most, from the haul cell through the frictionless rig; {parts} by the model's friction",
    ),
    "from_the_haul_cell": Template(
        "info", "from the haul cell through the frictionless rig; more where friction helps to hold"
    ),
    "what_the_load_needed": Template(
        "info", "at most what the load last needed, shared as it hangs or is eased"
    ),
    "by_own_cells": Template("info", "{parts} by {count:its|their} own cell; others {others}"),
}

_LIBRARY: dict[str, Template] = {}

CATALOGUE: dict[str, Template] = {
    **_RIG, **_PREDICTION, **_READINGS, **_EFFICIENCY, **_REVIEW, **_LIVE, **_LIBRARY,
}  # fmt: skip
