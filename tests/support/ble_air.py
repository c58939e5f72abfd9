"""A virtual radio: bumble's controllers on an air of our own, where devices can be out of range.

What bumble 0.0.236 leaves out and a field needs is added: answers to scans, advertisements that
cannot be connected to, one winner when several centrals want a device, an attempt to connect that
is given up, and a peer that vanishes (the link ends with the supervision timeout). Of radio timing
nothing is modelled unless `Air.interval_s` is set, and of losses nothing.
"""

from __future__ import annotations

import asyncio
import math
import random
from collections import deque
from dataclasses import dataclass
from typing import Any

from bumble import hci, ll
from bumble.controller import Controller, LegacyAdvertiser
from bumble.device import Device
from bumble.host import Host
from bumble.link import LocalLink
from bumble.transport.common import AsyncPipeSink

SUPERVISION_S = 0.3
"""How long a link outlives its peer here; some seconds are usual."""

_NEWER = (
    hci.LeFeatureMask.LE_EXTENDED_ADVERTISING
    | hci.LeFeatureMask.LE_PERIODIC_ADVERTISING
    | hci.LeFeatureMask.LL_PRIVACY
)


@dataclass
class Advertised(ll.AdvertisingPdu):
    """One advertisement with its answer to a scan."""

    advertiser_address: hci.Address
    data: bytes
    answer: bytes
    connectable: bool
    rssi: int


class Air(LocalLink):
    """Where all controllers are. Those in `away` neither hear nor are heard. Everybody advertises
    `hurry` times as often as asked, so that tests need not wait. With an `interval_s` data waits
    for the next connection event, some ms after it was handed over, and one event in so many is
    lost (`lost_event`): a model of our own, not measured."""

    def __init__(self, hurry: int = 1) -> None:
        super().__init__()
        self.hurry = hurry
        self.away: set[AirController] = set()
        self.taken: dict[Any, AirController] = {}
        self.interval_s = 0.0
        self.lost_event = 0.0
        self._draw = random.Random(457)
        self._under_way: dict[Any, deque[tuple[Any, ...]]] = {}

    def send_advertising_pdu(self, sender_controller: Any, packet: ll.AdvertisingPdu) -> None:
        if sender_controller in self.away:
            return
        loop = asyncio.get_running_loop()
        for other in self.controllers:
            wanted = isinstance(packet, ll.ConnectInd) or other.listens
            if wanted and other is not sender_controller and other not in self.away:
                loop.call_soon(other.on_ll_advertising_pdu, packet)

    def send_acl_data(self, sender: Any, destination: Any, transport: Any, data: bytes) -> None:
        # The base class names the sender by its random address, and a kernel uses its public one.
        own = sender.le_connections.get(destination)
        peer = self.find_le_controller(destination)
        if own is not None and peer is not None and not self.away & {sender, peer}:
            way = self._under_way.setdefault((sender, peer), deque())
            way.append((peer, own.self_address, transport, data))
            asyncio.get_running_loop().call_at(self._event_s(), self._arrive, way)

    def _event_s(self) -> float:
        """When what is handed over now arrives."""
        now_s = asyncio.get_running_loop().time()
        if not self.interval_s:
            return now_s
        ready_s = now_s + 0.001 + self._draw.expovariate(1000)
        event = math.ceil(ready_s / self.interval_s)
        while self._draw.random() < self.lost_event:
            event += 1
        return event * self.interval_s

    def _arrive(self, way: deque[tuple[Any, ...]]) -> None:
        peer, *data = way.popleft()  # in order, whichever timer was first
        peer.on_link_acl_data(*data)

    def send_ll_control_pdu(self, sender_address: Any, receiver_address: Any, packet: Any) -> None:
        ends = {self.find_le_controller(a) for a in (sender_address, receiver_address)}
        if None not in ends and not self.away & ends:
            super().send_ll_control_pdu(sender_address, receiver_address, packet)

    def take(self, address: hci.Address, central: AirController) -> bool:
        """Whether this central may have the advertiser: the first to ask has it."""
        peer = self.find_le_controller(address)
        if peer is None or not peer.le_legacy_advertiser.enabled or peer in self.away:
            return False
        peer.le_legacy_advertiser.enabled = False
        self.taken[str(address)] = central
        return True

    async def lose(self, controller: AirController) -> None:
        """It goes out of range: all its links end at both ends after the supervision timeout."""
        self.away.add(controller)
        await asyncio.sleep(SUPERVISION_S)
        if controller in self.away:
            self.end_links(controller)

    def end_links(self, controller: AirController) -> None:
        """As after the supervision timeout, at both ends."""
        why = hci.HCI_ErrorCode.CONNECTION_TIMEOUT_ERROR
        for connection in list(controller.le_connections.values()):
            peer = self.find_le_controller(connection.peer_address)
            own = peer.le_connections.get(connection.self_address) if peer else None
            if peer is not None and own is not None:
                peer.on_le_disconnected(own, why)
            controller.on_le_disconnected(connection, why)


