"""Every sentence about a rig or a session that a person can see, by code.

A row gives the level (info: worth knowing; caution: look at it before you rely on it; stop: do not
pull before it is mended) and the template, whose fields `message` explains.  A code never
changes its meaning; what is no longer said goes, and its code is not used again.
"""

from __future__ import annotations

from analysis.messages.template import Template

_RIG: dict[str, Template] = {}

_PREDICTION: dict[str, Template] = {}

_READINGS: dict[str, Template] = {}

_EFFICIENCY: dict[str, Template] = {}

_REVIEW: dict[str, Template] = {}

_LIVE: dict[str, Template] = {}

_LIBRARY: dict[str, Template] = {}

CATALOGUE: dict[str, Template] = {
    **_RIG, **_PREDICTION, **_READINGS, **_EFFICIENCY, **_REVIEW, **_LIVE, **_LIBRARY,
}  # fmt: skip
