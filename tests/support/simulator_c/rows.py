"""The disturbances, a row each: what goes wrong, what may be named as its cause, and what must come right.

Sizes are those of a bad day with such gear: common practice, no source, where nothing else is said.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from support.simulator_c.devices import Sender
from support.simulator_c.hauls import Motion, TrueHaul
from support.simulator_c.rigs import RIGS
from support.simulator_c.sessions import Disturbance, Plan

Rng = np.random.Generator
MEASURED = ("cell", "known", "stated")  # the ways that do not lower
PLACE = frozenset({"place", "unit", "sign"})
ZERO = frozenset({"zero"})
CAPACITY = frozenset({"capacity"})


def _sender(name: str, change: Callable[[Sender, Plan, TrueHaul, Rng], Sender]):
    """A change of one channel's device."""

    def senders(plan: Plan, haul: TrueHaul, rng: Rng) -> dict[str, Sender]:
        return {**plan.senders, name: change(plan.senders[name], plan, haul, rng)}

    return senders


def _motion(change: Callable[[Motion, Rng], Motion]):
    """A change of how the crew hauls."""
    return lambda plan, rng: replace(plan, motion=change(plan.motion, rng))


def _silent(sender: Sender, plan: Plan, haul: TrueHaul, rng: Rng) -> Sender:
    """Silences of 1.5 to 3 s in up to three strokes."""
    ups = [s for s in haul.strokes if s.direction == "haul"]
    spells = []
    for k in rng.permutation(len(ups))[:3]:
        lasts = float(rng.uniform(1.5, 3.0))
        begins = float(rng.uniform(ups[k].start_s, max(ups[k].start_s, ups[k].end_s - lasts)))
        spells.append((begins, begins + lasts))
    return replace(sender, silent=tuple(sorted(spells)))


def _silence(name: str, ways: tuple[str, ...], needs: tuple[str, ...] = ()) -> Disturbance:
    return Disturbance(
        name=f"silent {name}", causes=frozenset({"silence"}), ways=ways, needs=needs, counts=True,
        senders=_sender(name, _silent),
    )  # fmt: skip


def _an_hour(plan: Plan, rng: Rng) -> Plan:
    """Strokes spread over an hour, devices that read ten times a second."""
    slow = {name: replace(s, hz=10.0) for name, s in plan.senders.items()}
    pieces = plan.motion.strokes + plan.motion.lowers
    return replace(plan, motion=replace(plan.motion, rest_s=3400.0 / pieces), senders=slow)


def _drifts(sender: Sender, plan: Plan, haul: TrueHaul, rng: Rng) -> Sender:
    return replace(sender, drift=float(rng.choice([-1, 1])) * 10.0 / 3600.0)


def _wrong_rig(plan: Plan, rng: Rng) -> Plan:
    return replace(plan, filed=RIGS["5"])


def _at_the_load(sender: Sender, plan: Plan, haul: TrueHaul, rng: Rng) -> Sender:
    return replace(sender, true=lambda h: h.load_N)


def _at_the_anchor(sender: Sender, plan: Plan, haul: TrueHaul, rng: Rng) -> Sender:
    share = plan.built.anchor(plan.e)
    return replace(sender, true=lambda h: h.tension_N * share)


def _poor_pulleys(plan: Plan, rng: Rng) -> Plan:
    """Plain bearings: so a 3:1 of which the anchor is taken for the load seems to have pulleys below 0.4."""
    e = float(rng.uniform(0.65, 0.8))
    each = np.full(plan.built.turns, e)
    motion = plan.motion
    resist = motion.resist_N * plan.built.gain(each) / plan.built.gain(plan.e)
    return replace(plan, e=each, e_down=each, filed_e=e, motion=replace(motion, resist_N=resist))


def _units(sends: str, stated: str):
    return lambda sender, plan, haul, rng: replace(sender, sends=sends, stated=stated)


def _reversed(sender: Sender, plan: Plan, haul: TrueHaul, rng: Rng) -> Sender:
    return replace(sender, gain=-sender.gain)


def _clips(stated: bool):
    def change(sender: Sender, plan: Plan, haul: TrueHaul, rng: Rng) -> Sender:
        pulls = haul.tension_N[haul.raising > 0]
        size = float(np.median(pulls)) if len(pulls) else 300.0
        most = size * float(rng.uniform(0.75, 0.97))
        return replace(sender, clips_at=most * 1.02, capacity=most if stated else None)

    return change


def _only_up(sender: Sender, plan: Plan, haul: TrueHaul, rng: Rng) -> Sender:
    return replace(sender, up_only=str(rng.choice(["both ways", "forward"])))


def _coarse(plan: Plan, haul: TrueHaul, rng: Rng) -> dict[str, Sender]:
    return {
        name: replace(s, step=0.1, u=0.03) if s.quantity == "length" else s
        for name, s in plan.senders.items()
    }


