"""What the vehicle is doing now, as the service tells it while it goes on."""

from monitor.base.samples import SECOND_US
from monitor.detect import Engine, Facts
from monitor.detect.now import condition
from tests.detect.scene import T0, Scene

SLEEP_A = 0.018


def drive() -> Scene:
    return Scene().asleep(4000, SLEEP_A).crank().running(1200)


def last(scene: Scene, volts_only: bool = False):
    engine = Engine(Facts())
    block = scene.read(1.0, seed=3)
    engine.update(type(block)(block.t_us, block.volts) if volts_only else block)
    return condition(engine)


def test_nothing_is_said_before_anything_is_known():
    assert condition(Engine(Facts())) is None


def test_it_runs_from_its_start():
    found = last(drive())
    assert (found.state, found.sleep_a) == ("running", None)
    assert abs(found.since - T0 - 4004 * SECOND_US) <= 2 * SECOND_US


def test_a_stop_is_doubted_until_it_is_certain_then_it_settles_and_then_it_sleeps():
    scene = drive()
    stop_s = scene.now_s
    doubted = last(scene.shutdown())
    settling = last(scene.load(500, -0.9).load(400, -0.4))
    assert (doubted.state, settling.state) == ("stopping", "settling")
    assert all(abs(found.since - T0 - stop_s * SECOND_US) <= 2 * SECOND_US for found in (doubted, settling))
    asleep_s = scene.now_s
    found = last(scene.asleep(5000, SLEEP_A))
    assert (found.state, found.wakes) == ("asleep", 0)
    assert abs(found.since - T0 - asleep_s * SECOND_US) <= 10 * SECOND_US
    assert abs(found.sleep_a - SLEEP_A) < 0.0005


def test_a_wake_up_that_goes_on_is_one_from_its_beginning_and_is_counted_when_it_is_over():
    scene = drive().shutdown().asleep(5000, SLEEP_A)
    wakes_s = scene.now_s
    found = last(scene.load(60, -1.5))
    assert (found.state, found.wakes) == ("awake", 0)
    assert abs(found.since - T0 - wakes_s * SECOND_US) <= SECOND_US
    found = last(scene.asleep(4000, SLEEP_A))
    assert (found.state, found.wakes) == ("asleep", 1)
    assert found.since < T0 + wakes_s * SECOND_US


def test_without_amps_it_stands():
    assert last(drive().shutdown().asleep(5000, SLEEP_A), volts_only=True).state == "standing"
