"""An emulated device whose number a test holds: at rest, pulled, or with a weight on it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from support.emulated_devices import Emulated, EmulatedDevice

NOISE = (0.0, 0.1, -0.1, 0.0, 0.1, 0.0, -0.1)  # of a cell at rest, in its unit; none twice in a row


class HeldDevice(EmulatedDevice):
    """A device of the catalogue that shows `value`, in its unit, with NOISE times `noise` on it."""

    def __init__(
        self, device: Emulated, folder: Path, seed: int = 1, apart: bool = False, noise: float = 1.0
    ) -> None:
        self.value, self.noise = 0.0, noise
        super().__init__(device, folder, seed, apart)
        self._course = self._held()

    def _held(self) -> Iterator[float]:
        number = 0
        while True:
            number += 1
            yield self.value + self.noise * NOISE[number % len(NOISE)]

    def close(self) -> None:
        """Pull it out; once is enough."""
        if not self._halt.is_set():
            super().close()