def _stretchy(plan: Plan, rng: Rng) -> Plan:
    """8 % of 15 to 25 m of rope in the rig."""
    motion = plan.motion
    tension = motion.resist_N / plan.built.gain(plan.e)
    k = tension / (0.08 * float(rng.uniform(15, 25)))
    omega = 2 * np.pi * motion.beat_hz
    back = 0.7 * k * plan.built.gain(plan.e) * plan.built.ideal / (motion.mass_kg * omega**2)
    return replace(plan, motion=replace(motion, k_N_m=k, surge=min(motion.surge, back)))


def _tared(sender: Sender, plan: Plan, haul: TrueHaul, rng: Rng) -> Sender:
    """Zeroed while the rope's weight hung on the cell; between some strokes it hangs again, else it lies."""
    pulls = haul.tension_N[haul.raising > 0]
    weight = float(np.mean(pulls)) * float(rng.uniform(0.03, 0.08))
    ends = [s.end_s for s in haul.strokes]
    hung = [(ends[k] + 2.0, ends[k] + 4.0) for k in range(0, len(ends), 2)]

    def felt(h: TrueHaul) -> np.ndarray:
        more = np.zeros_like(h.t)
        for begins, finishes in [(-1.0, float(h.t[0]) + 1.0), *hung]:
            more[(h.t >= begins) & (h.t <= finishes)] = weight
        return np.where(h.tension_N < weight, np.maximum(h.tension_N, more), h.tension_N)

    return replace(sender, true=felt, offset=sender.offset - weight)


def _jolts(motion: Motion, rng: Rng) -> Motion:
    """Drops and blows inside and outside the definition, none within a tenth of it."""

    def one() -> tuple[str, float, float]:
        inside = rng.random() < 0.6
        if rng.random() < 0.5:
            if inside:
                return "drop", float(rng.uniform(0.1, 0.44)), float(rng.uniform(0.05, 0.17))
            return "drop", float(rng.uniform(0.6, 0.8)), float(rng.uniform(0.05, 0.17))
        if inside:
            return "blow", float(rng.uniform(2.25, 3.0)), float(rng.uniform(0.08, 0.26))
        return "blow", float(rng.uniform(1.3, 1.75)), float(rng.uniform(0.08, 0.26))

    return replace(motion, strokes=5, pauses=0, stands_s=0.0, jolts=tuple(one() for _ in range(5)))


def _surges(plan: Plan, rng: Rng) -> Plan:
    """A heavy load on rollers and a stiff rope: the hands' rhythm shows in the force, and the load never stands."""
    motion, ideal = plan.motion, plan.built.ideal
    share, surge = float(rng.uniform(0.2, 0.55)), float(rng.uniform(0.2, 0.5))
    omega = 2 * np.pi * motion.beat_hz
    mass = share * motion.resist_N / (surge * motion.speed_m_s / ideal * omega)
    tension = motion.resist_N / plan.built.gain(plan.e)
    stiff = omega * share * tension / (0.5 * motion.speed_m_s)
    k = max(motion.k_N_m, stiff)
    calm = replace(motion, stick=0.02, place=0.01, scatter=0.005, stands_s=0.0, pauses=0)
    return replace(plan, motion=replace(calm, mass_kg=mass, surge=surge, k_N_m=k))


def _surging(change: Callable[[Motion, Rng], Motion]):
    """A change of how the crew hauls a load that surges: where a delay between force and counter matters most."""

    def plan(before: Plan, rng: Rng) -> Plan:
        surging = _surges(before, rng)
        return replace(surging, motion=change(surging.motion, rng))

    return plan


