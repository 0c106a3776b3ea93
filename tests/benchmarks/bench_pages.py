"""Every page at 100,000 appliances and 1.2 million visits: server time, queries, bytes of a first load.

A fleet of PAGES_APPLIANCES (1,000) over 12 years is made, judged and reckoned, measured, then multiplied in
the database to 100,000 and measured again. PostgreSQL only. Pages are asked of the whole Django stack in this
process, each for several objects drawn at random, each object first met cold; times are of this machine as it
was. PAGES_DATABASE_READY=1 measures the database that is there, once.
"""

from __future__ import annotations

import gzip
import os
import re
import statistics
import time
from dataclasses import dataclass
from typing import Any

import numpy as np
from django.contrib.staticfiles import finders
from django.core.management import call_command
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from analytics.models import PeriodBias
from config.wsgi import settle
from fleet.models import Appliance, Customer, Plant, Site
from people.models import Role, User
from tests.benchmarks.copies import multiply
from tests.benchmarks.measures import at_most
from visits.models import Attendance, Finding, Visit
from web.demo.load import fleet_load

BASE = int(os.environ.get("PAGES_APPLIANCES", "1000"))
TARGET_APPLIANCES, YEARS = 100_000, 12
ASKED, STOPS = 21, 8
TARGET_MS, TARGET_KB, TARGET_CHART_KB = 200.0, 150.0, 600.0


@dataclass(frozen=True)
class Page:
    """One address as one role asks for it; `of`: the model whose rows fill `word`, and {pk} in `query`."""

    role: str
    name: str
    word: str = ""
    of: Any = None
    query: str = ""


def pages() -> list[Page]:
    """Every page with a list or a figure on it, with the searches and filters people use."""
    office, manager, technician = Role.OFFICE, Role.MANAGER, Role.TECHNICIAN
    return [
        Page(office, "web:today"),
        Page(office, "web:due"),
        Page(office, "web:findings"),
        Page(office, "web:bookings"),
        Page(office, "web:contracts"),
        Page(office, "web:customers"),
        Page(office, "web:accounts"),
        Page(office, "web:kit"),
        Page(office, "web:crew"),
        Page(office, "web:limits"),
        Page(office, "web:lists"),
        Page(office, "web:search", query="q=aldermere"),
        Page(office, "web:search", query="q=B1"),
        Page(office, "web:customer", "pk", Customer),
        Page(office, "web:site", "pk", Site),
        Page(office, "web:plant", "pk", Plant),
        Page(office, "web:appliance", "pk", Appliance),
        Page(office, "web:safety", "pk", Appliance),
        Page(office, "web:visit", "uuid", Visit),
        Page(office, "web:finding", "pk", Finding),
        Page(office, "web:book", "plant_pk", Plant),
        Page(manager, "web:condition"),
        Page(manager, "web:condition-months"),
        Page(manager, "web:wanderers"),
        Page(manager, "web:costs"),
        Page(manager, "web:trends"),
        Page(manager, "web:models"),
        Page(manager, "web:analysers"),
        Page(manager, "web:analyser-period", "pk", PeriodBias),
        Page(manager, "web:gas"),
        Page(manager, "web:alerts"),
        Page(manager, "web:evidence", "pk", Appliance),
        Page(office, "web:earlier-list"),
        Page(technician, "web:my-day"),
        Page(technician, "web:flue-gas"),
        Page(technician, "web:enter-visit", "uuid", Appliance, "appliance={pk}"),  # no visit has that uuid
    ]


