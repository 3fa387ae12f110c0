"""Whatever a rules file holds, it gives limits that can be judged, or one plain error; never a traceback."""

import json
import math
import tempfile
from pathlib import Path
from typing import Any

from hypothesis import event, given, settings
from hypothesis import strategies as st

from monitor.base.errors import SettingError
from monitor.base.vehicle import Battery, Vehicle
from monitor.limits.quantities import QUANTITIES
from monitor.limits.rules import Limit, Rules, rules_from, rules_text
from monitor.limits.rules_file import LimitTable, RulesFile, Setpoint
from monitor.store.rules_files import load_rules, preset_names

SOME_TEXT = st.text(st.characters(exclude_categories=["Cs"]), max_size=12)
VALUES = st.sampled_from(
    ["50 mA", "12.4 V", "2 d", "20 %", "-5 Ah", "0.25 mA per min", "1 mA per Ah", "12 per h", "10 mV/h", "1 h", "5 min",
     "1e300 V", "1e-300 A", "-1e308 h", "NaN V", "inf A", "0 s", "1 per 0 h", " per ", "1 V per V", "٣ V", "1 V V", "2"]
)  # fmt: skip
SCALARS = st.one_of(
    VALUES,
    SOME_TEXT,
    st.integers(-(2**70), 2**70),
    st.integers(0, 5),
    st.floats(),
    st.booleans(),
    st.lists(SOME_TEXT, max_size=2),
)
ROWS = st.dictionaries(
    st.sampled_from(["-18 °C", "0 °C", "21 °C", "900 °C", "agm", "flooded", "unknown"]) | SOME_TEXT,
    VALUES | SCALARS,
    max_size=3,
)
PER = st.sampled_from(["cell", "6 V", "12 V", "24 V"])
TABLES = st.fixed_dictionaries(
    {},
    optional=dict.fromkeys(("value", "per_reserve", "per_capacity", "least", "most"), VALUES)
    | {"by_kind": ROWS, "by_celsius": ROWS, "per": PER},
)
SETPOINTS = st.one_of(VALUES, TABLES, SCALARS)
KEYS = [field.validation_alias or name for name, field in LimitTable.model_fields.items()]
LIKELY = {
    "quantity": st.sampled_from(list(QUANTITIES)),
    "high": SETPOINTS,
    "low": SETPOINTS,
    "priority": st.sampled_from(["critical", "high", "medium", "low"]),
    "latched": st.booleans(),
    "enabled": st.booleans(),
    "yields_to": st.lists(st.sampled_from(["mine", "other", "awake"]), max_size=3),
}
LIMITS = st.fixed_dictionaries(
    {"cause": st.just("It draws."), "response": st.just("Look."), "quantity": LIKELY["quantity"]},
    optional={key: LIKELY.get(key, VALUES) | SCALARS for key in KEYS if key not in ("cause", "response", "quantity")},
)
FILES = st.fixed_dictionaries(
    {"limits": st.dictionaries(st.sampled_from(["mine", "other", "awake"]) | SOME_TEXT, LIMITS, max_size=3)},
    optional={
        "about": SCALARS,
        "extends": st.sampled_from(preset_names()) | SOME_TEXT,
        "fits": st.dictionaries(st.sampled_from(["kind", "nominal"]), SCALARS, max_size=2),
    },
)
BATTERIES = st.builds(
    Battery,
    kind=st.sampled_from([None, "flooded", "agm", "lifepo4"]),
    nominal_v=st.sampled_from([6.0, 12.0, 24.0]),
    capacity_ah=st.none() | st.floats(1e-3, 1e9),
    reserve_s=st.none() | st.floats(1e-3, 1e9),
)


def toml(value: Any) -> str:
    """The value as inline TOML."""
    if isinstance(value, dict):
        return "{" + ", ".join(f"{toml(str(key))} = {toml(item)}" for key, item in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(toml, value)) + "]"
    if isinstance(value, float):
        return repr(value) if math.isfinite(value) else str(value)
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007F")


def read(raw: bytes, battery: Battery) -> Rules | SettingError:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "mine.toml"
        path.write_bytes(raw)
        try:
            return load_rules(Vehicle(battery=battery), None, str(path))
        except SettingError as told:
            assert told.what
            assert told.remedy
            assert (told.what + told.remedy).isprintable()
            return told


