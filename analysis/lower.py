"""The load force from moving the load both ways under tension."""

from __future__ import annotations

from analysis.analyser import Result
from analysis.bodies import Rig
from analysis.predict import Model
from analysis.ways import Observations, Way


def both_ways(rig: Rig, known: Model, result: Result, seen: Observations) -> Way | None:
    return None
