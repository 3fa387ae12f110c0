"""Writes the dashboards: python deploy/fleet/build_dashboards.py. They are JSON for a server that answers PromQL.

Two pages, told from top to bottom as a person asks: which vehicle needs me, then what is the matter with it.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent / "dashboards"
WIDE = 24  # columns of a page
SOURCE = {"type": "prometheus", "uid": "keyoff-database"}
LATEST = "[400d]"  # findings come at each event: the last one tells how it stands, however old it is

ONE = 'vehicle="$vehicle"'
ALL = 'vehicle=~"$vehicle"'
LIMITS = 'limits=~"$limits"'


def query(expression: str, legend: str = "", moment: bool = False) -> dict[str, Any]:
    """One query; `moment`: its value at the end of the shown span, as a table."""
    how = {"instant": True, "range": False, "format": "table"} if moment else {"instant": False, "range": True}
    return {"datasource": SOURCE, "expr": expression, "legendFormat": legend, **how}


def panel(kind: str, title: str, about: str, queries: list[dict[str, Any]], unit: str, **more: Any) -> dict[str, Any]:
    """A panel without its place."""
    targets = [{"refId": chr(ord("A") + number), **one} for number, one in enumerate(queries)]
    defaults = {"unit": unit, **more.pop("defaults", {})}
    return {
        "type": kind,
        "title": title,
        "description": about,
        "datasource": SOURCE,
        "targets": targets,
        "fieldConfig": {"defaults": defaults, "overrides": more.pop("overrides", [])},
        **more,
    }


def lines(title: str, about: str, queries: list[dict[str, Any]], unit: str, style: str = "line") -> dict[str, Any]:
    """Courses over time; `style`: line, points (one mark an event) or bars."""
    custom: dict[str, Any] = {"drawStyle": style, "showPoints": "always" if style == "points" else "never"}
    custom |= {"fillOpacity": 60 if style == "bars" else 0, "lineWidth": 1, "pointSize": 7}
    return panel("timeseries", title, about, queries, unit, defaults={"custom": custom})


def steps(*bounds: tuple[str, float | None]) -> dict[str, Any]:
    """Colours by value: the colour from each bound on; the first bound is None."""
    return {"mode": "absolute", "steps": [{"color": color, "value": bound} for color, bound in bounds]}


def column(name: str, unit: str, thresholds: dict[str, Any] | None = None) -> dict[str, Any]:
    """How a column of a table is shown."""
    shown: list[dict[str, Any]] = [{"id": "unit", "value": unit}]
    if thresholds is not None:
        shown += [
            {"id": "thresholds", "value": thresholds},
            {"id": "custom.cellOptions", "value": {"type": "color-background", "mode": "basic"}},
        ]
    return {"matcher": {"id": "byName", "options": name}, "properties": shown}


def placed(rows: list[tuple[int, list[dict[str, Any]]]]) -> list[dict[str, Any]]:
    """Panels in rows of a height, side by side, as wide as their number allows."""
    found: list[dict[str, Any]] = []
    top = 0
    for height, panels in rows:
        width = WIDE // len(panels)
        for number, one in enumerate(panels):
            place = {"x": number * width, "y": top, "w": width, "h": height}
            found.append({"id": len(found) + 1, "gridPos": place, **one})
        top += height
    return found


def variable(name: str, label: str, series: str, many: bool) -> dict[str, Any]:
    """A choice at the head of the page: the values of a tag."""
    asked = f"label_values({series}, {name})"
    everything = {"text": "All", "value": "$__all"}
    return {
        "type": "query",
        "name": name,
        "label": label,
        "datasource": SOURCE,
        "query": {"query": asked, "refId": name},
        "definition": asked,
        "refresh": 2,
        "sort": 1,
        "multi": many,
        "includeAll": many,
        "allValue": ".*" if many else None,
        "current": everything if many else {},
    }


def page(
    uid: str, title: str, span: str, variables: list[dict[str, Any]], panels: list[dict[str, Any]]
) -> dict[str, Any]:
    """A whole dashboard."""
    return {
        "uid": uid,
        "title": title,
        "tags": ["keyoff"],
        "schemaVersion": 39,
        "timezone": "browser",
        "editable": True,
        "refresh": "1m",
        "time": {"from": f"now-{span}", "to": "now"},
        "templating": {"list": variables},
        "links": [{"type": "dashboards", "title": "Keyoff", "tags": ["keyoff"], "keepTime": True, "asDropdown": False}],
        "panels": panels,
    }


DAYS = steps(("red", None), ("orange", 7), ("green", 21))  # a week to act in, three to plan in; our choice
ALARMS = steps(("green", None), ("red", 1))
CHARGE = steps(("red", None), ("orange", 0.5), ("green", 0.75))  # share of full; our choice


def fleet() -> dict[str, Any]:
    """Which vehicle needs me?"""
    newest = f"max by (vehicle) (tlast_over_time(keyoff_second_volts{{{ALL}}}[30d])"
    newest += f" or tlast_over_time(keyoff_sample_volts{{{ALL}}}[30d])) * 1000"
    told = f"last_over_time(keyoff_verdict_told{{{ALL}}}{LATEST}) == 1"
    state = panel(
        "table",
        "Vehicles",
        "The latest verdict, alarms that stand, days until the engine will not start at the present drain, charge.",
        [
            query(f"max by (vehicle, cause) ({told})", moment=True),
            query(f"sum by (vehicle) (last_over_time(keyoff_alarm_active{{{ALL},{LIMITS}}}{LATEST}))", moment=True),
            query(f"max by (vehicle) (last_over_time(keyoff_battery_days_to_no_start{{{ALL}}}{LATEST}))", moment=True),
            query(f"max by (vehicle) (last_over_time(keyoff_battery_state_of_charge{{{ALL}}}{LATEST}))", moment=True),
            query(newest, moment=True),
        ],
        "short",
        overrides=[
            column("Alarms", "short", ALARMS),
            column("Days to no-start", "short", DAYS),
            column("State of charge", "percentunit", CHARGE),
            column("Last sample", "dateTimeAsIso"),
        ],
        transformations=[
            {"id": "joinByField", "options": {"byField": "vehicle", "mode": "outer"}},
            {
                "id": "organize",
                "options": {
                    "excludeByName": {"Time": True, **{f"Time {n}": True for n in range(1, 6)}, "Value #A": True},
                    "renameByName": {
                        "vehicle": "Vehicle",
                        "cause": "Verdict",
                        "Value #B": "Alarms",
                        "Value #C": "Days to no-start",
                        "Value #D": "State of charge",
                        "Value #E": "Last sample",
                    },
                },
            },
        ],
    )
    alarms = panel(
        "table",
        "Alarms that stand",
        "Each limit that is passed now, with the value that raised it.",
        [
            query(
                f"last_over_time(keyoff_alarm_worst{{{ALL},{LIMITS}}}{LATEST})"
                f" and (last_over_time(keyoff_alarm_active{{{ALL},{LIMITS}}}{LATEST}) == 1)",
                moment=True,
            )
        ],
        "short",
        transformations=[
            {
                "id": "organize",
                "options": {
                    "excludeByName": {"Time": True, "__name__": True, "limits": True},
                    "renameByName": {"vehicle": "Vehicle", "limit": "Limit", "priority": "Priority", "Value": "Worst"},
                },
            }
        ],
    )
    sleep = lines(
        "Sleep current",
        "One mark a stand: the level the vehicle slept at.",
        [query(f"last_over_time(keyoff_stand_sleep_current_a{{{ALL}}}[$__interval])", "{{vehicle}}")],
        "amp",
        "points",
    )
    woken = lines(
        "Charge taken by wake-ups, a day",
        "Ah; a module that wakes all night shows here before the battery does.",
        [query(f"sum by (vehicle) (sum_over_time(keyoff_wake_up_charge_ah{{{ALL}}}[1d]))", "{{vehicle}}")],
        "short",
    )
    net = lines(
        "Charge balance, a day",
        "Ah into less Ah out of the battery; below zero for many days, the vehicle is used too little or drains.",
        [query(f"sum by (vehicle) (sum_over_time(keyoff_quarter_hour_net_ah{{{ALL}}}[1d]))", "{{vehicle}}")],
        "short",
    )
    soc = lines(
        "State of charge",
        "As assessed; empty where the log cannot tell.",
        [query(f"max by (vehicle) (last_over_time(keyoff_battery_state_of_charge{{{ALL}}}[2d]))", "{{vehicle}}")],
        "percentunit",
    )
    chosen = [
        variable("vehicle", "Vehicle", "keyoff_quarter_hour_unobserved_s", many=True),
        variable("limits", "Limits", "keyoff_alarm_active", many=True),
    ]
    return page(
        "keyoff-fleet",
        "Keyoff: fleet",
        "30d",
        chosen,
        placed([(10, [state]), (7, [alarms]), (9, [sleep, woken]), (9, [net, soc])]),
    )


def tile(
    title: str, about: str, expression: str, unit: str, thresholds: dict[str, Any] | None = None
) -> dict[str, Any]:
    """One figure."""
    options = {"reduceOptions": {"calcs": ["lastNotNull"]}, "colorMode": "value", "graphMode": "none"}
    plain = thresholds or steps(("text", None))
    return panel("stat", title, about, [query(expression)], unit, options=options, defaults={"thresholds": plain})


def vehicle() -> dict[str, Any]:
    """What is the matter with this one?"""

    def last(series: str, more: str = "") -> str:
        return f"last_over_time({series}{{{ONE}{more}}}{LATEST})"

    def each(series: str, legend: str) -> dict[str, Any]:
        """One mark an event."""
        return query(f"last_over_time({series}{{{ONE}}}[$__interval])", legend)

    def course(channel: str) -> list[dict[str, Any]]:
        """Mean, lowest and highest: from samples as they were sent, whatever their step."""
        return [
            query(f"max(max_over_time({{__name__=~'keyoff_sample_{channel}(_max)?',{ONE}}}[$__interval]))", "highest"),
            query(f"avg(avg_over_time(keyoff_sample_{channel}{{{ONE}}}[$__interval]))", "mean"),
            query(f"min(min_over_time({{__name__=~'keyoff_sample_{channel}(_min)?',{ONE}}}[$__interval]))", "lowest"),
        ]

    now = [
        panel(
            "stat",
            "Verdict",
            "The latest one.",
            [query(f"max by (cause) ({last('keyoff_verdict_told')} == 1)", "{{cause}}")],
            "short",
            options={"textMode": "name", "reduceOptions": {"calcs": ["lastNotNull"]}, "graphMode": "none"},
        ),
        tile("Alarms", "Limits passed now.", f"sum({last('keyoff_alarm_active', ',' + LIMITS)})", "short", ALARMS),
        tile("Sleep current", "Of the latest stand that has ended.", last("keyoff_stand_sleep_current_a"), "amp"),
        tile("Days to no-start", "At the present drain.", last("keyoff_battery_days_to_no_start"), "short", DAYS),
        tile("State of charge", "As assessed.", last("keyoff_battery_state_of_charge"), "percentunit", CHARGE),
        tile("Rest volts", "Of the latest stand.", last("keyoff_stand_rest_volts"), "volt"),
    ]
    night = [
        lines("Current", "+ into the battery, − out of it.", course("amps"), "amp"),
        lines("Volts", "At the battery posts.", course("volts"), "volt"),
    ]
    stands = [
        lines(
            "Sleep current, stand by stand",
            "With its 95 % interval.",
            [
                each("keyoff_stand_sleep_current_high_a", "highest"),
                each("keyoff_stand_sleep_current_a", "level"),
                each("keyoff_stand_sleep_current_low_a", "lowest"),
            ],
            "amp",
            "points",
        ),
        lines(
            "Wake-ups an hour",
            "How often it woke; a steady rhythm is most likely one module.",
            [query(f"count_over_time(keyoff_wake_up_excess_a{{{ONE}}}[1h])", "wake-ups")],
            "short",
            "bars",
        ),
        lines(
            "Wake-ups: current above the sleep level",
            "Alike in size is most likely the same module.",
            [each("keyoff_wake_up_excess_a", "excess")],
            "amp",
            "points",
        ),
    ]
    battery = [
        lines("Rest volts", "One mark a stand.", [each("keyoff_stand_rest_volts", "rest volts")], "volt", "points"),
        lines(
            "State of charge", "As assessed.", [query(last("keyoff_battery_state_of_charge"), "charge")], "percentunit"
        ),
        lines(
            "Cranks",
            "Lowest volts of each; a failed start stands apart.",
            [query(f"last_over_time(keyoff_crank_volts_min{{{ONE}}}[$__interval])", "started: {{started}}")],
            "volt",
            "points",
        ),
    ]
    charging = [
        lines(
            "Charging volts, drive by drive",
            "Median, and where 5 % and 95 % of the time lie.",
            [
                query(f"max(last_over_time(keyoff_drive_{name}{{{ONE}}}[$__interval]))", legend)
                for name, legend in (
                    ("charging_volts_p95", "95 %"),
                    ("charging_volts", "median"),
                    ("charging_volts_p05", "5 %"),
                )
            ],
            "volt",
            "points",
        ),
        lines(
            "Charge in and out, a day",
            "Ah.",
            [
                query(f"sum_over_time(keyoff_quarter_hour_in_ah{{{ONE}}}[1d])", "in"),
                query(f"sum_over_time(keyoff_quarter_hour_out_ah{{{ONE}}}[1d])", "out"),
            ],
            "short",
        ),
        lines(
            "Alarms",
            "1 while a limit is passed.",
            [query(f"last_over_time(keyoff_alarm_active{{{ONE},{LIMITS}}}{LATEST})", "{{limit}}")],
            "short",
        ),
    ]
    year = [
        lines(
            "Volts, hour by hour",
            "From the rollup: quick over a year.",
            [
                query(f"keyoff_hour_volts_max{{{ONE}}}", "highest"),
                query(f"keyoff_hour_volts{{{ONE}}}", "mean"),
                query(f"keyoff_hour_volts_min{{{ONE}}}", "lowest"),
            ],
            "volt",
        )
    ]
    chosen = [
        variable("vehicle", "Vehicle", "keyoff_quarter_hour_unobserved_s", many=False),
        variable("limits", "Limits", "keyoff_alarm_active", many=True),
    ]
    rows = [(4, now), (9, night), (8, stands), (8, battery), (8, charging), (8, year)]
    return page("keyoff-vehicle", "Keyoff: one vehicle", "7d", chosen, placed(rows))


def text(dashboard: dict[str, Any]) -> str:
    """The JSON as it lies in the file."""
    return json.dumps(dashboard, indent=1, ensure_ascii=False) + "\n"


PAGES = {"fleet.json": fleet, "vehicle.json": vehicle}

if __name__ == "__main__":
    for name, make in PAGES.items():
        (HERE / name).write_text(text(make()), encoding="utf-8")
