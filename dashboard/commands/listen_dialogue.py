"""Holds the conversation of `haul listen` on a terminal: what may mean two things is asked, and a pull marks
the number that moves.
"""

from __future__ import annotations

import re
import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from statistics import median

from dashboard.text.listen_sentences import sentence
from logger import clock
from logger.device_units import COUNT, FORCE_UNITS, LENGTH_UNITS, unit_from_word
from logger.errors import one_line
from logger.listening.capture import Answers, Capture
from logger.listening.hearing import Hearing
from logger.listening.line_splitting import since
from logger.listening.movement import (
    REST_S,
    Movement,
    fitting_units,
    movements,
    scale_for,
    share_of,
    size_si,
)
from logger.listening.understanding import Understanding, understand

SETTLED_S = 1.0  # the last time before Enter over which a hanging weight is read; chosen by us
_UNITS = "N, daN, kN, kgf, lbf, kg, lb, t, g, m, cm, mm, ft, in or count"


class Dialogue:
    """The questions about one device, while it goes on to be heard."""

    def __init__(self, hearing: Hearing, ask: Callable[[str], str] = input) -> None:
        """hearing: the open port; ask: prints a question and returns the line that is typed."""
        self._hearing = hearing
        self._input = ask
        self._halt = threading.Event()
        self._answers = Answers()
        self._thread = threading.Thread(target=self._collect, daemon=True, name="listen")

    def hold(self, understanding: Understanding) -> Understanding:
        """Ask what is to be asked; returns what is understood then."""
        self._thread.start()
        try:
            return self._questions(understanding)
        except EOFError:
            print()
            return understand(self._hearing.capture(), self._answers)
        finally:
            self._halt.set()
            self._thread.join(2.0)

    def _collect(self) -> None:
        """The thread: take what the device sends."""
        while not self._halt.is_set() and self._hearing.lost is None:
            self._hearing.listen(0.1)

    def _ask(self, question: str) -> str:
        return self._input(f"\n{question} ").strip()

    # -- the questions ------------------------------------------------------------------------------
    def _questions(self, understanding: Understanding) -> Understanding:
        for one in understanding.unclear:
            if one.code in ("comma", "blank"):
                self._comma(sentence(one).text(), str(one.values["choices"]).split())
                understanding = understand(self._hearing.capture(), self._answers)
        moved = self._pull()
        weighed = self._weigh(moved[0], understanding) if moved else None
        self._units(understanding, moved, weighed)
        understanding = understand(self._hearing.capture(), self._answers)
        self._uncertainty(understanding)
        return understand(self._hearing.capture(), self._answers)

    def _comma(self, text: str, choices: Sequence[str]) -> None:
        print(f"\n{text.partition('; write')[0]}.")
        while True:
            answer = self._ask(
                f"Which is it? Type {' or '.join(choices)}; Enter leaves it open:"
            ).lower()
            if not answer:
                return
            fitting = [choice for choice in choices if choice.startswith(answer)]
            if len(fitting) == 1:
                self._answers = replace(self._answers, comma=fitting[0])
                return

    def _pull(self) -> tuple[Movement, ...]:
        """Have somebody pull once; returns what moved."""
        while True:
            began_s = clock.now()
            before = self._since(began_s - REST_S)
            answer = self._ask(
                "Pull once now, let go, and press Enter (s and Enter: skip this)."
            ).lower()
            if answer.startswith("s"):
                return ()
            rest = self._values(before)
            moved = movements(rest, self._values(self._since(began_s)))
            self._print_moved(moved, rest)
            if moved or self._ask("Try again? Type y or n:").lower() != "y":
                break
        if moved and moved[0].change < 0.0 and self._yes(
            f"{moved[0].place} falls when you pull. Turn it round, so that a pull counts as positive (scale = -1)?"
        ):  # fmt: skip
            self._add_key(moved[0].place, "scale", -1.0)
        if moved:
            self._zero(moved[0])
        return moved

    def _zero(self, moved: Movement) -> None:
        """Ask whether what was shown at rest is the zero; a counter needs none."""
        shown = understand(self._hearing.capture(), self._answers).channels
        length = any(
            one.channel.place == moved.place and one.channel.quantity == "length" for one in shown
        )
        if moved.rest and not length and self._yes(
            f"At rest it showed {moved.rest:.6g}. Was nothing on it then, so that this is its zero?"
        ):  # fmt: skip
            self._add_key(moved.place, "zero", moved.rest)

    def _print_moved(self, moved: Sequence[Movement], rest: Mapping[str, Sequence[float]]) -> None:
        if not moved:
            print(
                "No number moved. Is the device in the strand that was pulled, and does it measure?"
            )
        for one in moved:
            mark = "*" if one is moved[0] else " "
            sign = "rose" if one.change > 0.0 else "fell"
            print(
                f"  {mark} {one.place} {sign} by {abs(one.change):.4g}: from {one.rest:.6g} to {one.farthest:.6g}"
            )
        still = [place for place in rest if place not in {one.place for one in moved}]
        if moved and still:
            print(f"    did not move: {', '.join(still)}")

    def _weigh(
        self, moved: Movement, understanding: Understanding
    ) -> tuple[float, float, bool] | None:
        """Compare the number that moved with a known weight or length.

        Returns its change as sent, the known size in N or m, and whether that is a length; None where
        nobody typed one.
        """
        while True:
            answer = self._ask(
                'Hang a known weight on it, or pull a known length, then type it with its unit ("20 kg", "2 m"); '
                "Enter: without."
            )
            if not answer:
                return None
            size = _size(answer)
            if size is not None:
                break
            print("Type a number and a unit, such as 20 kg, 196 N, 44 lb or 2 m.")
        value, unit = size
        shown = self._values(self._since(clock.now() - SETTLED_S)).get(moved.place)
        if not shown:
            print("No number came meanwhile.")
            return None
        change = median(shown) - moved.rest
        size_of = size_si(value, unit)
        own = next(
            (c.channel.unit for c in understanding.channels if c.channel.place == moved.place), None
        )
        if own is not None and (own in LENGTH_UNITS) == (unit in LENGTH_UNITS) and own != COUNT:
            share = share_of(abs(change), own, size_of)
            print(
                f"  {moved.place} shows {abs(change):.4g} {own} for {value:g} {unit}: {share:.1%} of it."
            )
            if abs(share - 1.0) > 0.02:
                print("  A calibration puts this right: see haul calibrate.")
        return change, size_of, unit in LENGTH_UNITS

    def _units(
        self,
        understanding: Understanding,
        moved: Sequence[Movement],
        weighed: tuple[float, float, bool] | None,
    ) -> None:
        """Ask for the unit of each number that shows none; first of the one that moved."""
        places = [
            one.place for one in understanding.unclear if one.code in ("no_unit", "flag", "counts")
        ]
        order = [one.place for one in moved]
        places.sort(key=lambda place: order.index(place) if place in order else len(order))
        for place in places:
            if moved and place not in order and not self._yes(f"{place} did not move. Keep it?"):
                self._leave_out(place)
                continue
            change = weighed if weighed is not None and moved and place == moved[0].place else None
            self._unit(place, change)

    def _unit(self, place: str, weighed: tuple[float, float, bool] | None) -> None:
        hint = ""
        if weighed is not None:
            change, size_of, length = weighed
            fitting = fitting_units(change, size_of, length)
            hint = (
                f" The weight fits {' or '.join(fitting)}."
                if fitting
                else " The weight fits no unit: type count."
            )
        while True:
            answer = self._ask(
                f"Which unit does {place} have?{hint} Type {_UNITS}; Enter: leave it out."
            )
            if not answer:
                self._leave_out(place)
                return
            unit = unit_from_word(answer)
            if unit == COUNT:
                if self._count(place, weighed):
                    return
            elif unit is not None:
                self._answers = replace(self._answers, units={**self._answers.units, place: unit})
                return

    def _count(self, place: str, weighed: tuple[float, float, bool] | None) -> bool:
        """Ask how much one count is; returns whether that is known now."""
        scale: float | None = None
        length = False
        if weighed is not None:
            change, size_of, length = weighed
            scale = scale_for(abs(change), size_of)
            turned = self._answers.keys.get(place, {}).get("scale") == -1.0
            unit = "m" if length else "N"
            if scale is not None:
                print(f"  One count is {scale:g} {unit}, by the weight that you typed.")
                scale = -scale if turned else scale
        if scale is None:
            size = _size(
                self._ask(
                    'How much is one count? Type it with its unit, such as "0.5 N" or "0.0005 m":'
                )
            )
            if size is None:
                return False
            scale, length = size_si(*size), size[1] in LENGTH_UNITS
        self._answers = replace(self._answers, units={**self._answers.units, place: COUNT})
        self._add_key(place, "quantity", "length" if length else "force")
        self._add_key(place, "scale", scale)
        return True

    def _uncertainty(self, understanding: Understanding) -> None:
        for one in understanding.understood:
            while True:
                answer = self._ask(
                    f"How good is {one.channel.name}? Type its standard uncertainty in % of the reading, such as 0.5; "
                    "Enter: not known."
                ).removesuffix("%")  # fmt: skip
                if not answer:
                    break
                if re.fullmatch(r"[0-9]{1,2}(\.[0-9]+)?\s*", answer):
                    self._add_key(one.channel.place, "u_percent", float(answer))
                    break

    # -- values and answers -------------------------------------------------------------------------
    def _values(self, capture: Capture) -> dict[str, Sequence[float]]:
        """The numbers of a capture by place, as sent."""
        understanding = understand(capture, self._answers)
        return {
            one.channel.place: [float(text) for text in one.channel.expected]
            for one in understanding.channels
        }

    def _since(self, moment_s: float) -> Capture:
        """What came after a moment; moment_s: `clock.now`, s."""
        return since(self._hearing.capture(), moment_s)

    def _yes(self, question: str) -> bool:
        return self._ask(f"{question} Type y or n:").lower().startswith("y")

    def _add_key(self, place: str, key: str, value: float | str) -> None:
        keys = dict(self._answers.keys)
        keys[place] = {**keys.get(place, {}), key: value}
        self._answers = replace(self._answers, keys=keys)

    def _leave_out(self, place: str) -> None:
        self._answers = replace(self._answers, left_out=self._answers.left_out | {place})


def _size(text: str) -> tuple[float, str] | None:
    """A number and its unit, as typed; None for anything else."""
    match = re.fullmatch(r"([0-9]+(?:[.,][0-9]+)?|[.,][0-9]+)\s*([A-Za-z]+)", one_line(text))
    unit = unit_from_word(match[2]) if match else None
    if (
        match is None
        or unit is None
        or unit == COUNT
        or not (unit in FORCE_UNITS or unit in LENGTH_UNITS)
    ):
        return None
    value = float(match[1].replace(",", "."))
    return (value, unit) if value > 0.0 else None
