"""SenML logs. The examples are those of RFC 8428, §5.1 and §4."""

import gzip
import json

import numpy as np
import pytest

from monitor.sources.senml import Record, Resolver
from tests.sources.conftest import Read, Refused

MULTIPLE = """[
  {"bn":"urn:dev:ow:10e2073a01080063:","bt":1.276020076001e+09,"bu":"A","bver":5,"n":"voltage","u":"V","v":120.1},
  {"n":"current","t":-5,"v":1.2},
  {"n":"current","t":-4,"v":1.3},
  {"n":"current","t":-3,"v":1.4},
  {"n":"current","t":-2,"v":1.5},
  {"n":"current","t":-1,"v":1.6},
  {"n":"current","v":1.7}
]"""  # §5.1.2
MOVING = """[
  {"bn":"urn:dev:ow:10e2073a01080063","bt":1.320067464e+09,"bu":"%RH","v":20},
  {"u":"lon","v":24.30621}, {"u":"lat","v":60.07965},
  {"t":60,"v":20.3}, {"u":"lon","t":60,"v":24.30622}, {"u":"lat","t":60,"v":60.07965},
  {"t":120,"v":20.7}, {"u":"lon","t":120,"v":24.30623}, {"u":"lat","t":120,"v":60.07966},
  {"u":"%EL","t":150,"v":98},
  {"t":180,"v":21.2}, {"u":"lon","t":180,"v":24.30628}, {"u":"lat","t":180,"v":60.07967}
]"""  # §5.1.3
COLLECTION = """[
  {"bn":"2001:db8::2/","bt":1.320078429e+09,"n":"temperature","u":"Cel","v":25.2},
  {"n":"humidity","u":"%RH","v":30},
  {"bn":"2001:db8::1/","n":"temperature","u":"Cel","v":12.3},
  {"n":"humidity","u":"%RH","v":67}
]"""  # §5.1.6


def _resolved(pack: str) -> list[Record]:
    resolver = Resolver()
    return [resolver.resolve(record) for record in json.loads(pack)]


def test_several_measurements_of_the_rfc() -> None:
    records = _resolved(MULTIPLE)
    assert records[0] == Record("urn:dev:ow:10e2073a01080063:voltage", "V", 1276020076.001, 120.1)
    assert [r.value for r in records[1:]] == [1.2, 1.3, 1.4, 1.5, 1.6, 1.7]
    assert {r.unit for r in records[1:]} == {"A"}
    times = [r.time_s for r in records[1:]]
    np.testing.assert_allclose(
        times, np.arange(1276020071.001, 1276020077), atol=1e-6, rtol=0
    )  # doubles: 2.4e-7 s apart


def test_moving_sensor_of_the_rfc() -> None:
    records = _resolved(MOVING)
    assert len(records) == 13
    assert [(r.time_s, r.value) for r in records if r.unit == "%EL"] == [(1320067614.0, 98.0)]


def test_collection_of_the_rfc() -> None:
    fourth = _resolved(COLLECTION)[3]
    assert (fourth.name, fourth.time_s) == ("2001:db8::1/humidity", 1320078429.0)


def test_data_value_of_the_rfc() -> None:
    assert Resolver().resolve({"n": "nfc-reader", "vd": "aGkgCg"}).value == b"hi \n"


def test_the_border_between_relative_and_absolute_times() -> None:
    assert Resolver().resolve({"n": "a", "t": 268435455, "v": 1}).is_relative
    assert not Resolver().resolve({"n": "a", "t": 268435456, "v": 1}).is_relative


def test_a_base_value_is_added() -> None:
    assert Resolver().resolve({"bn": "u", "bv": 12, "v": 0.5}).value == 12.5


def test_a_pack_as_a_log(read: Read) -> None:
    # the figures of §5.1.2 are those of a 120 V supply
    whole = read(MULTIPLE, nominal_v=120.0)
    assert whole.log.channels == ("volts", "amps")
    assert whole.volts[-1] == 120.1
    assert whole.amps is not None
    assert whole.amps.tolist() == [1.2, 1.3, 1.4, 1.5, 1.6, 1.7]
    assert whole.ledger.samples == 6
    assert whole.log.merged == 1  # the current and the voltage of 1276020076.001


