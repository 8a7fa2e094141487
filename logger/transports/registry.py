"""Makes the transport of a port.  The table is SCHEMES of `logger/channels/port_schemes.py`,
because the sensors file checks its ports by it.
"""

from __future__ import annotations

from collections.abc import Sequence
from pkgutil import resolve_name

from logger.channels.channel import Channel
from logger.channels.modbus_registers import MODBUS
from logger.channels.port_schemes import SCHEMES, refusal, scheme_of
from logger.errors import PortFault
from logger.transports.base import Transport

# reads registers through the transport that carries its bytes
MODBUS_TRANSPORT = SCHEMES[MODBUS].transport


def transport_for(port: str, channels: Sequence[Channel]) -> Transport:
    """The transport of a port, not yet open; raises PortFault if no scheme of SCHEMES fits."""
    scheme = scheme_of(port)
    if scheme is None:
        raise PortFault("port", *refusal(port))
    modbus = channels[0].format == MODBUS
    transport: type[Transport] = resolve_name(MODBUS_TRANSPORT if modbus else scheme.transport)
    return transport(port, channels)
