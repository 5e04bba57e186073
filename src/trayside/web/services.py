"""What the screens need from outside, handed in once."""

from __future__ import annotations

from dataclasses import dataclass, field

from trayside.app.certificate_reading import OpenCertificate
from trayside.app.charts.scripts import ChartScripts
from trayside.app.element_view import ElementShelf
from trayside.app.keep_photo import CheckPhoto, Photos
from trayside.app.papers import Papers
from trayside.app.people_ports import Secrets
from trayside.app.ports import Clock, MakeId, StartWork
from trayside.app.receive import ReadReceived
from trayside.app.scale_port import Scale

from .visitor import Reach

LOCAL_HOSTS = ("127.0.0.1", "localhost", "[::1]")


@dataclass(frozen=True, slots=True)
class Lan:
    """Where tablets reach the yard, where they fetch what they must trust, and its fingerprint."""

    addresses: tuple[str, ...]
    trust_address: str
    fingerprint: str


@dataclass(frozen=True, slots=True)
class Services:
    """The store, the clock, the maker of ids and of papers. `hosts` are the names this yard is reached by."""

    start_work: StartWork
    clock: Clock
    make_id: MakeId
    papers: Papers
    hosts: tuple[str, ...] = LOCAL_HOSTS
    secrets: Secrets | None = None
    reach: Reach = "here"
    lan: Lan | None = None
    photos: Photos | None = None
    check_photo: CheckPhoto | None = None
    scale: Scale | None = None
    read_received: ReadReceived | None = None
    open_certificate: OpenCertificate | None = None
    chart_scripts: ChartScripts | None = None
    shelf: ElementShelf = field(default_factory=ElementShelf)
