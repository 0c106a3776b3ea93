"""A simulated fleet put straight into PostgreSQL: rows as an import would leave them, at any size."""

from __future__ import annotations

import numpy as np
from django.db import connection, transaction

from tests.simulator.fleet import Fleet, simulate
from tests.simulator.options import Options

ORIGIN = "2012-01-01"
_SHIPPED = {
    "fleet_safetylimit": "customer_id IS NULL",
    "fleet_itemset": "model_id IS NULL",
    "fleet_serviceitem": "item_set_id IN (SELECT id FROM fleet_itemset WHERE model_id IS NULL)",
    "fleet_putbacksuggestion": "model_id IS NULL",
}
"""Tables that point at a fleet's and would be emptied with it, and which of their rows every database has."""
_SIGNATURE = b"PGCOPY\n\xff\r\n\x00" + bytes(8)


def load(*, appliances: int, visits: int, seed: int = 1) -> Fleet:
    """Fill the database: 60 appliances to a site, an analyser for some 333, an area for 1,250.

    A fleet that another benchmark left is emptied first.
    """
    unload()
    areas = max(2, appliances // 1250)
    fleet = simulate(
        Options(appliances=appliances, visits=visits, analysers=max(4, appliances // 333), areas=areas), seed
    )
    with transaction.atomic(), connection.cursor() as cursor:
        # the rows are right by construction; checking each foreign key would take most of the time
        cursor.execute("SET LOCAL session_replication_role = replica")
        _stage(cursor, fleet)
        cursor.execute(_STATEMENTS)
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")
    return fleet


def unload() -> None:
    """Empty every table that a fleet fills, and what was made of it; what the product ships stays."""
    tables = ("fleet_customer", "fleet_gasarea", "fleet_maker", "fleet_analyser", "analytics_driftrun")
    with transaction.atomic(), connection.cursor() as cursor:
        for table, shipped in _SHIPPED.items():
            held = f"SELECT * FROM {table} WHERE {shipped}"  # noqa: S608 - our own names
            cursor.execute(f"CREATE TEMP TABLE kept_{table} ON COMMIT DROP AS {held}")
        cursor.execute(f"TRUNCATE {', '.join(tables)} CASCADE")
        for table in _SHIPPED:
            cursor.execute(f"INSERT INTO {table} SELECT * FROM kept_{table}")  # noqa: S608


def _stage(cursor, fleet: Fleet) -> None:
    v = fleet.visits
    cursor.execute("CREATE TEMP TABLE s_appliance (a int8, model int8, area int8) ON COMMIT DROP")
    area = np.zeros(fleet.options.appliances, np.int64)
    area[v.appliance] = v.area
    _copy(cursor, "s_appliance", a=np.arange(len(area)), model=fleet.model, area=area)
    cursor.execute("CREATE TEMP TABLE s_period (p int8, analyser int8, day float8) ON COMMIT DROP")
    _copy(
        cursor,
        "s_period",
        p=np.arange(len(fleet.period_analyser)),
        analyser=fleet.period_analyser,
        day=fleet.period_start_day,
    )
    cursor.execute(
        "CREATE TEMP TABLE s_visit (v int8, a int8, p int8, day float8, air float8, high float8, low float8,"
        " left_high float8, left_low float8, throttle int8, offs int8) ON COMMIT DROP"
    )
    _copy(
        cursor,
        "s_visit",
        v=np.arange(1, len(v.day) + 1),
        a=v.appliance,
        p=v.period,
        day=v.day,
        air=v.air_temp_c,
        high=v.found_co2_pct[:, 0],
        low=v.found_co2_pct[:, 1],
        left_high=v.left_co2_pct[:, 0],
        left_low=v.left_co2_pct[:, 1],
        throttle=v.adjusted[:, 0].astype(np.int64),
        offs=v.adjusted[:, 1].astype(np.int64),
    )


def _copy(cursor, table: str, **columns: np.ndarray) -> None:
    fields: list[tuple[str, str]] = [("n", ">i2")]
    for name, values in columns.items():
        kind = ">f8" if values.dtype.kind == "f" else ">i8"
        fields += [(f"l_{name}", ">i4"), (name, kind)]
    count = len(next(iter(columns.values())))
    block = np.empty(count, np.dtype(fields))
    block["n"] = len(columns)
    for name, values in columns.items():
        block[f"l_{name}"], block[name] = 8, values
    with cursor.copy(f"COPY {table} FROM STDIN (FORMAT BINARY)") as copy:
        copy.write(_SIGNATURE)
        for at in range(0, count, 100_000):
            copy.write(block[at : at + 100_000].tobytes())
        copy.write(b"\xff\xff")


_STATEMENTS = f"""
INSERT INTO fleet_customer (id, name, email, country) VALUES (1, 'Aldermere Baths', '', 'GB');
INSERT INTO fleet_gasarea (id, name, supply)
    SELECT area + 1, 'Area ' || area, 'network' FROM (SELECT DISTINCT area FROM s_appliance) t;
INSERT INTO fleet_site (id, customer_id, name, address, time_zone, gas_area_id, access_notes)
    SELECT area * 100000 + part + 1, 1, 'Site ' || area || '-' || part, '', 'Europe/London', area + 1, ''
    FROM (SELECT DISTINCT area, a / 60 AS part FROM s_appliance) t;
INSERT INTO fleet_plant (id, site_id, name, sequencing, access_notes, annual_gas_source)
    SELECT id, id, 'Boiler room', 'stand_alone', '', '' FROM fleet_site;
INSERT INTO fleet_maker (id, name) VALUES (1, 'Corvane');
INSERT INTO fleet_appliancemodel (id, maker_id, name, kind, ratio_control, condensing, input_gross_kw,
        turndown, control_pressure_pa, forced_rate_s)
    SELECT m + 1, 1, 'CX' || m, 'boiler', 'pneumatic_premix', true, 100, 5, 700, 300
    FROM (SELECT DISTINCT model AS m FROM s_appliance) t;
INSERT INTO fleet_firingspec (model_id, fuel, point, target_low_co2_pct, target_high_co2_pct,
        accept_low_co2_pct, accept_high_co2_pct, source)
    SELECT id, 'natural_gas', 'high', 8.9, 9.1, 8.7, 9.3, 'invented' FROM fleet_appliancemodel;
INSERT INTO fleet_firingspec (model_id, fuel, point, target_low_co2_pct, target_high_co2_pct,
        accept_low_co2_pct, accept_high_co2_pct, source)
    SELECT id, 'natural_gas', 'low', 8.5, 8.7, 8.3, 8.9, 'invented' FROM fleet_appliancemodel;
INSERT INTO fleet_appliance (id, uuid, plant_id, tag, serial, model_id, fuel, input_gross_kw,
        input_stated_basis, air_source, safety_state, annual_gas_source)
    SELECT a + 1, gen_random_uuid(), area * 100000 + a / 60 + 1, 'B' || a, '', model + 1, 'natural_gas', 100,
        'gross', 'room', 'in_service', ''
    FROM s_appliance;
INSERT INTO fleet_burner (id, uuid, appliance_id, position, name)
    SELECT a + 1, gen_random_uuid(), a + 1, 1, '' FROM s_appliance;
INSERT INTO fleet_analyser (id, uuid, tag, serial, type_name, fuel_setting, settle_s)
    SELECT analyser + 1, gen_random_uuid(), 'P4-' || analyser, '', '', '', 60
    FROM (SELECT DISTINCT analyser FROM s_period) t;
INSERT INTO fleet_analyserperiod (id, analyser_id, began, starts_on, certificate, bias_readings, bias_weak)
    SELECT p + 1, analyser + 1, 'calibration', date '{ORIGIN}' + day::int, '', 0, true FROM s_period;
INSERT INTO visits_attendance (id, uuid, plant_id, local_on, position, access_notes, contact_name,
        signed_name)
    SELECT min(v), gen_random_uuid(), plant_id, date '{ORIGIN}' + floor(day)::int, 0, '', '', ''
    FROM s_visit JOIN fleet_appliance f ON f.id = a + 1 GROUP BY plant_id, floor(day)::int;
INSERT INTO visits_visit (id, uuid, attendance_id, appliance_id, kind, source, analyser_id,
        analyser_period_id, analyser_text, fuel, opened_at, closed_at, local_on, closed_received_at, outcome,
        revision, uncountersigned, notes, health_as_found_full, health_as_found_weakest, health_as_left_full,
        health_as_left_weakest, health_checked)
    SELECT v, gen_random_uuid(), t.id, a + 1, 'annual_service', 'import', period.analyser_id, p + 1, '',
        'natural_gas', timestamptz '{ORIGIN} 00:00+00' + day * interval '1 day',
        timestamptz '{ORIGIN} 00:00+00' + (day + 0.05) * interval '1 day', date '{ORIGIN}' + floor(day)::int,
        now(), 'completed', 1, false, '', false, '', false, '', '{{}}'
    FROM s_visit JOIN fleet_appliance f ON f.id = a + 1 JOIN fleet_analyserperiod period ON period.id = p + 1
    JOIN visits_attendance t ON t.plant_id = f.plant_id AND t.local_on = date '{ORIGIN}' + floor(day)::int;
INSERT INTO visits_firingtest (id, visit_id, key, withdrawn_reason, burner_id, point, phase, sequence,
        observed_at, settled, fuel, co2_source, inferred, kept_out, settled_why,
        probe_out, co2_pct, co_ppm, flue_temp_c, air_temp_c)
    SELECT v * 4 + slot, v, phase || '-' || point || '-1', '', a + 1, point, phase, slot + 1,
        timestamptz '{ORIGIN} 00:00+00' + day * interval '1 day' + slot * interval '5 minutes', 'stated',
        'natural_gas', 'measured', false, '', '', false, co2, 40, 58, air
    FROM s_visit CROSS JOIN LATERAL (VALUES
        (0, 'as_found', 'high', high), (1, 'as_found', 'low', low),
        (2, 'as_left', 'high', left_high), (3, 'as_left', 'low', left_low)
    ) AS test (slot, phase, point, co2)
    WHERE co2 <> 'NaN'::float8;
INSERT INTO visits_adjustment (visit_id, key, withdrawn_reason, burner_id, trim, direction, before_test,
        after_test)
    SELECT v, trim_kind || '-1', '', a + 1, trim_kind, '', '', ''
    FROM s_visit
    CROSS JOIN LATERAL (VALUES ('throttle', throttle), ('offset', offs)) AS move (trim_kind, moved)
    WHERE moved = 1;
"""  # noqa: S608 - a constant goes in, nobody's input
