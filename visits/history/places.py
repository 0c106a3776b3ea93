"""The fleet that a chunk of visits rests on: found by its keys, made where it is new, never overwritten."""

from collections.abc import Callable, Iterable, Sequence
from typing import Any, TypeVar

from django.db import models

from fleet.models import (
    Analyser,
    AnalyserPeriod,
    Appliance,
    ApplianceModel,
    Burner,
    Customer,
    GasArea,
    Maker,
    Plant,
    Site,
)
from people.services import technicians_ensure
from visits.history.columns import NOT_KNOWN, Row
from visits.history.ledger import Facts, Ledger
from visits.history.report import Remark, Remarks

PREMIX_NOT_KNOWN = "not known, pneumatic premix"

Key = tuple[Any, ...]
M = TypeVar("M", bound=models.Model)


def _ensured(
    model: type[M], keys: Iterable[Key], find: Callable[[], dict[Key, M]], make: Callable[[Key], M]
) -> tuple[dict[Key, M], set[Key]]:
    """Rows by key, those that were missing made; and the keys of those."""
    found = find()
    missing = [key for key in dict.fromkeys(keys) if key not in found]
    if missing:
        # Another import may make the same row at this moment: whichever comes second takes what is there.
        model._default_manager.bulk_create([make(key) for key in missing], ignore_conflicts=True)
        found = find()
    return found, set(missing)


def _named(model: type[M], names: Iterable[str], **new: Any) -> dict[str, M]:
    """Rows that are known by their name alone."""
    wanted = sorted(set(names))
    if not wanted:
        return {}
    found, _ = _ensured(
        model,
        [(name,) for name in wanted],
        lambda: {(row.name,): row for row in model._default_manager.filter(name__in=wanted)},  # type: ignore[attr-defined]
        lambda key: model(name=key[0], **new),
    )
    return {name: row for (name,), row in found.items()}


