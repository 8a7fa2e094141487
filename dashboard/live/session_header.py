"""Makes the part `head`, which a page is sent once: title, channels, prediction, levels, strands."""

from __future__ import annotations

from analysis.live.haul_levels import HaulLevels
from analysis.live.live_state import LiveState
from analysis.live.minmax_pyramid import BASE_S
from analysis.mechanics.model import COVERAGE
from analysis.signals.channel_roles import Roles
from dashboard.live.wire import ChannelHead, Head, StopLevelText
from dashboard.text.units import Units
from logger.channels.port_schemes import HAND
from logger.errors import one_line

# a force that a person enters is never too old, but a page's number is finite; chosen by us: a day
LONGEST_STALE_S = 86_400.0


def head(live: LiveState, levels: HaulLevels, units: Units) -> Head:
    """The part `head`.

    live: the session.
    levels: what the haul force is judged by, with the rig in use.
    units: what the page shows quantities in.
    """
    info, roles, rig, model = live.info, live.roles, live.in_use.rig, live.in_use.model
    drawn = roles.forces[0] if roles.forces else None
    return Head(
        title=one_line(rig.title or live.path.name, 120),
        folder=one_line(live.path.name, 120),
        units=units.name,
        demo=info.simulation_true is not None,
        channels=[
            ChannelHead(
                name=one_line(c.name, 60),
                at=one_line(c.at, 60),
                unit="N" if c.quantity == "force" else "m",
                entered_in=c.unit if c.port == HAND else "",
            )
            for c in info.sensors.channels
        ],
        drawn=one_line(drawn.name, 60) if drawn else None,
        drawn_stale_s=min(drawn.stale_after_s, LONGEST_STALE_S) if drawn else 1.0,
        haul_cell=roles.haul_force is not None,
        ideal_ma=model.ideal_ma,
        model_ma=model.model_ma,
        model_ma_U95=COVERAGE * model.model_ma_u,
        haul_force_N=model.haul_force_N if roles.haul_force is not None else None,
        haul_force_U95_N=COVERAGE * (model.haul_force_u_N or 0.0),
        holds=[h.name for h in model.held if h.ideal is not None],
        pull_distance_m=live.rig.load.pull_distance_m,
        load_counted=roles.load_length is not None,
        travel_title=_travel(roles),
        because=one_line(levels.because.text(units), 200),
        rated=levels.rated,
        parts=levels.parts,
        caution_N=levels.caution_N,
        stop_levels=stop_levels(levels, roles, units),
        bin_s=BASE_S,
        haul_strand=rig.haul_strand,
        strands=[strand.name for strand in rig.strands],
    )


def stop_levels(levels: HaulLevels, roles: Roles, units: Units) -> list[StopLevelText]:
    """The stop levels of the haul cell in words, the lowest first."""
    name = one_line(roles.haul_force.name, 60) if roles.haul_force is not None else ""
    return [
        StopLevelText(
            force_N=stop.force_N,
            because=f"stop_at of {name}"
            if stop.because is None
            else one_line(stop.because.text(units), 120),
        )
        for stop in levels.stops
    ]


def _travel(roles: Roles) -> str:
    """Whose travel is drawn below the force."""
    if roles.load_length is not None:
        return "Load travel"
    if roles.progress is None:
        return ""
    if roles.progress is roles.haul_length:
        return "Rope out at the haul"
    return f"Counter {one_line(roles.progress.name, 40)}"