def is_in_order(limit: Limit) -> None:
    numbers = [limit.deadband, limit.on_delay_s, limit.off_delay_s, limit.after_s]
    numbers += [value for row in limit.by_celsius for value in row]
    numbers += [value for value in (limit.high, limit.low, limit.window_s) if value is not None]
    assert all(math.isfinite(number) for number in numbers)
    assert limit.deadband >= 0
    assert (limit.window_s is not None) == QUANTITIES[limit.quantity].windowed
    assert list(limit.by_celsius) == sorted(limit.by_celsius)
    if limit.high is not None and limit.low is not None:
        assert limit.low + limit.deadband < limit.high
        assert not limit.by_celsius


@given(raw=st.binary(max_size=200) | st.text(max_size=200).map(lambda text: text.encode("utf-8", "replace")))
def test_any_bytes_are_rules_or_one_plain_error(raw: bytes) -> None:
    read(raw, Battery())


@settings(max_examples=150)
@given(file=FILES, battery=BATTERIES)
def test_any_file_made_of_known_words_is_rules_in_order_or_one_plain_error(
    file: dict[str, Any], battery: Battery
) -> None:
    text = "\n".join(f"{key} = {toml(value)}" for key, value in file.items()) + "\n"
    found = read(text.encode(), battery)
    event("rules" if isinstance(found, Rules) else "refused")
    if isinstance(found, Rules):
        for limit in found.limits:
            is_in_order(limit)
        assert rules_from(rules_text(found)) == found


@st.composite
def plausible(draw: st.DrawFn) -> str:
    """A limit whose values have the right unit, and mostly the right size."""
    quantity = draw(st.sampled_from(list(QUANTITIES.values())))
    size = quantity.high - quantity.low

    def value(least: float = -0.05, most: float = 1.05) -> Any:
        number = quantity.low + draw(st.floats(least, most)) * size
        return round(number) if quantity.dimension.unit == "1" else quantity.write(number)

    def setpoint() -> Any:
        table: dict[str, Any] = {"value": value()}
        if draw(st.booleans()):
            table["by_celsius"] = {
                f"{t} °C": value() for t in draw(st.sets(st.integers(-40, 60), min_size=1, max_size=3))
            }
        elif draw(st.booleans()):
            table |= {"by_kind": {"agm": value()}, "least": value(-0.05, 0.5), "most": value(0.5, 1.05)}
        if quantity.per_nominal and draw(st.booleans()):
            table["per"] = draw(PER)
        return draw(st.sampled_from([table, table["value"]]))

    sides = [side for side in ("high", "low") if draw(st.booleans())] or [quantity.sides[0]]
    keys: dict[str, Any] = {side: setpoint() for side in sides}
    if draw(st.booleans()):
        keys["deadband"] = draw(st.sampled_from(["20 %", quantity.write(size * draw(st.floats(0, 0.2)))]))
    if quantity.windowed:
        keys["window"] = "7 d"
    if quantity.judged != "event":
        keys["on_delay"] = "5 min"
    lines = [f"{key} = {toml(value)}" for key, value in keys.items()]
    return "\n".join(
        ["[limits.mine]", f'quantity = "{quantity.name}"', 'priority = "low"', 'cause = "a"', 'response = "b"', *lines]
    )


@settings(max_examples=150)
@given(text=plausible(), battery=BATTERIES)
def test_a_limit_of_plausible_values_is_in_order_or_one_plain_error(text: str, battery: Battery) -> None:
    found = read(text.encode(), battery)
    event("rules" if isinstance(found, Rules) else "refused")
    if isinstance(found, Rules):
        is_in_order(found.limits[0])
        assert rules_from(rules_text(found)) == found


@given(cut=st.integers(0, 4000), name=st.sampled_from(preset_names()), put=SOME_TEXT)
def test_a_preset_with_a_slip_of_the_pen_is_rules_or_one_plain_error(cut: int, name: str, put: str) -> None:
    from monitor.store.rules_files import read_preset

    text = read_preset(name).text
    read((text[: cut % len(text)] + put + text[cut % len(text) :]).encode(), Battery())


def test_the_fuzz_knows_every_key_of_a_rules_file() -> None:
    assert set(RulesFile.model_fields) == {"about", "extends", "fits", "limits"}
    assert set(Setpoint.model_fields) == {
        "value", "per_reserve", "per_capacity", "by_kind", "by_celsius", "least", "most", "per"
    }  # fmt: skip
