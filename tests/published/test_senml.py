"""SenML: the examples of RFC 8428 (July 2018), section 5.1, as its text prints them.

What a battery log can hold of them (units V, A, Cel) is read as a log; names, times and values of the others are
checked record by record.
"""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from monitor.base.errors import InputError
from monitor.base.samples import SECOND_US, Block
from monitor.base.vehicle import LogSettings
from monitor.sources import RecordedLog, open_logs
from monitor.sources.senml import Record, Resolver

CURRENT_5_1_2 = """[
  {"bn":"urn:dev:ow:10e2073a0108006:","bt":1.276020076001e+09,"bu":"A","bver":5,"n":"voltage","u":"V","v":120.1},
  {"n":"current","t":-5,"v":1.2}, {"n":"current","t":-4,"v":1.3}, {"n":"current","t":-3,"v":1.4},
  {"n":"current","t":-2,"v":1.5}, {"n":"current","t":-1,"v":1.6}, {"n":"current","v":1.7}
]"""
PLACE_5_1_3 = """[
  {"bn":"urn:dev:ow:10e2073a01080063","bt":1.320067464e+09,"bu":"%RH","v":20},
  {"u":"lon","v":24.30621}, {"u":"lat","v":60.07965}, {"t":60,"v":20.3},
  {"u":"lon","t":60,"v":24.30622}, {"u":"lat","t":60,"v":60.07965}, {"t":120,"v":20.7},
  {"u":"lon","t":120,"v":24.30623}, {"u":"lat","t":120,"v":60.07966}, {"u":"%EL","t":150,"v":98},
  {"t":180,"v":21.2}, {"u":"lon","t":180,"v":24.30628}, {"u":"lat","t":180,"v":60.07967}
]"""
NAME = "urn:dev:ow:10e2073a01080063"
RESOLVED_5_1_4 = [
    ("%RH", 1320067464, 20), ("lon", 1320067464, 24.30621), ("lat", 1320067464, 60.07965),
    ("%RH", 1320067524, 20.3), ("lon", 1320067524, 24.30622), ("lat", 1320067524, 60.07965),
    ("%RH", 1320067584, 20.7), ("lon", 1320067584, 24.30623), ("lat", 1320067584, 60.07966),
    ("%EL", 1320067614, 98),
    ("%RH", 1320067644, 21.2), ("lon", 1320067644, 24.30628), ("lat", 1320067644, 60.07967),
]  # fmt: skip
TYPES_5_1_5 = """[
  {"bn":"urn:dev:ow:10e2073a01080063:","n":"temp","u":"Cel","v":23.1},
  {"n":"label","vs":"Machine Room"}, {"n":"open","vb":false}, {"n":"nfv-reader","vd":"aGkgCg"}
]"""
DEVICES_5_1_6 = """[
  {"bn":"2001:db8::2/","bt":1.320078429e+09,"n":"temperature","u":"Cel","v":25.2}, {"n":"humidity","u":"%RH","v":30},
  {"bn":"2001:db8::1/","n":"temperature","u":"Cel","v":12.3}, {"n":"humidity","u":"%RH","v":67}
]"""


def resolved(pack: str) -> list[Record]:
    resolver = Resolver()
    return [resolver.resolve(record) for record in json.loads(pack)]


def opened(folder: Path, text: str, **settings: Any) -> RecordedLog:
    log = folder / "log.senml"
    log.write_text(text, encoding="utf-8")
    return open_logs([log], LogSettings.model_validate(settings))


def whole(log: RecordedLog) -> Block:
    """All samples; volts and amps, or volts and temperature."""
    blocks = list(log.blocks())
    t_us, volts = np.concatenate([b.t_us for b in blocks]), np.concatenate([b.volts for b in blocks])
    amps, celsius = (
        None if any(getattr(b, name) is None for b in blocks) else np.concatenate([getattr(b, name) for b in blocks])
        for name in ("amps", "celsius")
    )
    return Block(t_us, volts, amps, celsius)


def test_multiple_data_points_resolve_to_the_printed_instants() -> None:
    voltage, *currents = resolved(CURRENT_5_1_2)
    assert voltage == Record("urn:dev:ow:10e2073a0108006:voltage", "V", 1276020076.001, 120.1)
    assert [record.value for record in currents] == [1.2, 1.3, 1.4, 1.5, 1.6, 1.7]
    assert [record.unit for record in currents] == ["A"] * 6
    # "current at Tue Jun 8 18:01:16.001 UTC 2010 and at each second for the previous 5 seconds"
    assert [record.time_s for record in currents] == pytest.approx([1276020071.001 + k for k in range(6)], abs=1e-6)


