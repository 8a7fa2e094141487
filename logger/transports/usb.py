"""Reads a serial device by its USB numbers, `usb:VID:PID[:SERIAL]`, in whatever socket it stands."""

from __future__ import annotations

from logger.channels.port_schemes import usb_numbers
from logger.transports.serial import SerialTransport, list_ports


class UsbTransport(SerialTransport):
    """A serial port that is looked up each time it is opened, because its name may change."""

    def device(self) -> str:
        """The device's path now; raises OSError if there is none, or more than one."""
        paths = self._matching()
        if not paths:
            raise OSError("no such device is plugged in")
        if len(paths) > 1:
            raise OSError(
                f"{len(paths)} such devices are plugged in, {' and '.join(paths)}: add the serial "
                "number that `haul ports` shows, or write a by-path name"
            )
        return paths[0]

    def present(self) -> bool:
        """Whether such a device is plugged in."""
        return bool(self._matching())

    def _matching(self) -> list[str]:
        """The paths of the devices with these numbers."""
        vid, pid, serial = usb_numbers(self.port)
        return [
            port.device
            for port in list_ports()
            if (port.vid, port.pid) == (vid, pid) and serial in (None, port.serial_number)
        ]