class AirAdvertiser(LegacyAdvertiser):
    """Advertises what its owner set; `connectable`: a central may come."""

    connectable = True

    def send_advertising_data(self) -> None:
        if self.enabled:
            packet = Advertised(
                self.controller.random_address,
                self.advertising_data,
                self.scan_response_data,
                self.connectable,
                self.controller.rssi,
            )
            self.controller.send_advertising_pdu(packet)

    def begin(self, interval_ms: float, data: bytes, answer: bytes, connectable: bool) -> None:
        """Without a host's commands, which a broker needs not go through."""
        self.stop()
        self.own_address_type = hci.Address.RANDOM_DEVICE_ADDRESS
        self.advertising_interval_min = interval_ms / self.controller.air.hurry
        self.advertising_data, self.scan_response_data = data, answer
        self.connectable = connectable
        self.start()


class AirController(Controller):
    le_features = Controller.le_features & ~_NEWER  # the older commands are enough
    rssi = -50

    def __init__(self, name: str, air: Air, source: Any = None, sink: Any = None) -> None:
        super().__init__(name, host_source=source, host_sink=sink, link=air)
        self.air = air
        self.le_legacy_advertiser = AirAdvertiser(self)

    @property
    def listens(self) -> bool:
        return bool(self.le_scan_enable or self.pending_le_connection)

    def on_ll_advertising_pdu(self, packet: ll.AdvertisingPdu) -> None:
        if not isinstance(packet, Advertised):
            super().on_ll_advertising_pdu(packet)
            return
        if self.le_scan_enable:
            self._report(packet)
        pending = self.pending_le_connection
        address = packet.advertiser_address
        wanted = pending and pending.peer_address == address and packet.connectable
        if wanted and self.air.take(address, self):
            self.create_le_connection(address)

    def on_le_connect_ind(self, packet: ll.ConnectInd) -> None:
        if str(packet.advertiser_address) != str(self.random_address):
            return
        self.le_legacy_advertiser.enabled = True  # taken by this very central
        super().on_le_connect_ind(packet)

    def on_hci_le_create_connection_cancel_command(self, command: Any) -> Any:
        """The attempt is over, as the specification has it; the base class keeps it."""
        pending, self.pending_le_connection = self.pending_le_connection, None
        if pending is not None:
            event = hci.HCI_LE_Connection_Complete_Event(
                status=hci.HCI_ErrorCode.UNKNOWN_CONNECTION_IDENTIFIER_ERROR,
                connection_handle=0,
                role=hci.Role.CENTRAL,
                peer_address_type=pending.peer_address.address_type,
                peer_address=pending.peer_address,
                connection_interval=0,
                peripheral_latency=0,
                supervision_timeout=0,
                central_clock_accuracy=0,
            )
            asyncio.get_running_loop().call_soon(self.send_hci_packet, event)
        return hci.HCI_StatusReturnParameters(hci.HCI_ErrorCode.SUCCESS)

    def _report(self, packet: Advertised) -> None:
        kinds = hci.HCI_LE_Advertising_Report_Event.EventType
        first = kinds.ADV_IND if packet.connectable else kinds.ADV_NONCONN_IND
        said = [(first, packet.data)]
        if packet.connectable and self.le_scan_type:
            said.append((kinds.SCAN_RSP, packet.answer))
        for kind, data in said:
            report = hci.HCI_LE_Advertising_Report_Event.Report(
                event_type=kind,
                address_type=packet.advertiser_address.address_type,
                address=packet.advertiser_address,
                data=data,
                rssi=packet.rssi,
            )
            self.send_hci_packet(hci.HCI_LE_Advertising_Report_Event([report]))


def radio_on(air: Air, name: str, address: str) -> tuple[AirController, Device]:
    """A controller on the air and bumble's host over it; the device is to be powered on."""
    controller = AirController(name, air)
    host = Host(controller, AsyncPipeSink(controller))
    return controller, Device(name=name, address=hci.Address(address), host=host)