def test_the_printed_120_v_are_refused_as_no_12_v_battery(tmp_path: Path) -> None:
    log = opened(tmp_path, CURRENT_5_1_2)
    with pytest.raises(InputError, match=r"120\.1|no row holds volts"):
        list(log.blocks())


def test_multiple_data_points_become_samples_in_order_of_time(tmp_path: Path) -> None:
    # the same pack with the volts of a battery
    log = opened(tmp_path, CURRENT_5_1_2.replace("120.1", "12.01"))
    block = whole(log)
    assert block.t_us.tolist() == [1276020071001000 + k * SECOND_US for k in range(6)]
    assert block.amps is not None
    assert block.amps.tolist() == [1.2, 1.3, 1.4, 1.5, 1.6, 1.7]
    # volts and the last current bear one time: one sample; the others have no volts, which is unknown and not zero
    assert block.volts[-1] == 12.01
    assert np.isnan(block.volts[:-1]).all()
    assert log.ledger.refused == {}


def test_the_sign_of_the_current_is_the_owners_to_say(tmp_path: Path) -> None:
    # SenML says nothing of direction
    block = whole(opened(tmp_path, CURRENT_5_1_2.replace("120.1", "12.01"), amps={"positive": "discharge"}))
    assert block.amps is not None
    assert block.amps.tolist() == [-1.2, -1.3, -1.4, -1.5, -1.6, -1.7]


def test_multiple_measurements_resolve_to_the_printed_pack() -> None:
    records = resolved(PLACE_5_1_3)
    assert len(records) == 13
    assert {record.name for record in records} == {NAME}
    assert [(record.unit, record.time_s, record.value) for record in records] == RESOLVED_5_1_4


def test_a_pack_without_volts_amps_or_temperature_is_no_battery_log(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no SenML record in V"):
        opened(tmp_path, PLACE_5_1_3)


def test_data_types_are_kept_and_data_values_decoded() -> None:
    temperature, label, state, reader = resolved(TYPES_5_1_5)
    assert (temperature.value, temperature.unit) == (23.1, "Cel")
    assert label.value == "Machine Room"
    assert state.value is False
    assert reader.value == b"hi \n"


def test_the_last_record_of_a_collection_has_its_base_name_from_the_third_and_its_time_from_the_first() -> None:
    last = resolved(DEVICES_5_1_6)[3]
    assert last == Record("2001:db8::1/humidity", "%RH", 1320078429.0, 67.0)


def test_two_temperatures_in_one_pack_are_for_the_owner_to_choose_from(tmp_path: Path) -> None:
    # the collection of section 5.1.6 with volts of a battery added
    pack = json.dumps([*json.loads(DEVICES_5_1_6), {"n": "u", "u": "V", "v": 12.5}])
    block = whole(opened(tmp_path, pack, celsius={"column": "2001:db8::1/temperature"}))
    assert block.celsius is not None
    assert block.celsius.tolist() == [12.3]
    assert block.volts.tolist() == [12.5]


def test_2_to_the_28_divides_relative_from_absolute_time() -> None:
    # section 4.5.3
    below, above = resolved('[{"n":"u","u":"V","t":268435455,"v":1}, {"n":"u","u":"V","t":268435456,"v":1}]')
    assert below.is_relative
    assert not above.is_relative


def test_a_stream_is_read_like_its_pack(tmp_path: Path) -> None:
    # sections 4.8 and 5.1.2: a SensML stream is an array that is not closed yet
    pack = CURRENT_5_1_2.replace("120.1", "12.01")
    closed = whole(opened(tmp_path, pack))
    still_open = whole(opened(tmp_path, pack.rstrip("]\n")))
    assert still_open.t_us.tolist() == closed.t_us.tolist()


def test_a_higher_version_and_a_label_that_must_be_understood_are_refused(tmp_path: Path) -> None:
    # section 4.4
    for change in ('"bver":11', '"bver":5,"dose_":1'):
        with pytest.raises(InputError, match=r"RFC 8428 §4\.4"):
            opened(tmp_path, CURRENT_5_1_2.replace('"bver":5', change))