def rows() -> list[dict[str, Any]]:
    """The rows of this benchmark."""
    if connection.vendor != "postgresql":
        print("pages: needs PostgreSQL, left out")
        return []
    if os.environ.get("PAGES_DATABASE_READY"):
        return _judged({}, _measured())
    today = timezone.now().date()
    fleet_load(
        appliances=BASE, years=YEARS, seed=1, today=today, judge=True, progress=lambda *_: None,
        world_for=TARGET_APPLIANCES,
    )  # fmt: skip
    for command in ("plan_due", "recompute_drift"):
        call_command(command, verbosity=0)
    small = _measured()
    multiply(TARGET_APPLIANCES // BASE - 1)
    return _judged(small, _measured())


@dataclass(frozen=True)
class Measured:
    """What one page took: 95th percentile, most queries of a request, kB of a first load, a chart on it."""

    p95_ms: float
    median_ms: float
    queries: int
    first_load_kb: float
    chart: bool


def _measured() -> dict[Page, Measured]:
    settle()  # as the served process does
    return {page: _one(page) for page in pages()}


def _one(page: Page) -> Measured:
    client = Client(headers={"accept-encoding": "gzip"})
    user = User.objects.filter(role=page.role, is_active=True).order_by("pk").first()
    if user is None:
        user = User.objects.create(username=f"bench-{page.role}", role=page.role)
    client.force_login(user)
    if page.role == Role.TECHNICIAN:
        _book(user)
    addresses = _addresses(page)
    times, queries, size, chart = [], 0, 0.0, False
    for address in addresses:
        began = time.perf_counter()
        answer = client.get(address)
        body = b"".join(answer.streaming_content) if answer.streaming else answer.content
        times.append(1e3 * (time.perf_counter() - began))
        if answer.status_code != 200:
            raise RuntimeError(f"{address} answered {answer.status_code}")
        if answer.headers.get("Content-Encoding") == "gzip":
            body = gzip.decompress(body)
        size, chart = max((size, chart), _first_load(body))
    for address in addresses[:5]:
        with CaptureQueriesContext(
            connection,
        ) as caught:
            client.get(address)
        queries = max(queries, len(caught))
    times = times[1:]  # the first also compiles the template
    return Measured(float(np.percentile(times, 95)), statistics.median(times), queries, size, chart)


def _book(technician: User) -> None:
    """A full day, today, at plants of more than one boiler where there are such; and no copies of it."""
    Attendance.objects.filter(technician=technician, local_on=timezone.localdate(), visits=None).delete()
    cascades = Plant.objects.filter(sequencing=Plant.Sequencing.LEAD_LAG).order_by("pk")
    for position, plant in enumerate([*cascades[:STOPS], *Plant.objects.order_by("pk")[:STOPS]][:STOPS]):
        booked = {"plant": plant, "technician": technician, "local_on": timezone.localdate()}
        Attendance.objects.get_or_create(**booked, cancelled_at=None, defaults={"position": position})


def _addresses(page: Page) -> list[str]:
    query = f"?{page.query}" if page.query else ""
    if page.of is None:
        return [reverse(page.name) + query] * ASKED
    rows = page.of.objects.current() if page.of is PeriodBias else page.of.objects.all()
    keys = np.array(rows.order_by("pk").values_list("pk", flat=True))
    some = np.random.default_rng(1).choice(keys, min(ASKED, len(keys)), replace=False).tolist()
    # a bias is met under its period's key
    column = "period_id" if page.of is PeriodBias else "uuid" if page.word == "uuid" else "pk"
    words = page.of.objects.filter(pk__in=some).values_list("pk", column)
    return [reverse(page.name, kwargs={page.word: word}) + query.format(pk=pk) for pk, word in words]


_ASSET = re.compile(rb'(?:src|href)="/static/([^"]+\.(?:js|css|svg))"')


def _first_load(body: bytes) -> tuple[float, bool]:
    """kB of the page and what it loads, compressed; and whether a chart is on it."""
    size = len(gzip.compress(body, 6))
    chart = b"plotly" in body
    for name in set(_ASSET.findall(body)):
        path = finders.find(name.decode())
        if path:
            with open(path, "rb") as file:
                size += len(gzip.compress(file.read(), 6))
    return size / 1e3, chart


def _judged(small: dict[Page, Measured], large: dict[Page, Measured]) -> list[dict[str, Any]]:
    for page, at in sorted(large.items(), key=lambda item: -item[1].p95_ms):
        before = f" ({small[page].queries} small)" if page in small else ""
        chart = " with a chart" if at.chart else ""
        print(
            f"  {page.name + ' ' + page.query:<34} p95 {at.p95_ms:7.0f} ms  median {at.median_ms:7.0f} ms  "
            f"{at.queries:3d} queries{before}  {at.first_load_kb:5.0f} kB{chart}"
        )
    worst = max(large, key=lambda page: large[page].p95_ms)
    plain = max((at.first_load_kb for at in large.values() if not at.chart), default=0.0)
    charts = max((at.first_load_kb for at in large.values() if at.chart), default=0.0)
    more = [page for page in small if large[page].queries > small[page].queries]
    grown = [page.name for page in more]
    return [
        at_most("slowest page at 100,000 appliances, p95", large[worst].p95_ms, "ms", TARGET_MS, worst.name),
        at_most("pages that ask more often of the large fleet", len(more), "pages", 0, ", ".join(grown)),
        at_most("largest first load without a chart", plain, "kB", TARGET_KB, ""),
        at_most("largest first load with a chart", charts, "kB", TARGET_CHART_KB, ""),
    ]