UNDISTURBED = Disturbance()
SURGING = Disturbance(name="surging", ways=("cell", "known"), plan=_surges)
ROWS = (
    _silence("pull", ("cell", "known", "stated", "lowering")),
    _silence("rope", ("cell", "known", "stated", "lowering"), ("way",)),
    _silence("load", ("cell",)),
    _silence("way", ("cell", "known", "stated", "lowering"), ("way",)),
    Disturbance(
        name="zero drift", causes=ZERO, named=True, plan=_an_hour, senders=_sender("pull", _drifts)
    ),
    Disturbance(
        name="5 in the file, 4 built", causes=frozenset({"rig"}), rigs=("4",), needs=("way",),
        plan=_wrong_rig, nulls=("efficiency", "pulley_efficiency"),
    ),
    Disturbance(
        name="haul cell at the load", causes=PLACE, ways=MEASURED, rigs=("3", "4", "5", "6", "9"),
        senders=_sender("pull", _at_the_load),
    ),
    Disturbance(
        name="anchor said to be load", causes=PLACE, ways=("cell",), rigs=("2", "3"),
        plan=_poor_pulleys, senders=_sender("load", _at_the_anchor),
    ),
    Disturbance(
        name="haul cell lbf called kgf", causes=PLACE, ways=MEASURED,
        senders=_sender("pull", _units("lbf", "kgf")),
    ),
    Disturbance(
        name="load cell lbf called kgf", causes=PLACE, ways=("cell",),
        senders=_sender("load", _units("lbf", "kgf")),
    ),
    Disturbance(
        name="haul cell kgf called N", causes=PLACE, ways=MEASURED,
        senders=_sender("pull", _units("kgf", "N")),
    ),
    Disturbance(
        name="load cell kgf called N", causes=PLACE, ways=("cell",),
        senders=_sender("load", _units("kgf", "N")),
    ),
    Disturbance(
        name="kgf called N, lowered", causes=PLACE, ways=("lowering",),
        plan=lambda plan, rng: replace(plan, mass_stated=True),
        senders=_sender("pull", _units("kgf", "N")),
    ),
    Disturbance(
        name="reversed haul cell", causes=frozenset({"sign"}), senders=_sender("pull", _reversed)
    ),
    Disturbance(
        name="reversed load cell", causes=frozenset({"sign"}), ways=("cell",),
        senders=_sender("load", _reversed),
    ),
    Disturbance(
        name="saturated, capacity stated", causes=CAPACITY, senders=_sender("pull", _clips(True))
    ),
    Disturbance(
        name="saturated, no capacity stated", causes=CAPACITY,
        senders=_sender("pull", _clips(False)),
    ),
    Disturbance(
        name="counter counts up only", causes=frozenset({"counts_up"}), ways=MEASURED,
        rigs=("3", "6", "9"), senders=_sender("rope", _only_up), resets_or_cause=True,
    ),
    Disturbance(
        name="steps of 0.1 m", causes=frozenset({"coarse"}), ways=MEASURED, senders=_coarse, counts=True
    ),
    Disturbance(
        name="rope stretches 8 %", causes=frozenset({"stretch"}), ways=MEASURED, plan=_stretchy,
        counts=True,
    ),
    Disturbance(
        name="springback", causes=frozenset({"stretch"}), ways=MEASURED, counts=True,
        plan=_motion(lambda m, rng: replace(m, spring_m=float(rng.uniform(0.2, 0.6)))),
    ),
    Disturbance(
        name="tare with the rope's weight", causes=ZERO, senders=_sender("pull", _tared)
    ),
    Disturbance(
        name="load tugs and never moves", causes=frozenset({"stands", "stretch"}), ways=MEASURED,
        counts=True, nulls=("efficiency", "actual_ma", "haul_force_N"),
        plan=_motion(lambda m, rng: replace(m, tugs=int(rng.integers(3, 6)))),
    ),
    Disturbance(
        name="slips and shocks", causes=frozenset({"slip", "shock"}), ways=MEASURED, needs=("way",),
        plan=_motion(_jolts),
    ),
    Disturbance(
        name="pause at the ends", causes=frozenset({"stands"}), ways=MEASURED, counts=True,
        plan=_motion(lambda m, rng: replace(m, pause_ends_s=float(rng.uniform(2.5, 5.0)))),
    ),
    Disturbance(
        name="hysteresis", counts=True, ways=("cell", "known"),
        plan=_surging(lambda m, rng: replace(m, loss=float(rng.uniform(0.25, 0.5)))),
    ),
    Disturbance(
        name="half proportional to speed", counts=True, ways=("cell", "known"),
        plan=_surging(lambda m, rng: replace(m, speed=0.5)),
    ),
    Disturbance(
        name="20 % by place", causes=frozenset({"ground"}), counts=True, ways=("cell", "known"),
        plan=_surging(lambda m, rng: replace(m, place=0.2)),
    ),
)  # fmt: skip


def both(big: Disturbance, small: Disturbance) -> Disturbance:
    """A session with two disturbances of the devices; the causes are those of the big one."""

    def senders(plan: Plan, haul: TrueHaul, rng: Rng) -> dict[str, Sender]:
        once = big.senders(plan, haul, rng)
        return small.senders(replace(plan, senders=once), haul, rng)

    return replace(
        big, name=f"{big.name}; {small.name}", needs=(*big.needs, *small.needs), senders=senders
    )


BY_NAME = {row.name: row for row in (UNDISTURBED, SURGING, *ROWS)}
PAIRS = tuple(
    both(BY_NAME[big], BY_NAME[small])
    for big, small in (
        ("haul cell kgf called N", "silent rope"),
        ("5 in the file, 4 built", "silent pull"),
        ("haul cell lbf called kgf", "tare with the rope's weight"),
    )
)