class Places:
    """Rows of the fleet by the keys of the file, for one chunk of visits, joined to one another.

    burners_of: every burner of each appliance, by its id.
    A fixed number of queries, and as many again where something is new. What is made takes the first facts
    that the whole file gives. Where a row on file says otherwise, it stays as it is and a note is made.
    """

    def __init__(self, rows: Sequence[Row], *, ledger: Ledger, remarks: Remarks, default_zone: str) -> None:
        self._ledger = ledger
        self._remarks = remarks
        self._default_zone = default_zone
        self._row_of = {row[:size]: row.number for size in (4, 2) for row in reversed(rows)}
        self.sites = self._sites(rows)
        self.plants = self._plants(rows)
        self.models = self._models(rows)
        self.appliances = self._appliances(rows)
        self.burners_of: dict[int, list[Burner]] = {}
        self.burners = self._burners(rows)
        self.technicians = technicians_ensure(names={row.technician for row in rows} - {""})
        self.analysers = self._analysers(rows)
        self.periods = self._periods(rows)

    def _sites(self, rows: Sequence[Row]) -> dict[Key, Site]:
        customers = _named(Customer, (row.customer for row in rows))
        keys = {row[:2] for row in rows}
        facts = {key: self._ledger.facts("site", *key) for key in keys}
        areas = _named(GasArea, (fact["gas_area"] for fact in facts.values() if "gas_area" in fact))
        customer_names = {customer.pk: name for name, customer in customers.items()}

        def find() -> dict[Key, Site]:
            sites = Site.objects.filter(customer__in=customer_names, name__in={name for _, name in keys})
            return {(customer_names[site.customer_id], site.name): site for site in sites}

        def make(key: Key) -> Site:
            zone = facts[key].get("timezone") or self._default_zone
            site = Site(
                customer=customers[key[0]],
                name=key[1],
                gas_area=areas.get(facts[key].get("gas_area", "")),
                elevation_m=facts[key].get("elevation_m"),
                **({"time_zone": zone} if zone else {}),
            )
            if not zone:
                self._note(
                    key, "timezone", "", f"is empty: the new site's days are those of {site.time_zone}"
                )
            return site

        sites, made = _ensured(Site, sorted(keys), find, make)
        for key, site in sites.items():
            site.customer = customers[key[0]]
        area_ids = {site.gas_area_id for site in sites.values()} - {None}
        area_names = {pk: area.name for pk, area in GasArea.objects.in_bulk(area_ids).items()}
        for key in keys - made:
            site = sites[key]
            self._compare(
                key,
                facts[key],
                {
                    "gas_area": area_names.get(site.gas_area_id, ""),
                    "timezone": site.time_zone,
                    "elevation_m": site.elevation_m,
                },
            )
        return sites

    def _plants(self, rows: Sequence[Row]) -> dict[Key, Plant]:
        keys = {row[:3] for row in rows}
        site_keys = {self.sites[key[:2]].pk: key[:2] for key in keys}

        def find() -> dict[Key, Plant]:
            plants = Plant.objects.filter(site__in=site_keys, name__in={key[2] for key in keys})
            return {(*site_keys[plant.site_id], plant.name): plant for plant in plants}

        def make(key: Key) -> Plant:
            return Plant(site=self.sites[key[:2]], name=key[2])

        plants, _ = _ensured(Plant, sorted(keys), find, make)
        for key, plant in plants.items():
            plant.site = self.sites[key[:2]]
        return plants

    def _model_key(self, appliance: Key) -> Key:
        facts = self._ledger.facts("appliance", *appliance)
        unnamed = PREMIX_NOT_KNOWN if facts.get("premix") else NOT_KNOWN
        return facts.get("maker", NOT_KNOWN), facts.get("model", unnamed)

    def _models(self, rows: Sequence[Row]) -> dict[Key, ApplianceModel]:
        keys = {self._model_key(row[:4]) for row in rows}
        makers = _named(Maker, (maker for maker, _ in keys))
        maker_names = {maker.pk: name for name, maker in makers.items()}

        def find() -> dict[Key, ApplianceModel]:
            found = ApplianceModel.objects.filter(maker__in=maker_names, name__in={name for _, name in keys})
            return {(maker_names[model.maker_id], model.name): model for model in found}

        def make(key: Key) -> ApplianceModel:
            facts = self._ledger.facts("model", *key)
            kinds = ApplianceModel.RatioControl
            premix = facts.get("premix") or key[1] == PREMIX_NOT_KNOWN
            return ApplianceModel(
                maker=makers[key[0]],
                name=key[1],
                ratio_control=kinds.PNEUMATIC_PREMIX if premix else kinds.UNKNOWN,
                turndown=facts.get("turndown"),
                control_pressure_pa=facts.get("control_pressure_pa"),
            )

        return _ensured(ApplianceModel, sorted(keys), find, make)[0]

    def _appliances(self, rows: Sequence[Row]) -> dict[Key, Appliance]:
        keys = {row[:4] for row in rows}
        facts = {key: self._ledger.facts("appliance", *key) for key in keys}
        plant_keys = {self.plants[key[:3]].pk: key[:3] for key in keys}

        def find() -> dict[Key, Appliance]:
            found = Appliance.objects.filter(plant__in=plant_keys, tag__in={key[3] for key in keys})
            return {(*plant_keys[appliance.plant_id], appliance.tag): appliance for appliance in found}

        def make(key: Key) -> Appliance:
            return Appliance(
                plant=self.plants[key[:3]],
                tag=key[3],
                serial=facts[key].get("serial", ""),
                model=self.models[self._model_key(key)],
                fuel=facts[key]["fuel"],
                input_gross_kw=facts[key].get("input_kw"),
                input_stated_kw=facts[key].get("input_kw"),
            )

        appliances, made = _ensured(Appliance, sorted(keys), find, make)
        models = ApplianceModel.objects.select_related("maker").in_bulk(
            {appliance.model_id for appliance in appliances.values()}
        )
        for key, appliance in appliances.items():
            appliance.model, appliance.plant = models[appliance.model_id], self.plants[key[:3]]
        for key in keys - made:
            appliance = appliances[key]
            self._compare(
                key,
                facts[key],
                {
                    "serial": appliance.serial,
                    "maker": appliance.model.maker.name,
                    "model": appliance.model.name,
                    "fuel": appliance.fuel,
                    "input_kw": appliance.input_gross_kw,
                },
            )
            if appliance.retired_on:
                self._note(key, "appliance", key[3], f"is retired since {appliance.retired_on}, and stays so")
        return appliances

    def _burners(self, rows: Sequence[Row]) -> dict[Key, Burner]:
        keys = list(dict.fromkeys(row[:5] for row in rows))
        ids = {self.appliances[key[:4]].pk for key in keys}
        standing = self.burners_of

        def find() -> dict[Key, Burner]:
            standing.update((pk, []) for pk in ids)
            for burner in Burner.objects.filter(appliance__in=ids).order_by("position"):
                standing[burner.appliance_id].append(burner)
            meant = {key: _burner_meant(key[4], standing[self.appliances[key[:4]].pk]) for key in keys}
            return {key: burner for key, burner in meant.items() if burner is not None}

        def make(key: Key) -> Burner:
            appliance = self.appliances[key[:4]]
            beside = standing[appliance.pk]
            facts, model = self._ledger.facts("burner", *key), appliance.model
            burner = Burner(
                appliance=appliance,
                position=_position(key[4], {burner.position for burner in beside}),
                name="" if _is_number(key[4]) else key[4],
                turndown=_unless(facts.get("turndown"), model.turndown),
                control_pressure_pa=_unless(facts.get("control_pressure_pa"), model.control_pressure_pa),
            )
            beside.append(burner)
            return burner

        burners, made = _ensured(Burner, keys, find, make)
        for key in set(keys) - made:
            burner, model = burners[key], self.appliances[key[:4]].model
            self._compare(
                key[:4],
                self._ledger.facts("burner", *key),
                {
                    "turndown": burner.turndown or model.turndown,
                    "control_pressure_pa": burner.control_pressure_pa or model.control_pressure_pa,
                },
            )
        return burners

    def _analysers(self, rows: Sequence[Row]) -> dict[str, Analyser]:
        tags = sorted({row.analyser for row in rows} - {""})
        found, _ = _ensured(
            Analyser,
            [(tag,) for tag in tags],
            lambda: {(row.tag,): row for row in Analyser.objects.filter(tag__in=tags)},
            lambda key: Analyser(tag=key[0]),
        )
        return {tag: analyser for (tag,), analyser in found.items()}

    def _periods(self, rows: Sequence[Row]) -> dict[Key, AnalyserPeriod]:
        keys = list(dict.fromkeys((row.analyser, row.calibrated_on) for row in rows if row.analyser))
        tags = {analyser.pk: tag for tag, analyser in self.analysers.items()}
        began = AnalyserPeriod.Began

        def find() -> dict[Key, AnalyserPeriod]:
            periods = AnalyserPeriod.objects.filter(analyser__in=tags)
            return {(tags[period.analyser_id], period.starts_on): period for period in periods}

        def make(key: Key) -> AnalyserPeriod:
            return AnalyserPeriod(
                analyser=self.analysers[key[0]],
                starts_on=key[1],
                began=began.CALIBRATION if key[1] else began.UNKNOWN,
            )

        periods, _ = _ensured(AnalyserPeriod, keys, find, make)
        for key, period in periods.items():
            period.analyser = self.analysers[key[0]]
        return periods

    def _compare(self, key: Key, stated: Facts, on_file: dict[str, Any]) -> None:
        for name, value in on_file.items():
            if name in stated and stated[name] != value:
                self._note(key, name, stated[name], f"is not kept: {value!r} is on file and stays")

    def _note(self, key: Key, column: str, value: object, reason: str) -> None:
        if self._ledger.is_new(f"{key} {column} {value} {reason}"):
            self._remarks.note(Remark(self._row_of[key], column, str(value), reason))


def _is_number(label: str) -> bool:
    return label.isascii() and label.isdigit()


def _burner_meant(label: str, burners: Sequence[Burner]) -> Burner | None:
    """The burner that a cell means: by position where it is a number, else by name; the first where empty."""
    if not label:
        return burners[0] if burners else None
    if _is_number(label):
        return next((burner for burner in burners if burner.position == int(label)), None)
    return next((burner for burner in burners if burner.name == label), None)


def _position(label: str, taken: set[int]) -> int:
    """Where a missing burner goes. Empty means the first, which another new row may just have made."""
    if _is_number(label):
        return int(label)
    if not label and taken:
        return min(taken)
    return next(position for position in range(1, len(taken) + 2) if position not in taken)


def _unless(value: float | None, models: float | None) -> float | None:
    """The burner's own figure, where it is another than the model's."""
    return None if value == models else value