STREAM = "".join(
    f'{{"n":"bat:u","u":"{u}","t":{1700000000 + i},"v":{v}}}\n{{"n":"bat:i","u":"mA","t":{1700000000 + i},"v":-30}}\n'
    f'{{"n":"bat:t","u":"Cel","t":{1700000000 + i},"v":18.5}}\n'
    for i, (u, v) in enumerate([("V", 12.5), ("mV", 12400), ("V", 12.3)])
)


@pytest.mark.parametrize("content", [STREAM, gzip.compress(STREAM.encode()), "[" + ",".join(STREAM.splitlines()) + "]"])
def test_streams_and_packs_with_units_and_thousandths(read: Read, content: str | bytes) -> None:
    whole = read(content, names=("log.jsonl",))
    np.testing.assert_allclose(whole.volts, [12.5, 12.4, 12.3], rtol=2**-52)  # one multiplication by a rounded factor
    assert whole.amps is not None
    assert whole.amps.tolist() == [-0.03] * 3
    assert whole.celsius is not None
    assert whole.celsius.tolist() == [18.5] * 3
    assert whole.ledger.refused == {}


def test_a_pack_a_line_each_with_its_own_bases(read: Read) -> None:
    lines = [f'[{{"bn":"u","bu":"V","bt":{1700000000 + i},"v":12.{i}}},{{"t":1.5,"v":12.9}}]' for i in range(0, 6, 3)]
    whole = read("\n".join(lines) + "\n")
    assert [t - 1.7e9 for t in whole.seconds] == [0, 1.5, 3, 4.5]


def test_a_pack_that_lists_one_channel_after_the_other_is_put_in_order(read: Read) -> None:
    records = [{"n": n, "u": u, "t": 1700000000 + i, "v": 12} for n, u in (("u", "V"), ("i", "A")) for i in range(100)]
    whole = read(json.dumps(records))
    assert len(whole.t_us) == 100
    assert whole.ledger.clock_steps == []
    assert whole.log.merged == 100


def test_a_pack_cut_off_keeps_the_records_before_the_cut(read: Read) -> None:
    pack = "[" + ",\n".join(f'{{"n":"u","u":"V","t":{1700000000 + i},"v":12.5}}' for i in range(10)) + "]"
    whole = read(pack[:-20])
    assert len(whole.t_us) == 9
    assert whole.ledger.refused == {"cut-off last line": 1}
    assert whole.ledger.first["cut-off last line"][0].line == 10


def test_garbage_between_the_lines_of_a_stream(read: Read) -> None:
    lines = STREAM.splitlines(keepends=True)
    whole = read("".join([*lines[:3], "garbage\n", '{"n":"bat:u","u":"V","t":17000\n', *lines[3:]]))
    assert len(whole.t_us) == 3
    assert whole.ledger.refused == {"not a SenML record": 2}
    assert [line.line for line in whole.ledger.first["not a SenML record"]] == [4, 5]


@pytest.mark.parametrize(
    "record",
    ['{"n":"bat:u","u":"V","t":"now","v":12}', '{"n":1,"v":12}', '{"n":"bat:u","u":"V","v":1,"vs":"x"}', '{"vd":"!"}'],
)
def test_records_that_break_the_rules_are_refused(read: Read, record: str) -> None:
    assert read(STREAM + record + "\n").ledger.refused == {"not a SenML record": 1}


def test_a_later_version_is_not_used(refused: Refused) -> None:
    assert "version 11" in refused('[{"bver":11,"n":"u","u":"V","t":1700000000,"v":12.5}]').what


def test_a_label_that_must_be_understood(refused: Refused) -> None:
    error = refused('[{"n":"u","u":"V","t":1700000000,"v":12.5},\n{"n":"u","u":"V","t":1700000001,"v":12.5,"mode_":1}]')
    assert 'line 2: label "mode_"' in error.what


def test_unknown_labels_are_ignored(read: Read) -> None:
    assert read('[{"n":"u","u":"V","t":1700000000,"v":12.5,"mode":1}]').volts.tolist() == [12.5]


def test_json_that_is_no_senml(refused: Refused) -> None:
    assert "no SenML record" in refused('{"name": "estate car", "colour": "blue"}\n').what


def test_two_voltages_that_fit_equally(refused: Refused) -> None:
    pack = '[{"n":"a","u":"V","t":1700000000,"v":12.5},{"n":"b","u":"V","t":1700000000,"v":12.5}]'
    assert "a, b" in refused(pack).what
