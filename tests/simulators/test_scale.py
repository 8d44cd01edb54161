from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.events import Frame, Noise
from drivers.modbus_rtu import ModbusDecoder, ModbusFormat, question
from drivers.text_frames import TextDecoder, TextFormat
from simulators.scale import ScaleModel, Sent, SetZero, Source, SwitchUnit, VirtualScale
from simulators.scenarios import CHECKED, MODBUS, WORDED
from station.units import force_n, in_unit

S = 1_000_000
LBF_N = force_n("1 lbf")
QUIET = ScaleModel(WORDED, "lbf", rate_hz=10.0, response_us=0, noise_n=0.0)


def at(pounds: float) -> Source:
    """Give a true tension that never changes."""
    return lambda _at_us: pounds * LBF_N


def frames(model: ScaleModel, sent: list[Sent]) -> list[Frame]:
    """Give what the production decoder reads in the bytes; noise among them fails the test."""
    found = TextDecoder(model.format).feed(b"".join(raw for _, raw in sent))
    assert all(isinstance(each, Frame) for each in found)
    return [each for each in found if isinstance(each, Frame)]


@pytest.mark.parametrize(
    "format_", [WORDED, CHECKED, TextFormat("{value}", b"\r", "kgf"), replace(WORDED, decimal=",")]
)
@given(pounds=st.floats(-5, 99.9))
def test_production_decoder_reads_the_true_tension_to_within_half_a_step(format_: TextFormat, pounds: float):
    """What the production decoder reads in a quiet scale's bytes is the true tension, rounded to a step."""
    model = replace(QUIET, format=format_, unit=format_.unit or "lbf")
    (frame,) = frames(model, VirtualScale(1, model).bytes_until(0, at(pounds)))
    step = in_unit(model.resolution_n, model.unit)
    assert frame.unit == model.unit
    assert frame.force is not None
    assert abs(frame.force - in_unit(pounds * LBF_N, model.unit)) <= step / 2 + 1e-4
    assert frame.force / step == pytest.approx(round(frame.force / step), abs=0.01)


def test_scale_measures_at_its_own_rate():
    """A scale of 80 readings a second sends 81 frames in the first second, both ends counted, 12.5 ms apart."""
    sent = VirtualScale(1, replace(QUIET, rate_hz=80.0)).bytes_until(1 * S, at(30))
    assert [each.at_us for each in sent] == [12_500 * n for n in range(81)]


@given(st.lists(st.integers(0, 300_000), min_size=1, max_size=30))
def test_how_often_it_is_asked_changes_nothing(steps_us: list[int]):
    """The bytes of a scale with noise are the same however often they are fetched."""
    model = replace(QUIET, noise_n=2.0, response_us=300_000)
    pieces, whole = VirtualScale(5, model), VirtualScale(5, model)
    source: Source = lambda at_us: 100 + at_us / 1e5  # noqa: E731  # a line rising slowly
    at_us, sent = 0, []
    for step_us in steps_us:
        at_us += step_us
        sent += pieces.bytes_until(at_us, source)
    assert sent == whole.bytes_until(at_us, source)


def test_same_seed_gives_the_same_bytes_and_another_seed_others():
    """Noise is drawn from the seed alone."""
    model = replace(QUIET, noise_n=0.5)
    first, again, other = (VirtualScale(seed, model).bytes_until(3 * S, at(30)) for seed in (1, 1, 2))
    assert first == again
    assert first != other


def test_lag_shows_63_percent_of_a_step_after_its_time_constant():
    """A first-order lag has followed a step by 1 - 1/e after its time constant, and by 95 % when settled."""
    model = replace(QUIET, rate_hz=1000.0, response_us=200_000)
    step: Source = lambda at_us: 0.0 if at_us == 0 else 50 * LBF_N  # noqa: E731  # a step of load
    forces = [frame.force for frame in frames(model, VirtualScale(1, model).bytes_until(1 * S, step))]
    assert forces[200] == pytest.approx(50 * (1 - math.exp(-1)), rel=0.01)
    assert forces[model.settling_us // 1000] == pytest.approx(50 * 0.95, rel=0.01)


def test_overloaded_scale_sends_dashes_and_no_number():
    """Above its capacity a scale says overload, and its frame holds dashes and no digit."""
    model = replace(QUIET, capacity_n=50 * LBF_N)
    (sent,) = VirtualScale(1, model).bytes_until(0, at(50.1))
    assert b"-" in sent.raw
    assert not any(chr(byte).isdigit() for byte in sent.raw)
    assert frames(model, [sent]) == [Frame(None, "lbf", "overload")]


def test_zero_key_makes_the_present_indication_zero():
    """After the zero key everything reads lower by what was on the scale; the overload is judged on the load."""
    model = replace(QUIET, capacity_n=40 * LBF_N)
    scale = VirtualScale(1, model, [SetZero(150_000)])
    assert [frame.force for frame in frames(model, scale.bytes_until(300_000, at(30)))] == [30, 30, 0, 0]
    assert [frame.force for frame in frames(model, scale.bytes_until(400_000, at(35)))] == [5]
    assert frames(model, scale.bytes_until(500_000, at(41)))[0].status == "overload"


def test_unit_key_shows_the_same_pull_in_another_unit():
    """After the unit key the number and its unit change together."""
    scale = VirtualScale(1, QUIET)
    scale.press(SwitchUnit(100_000, "kgf"))
    before, after = frames(QUIET, scale.bytes_until(100_000, at(30)))
    assert (before.force, before.unit) == (30, "lbf")
    assert after.unit == "kgf"
    assert after.force == pytest.approx(13.608, abs=0.005)


def test_offset_and_drift_add_to_the_reading():
    """A zero offset is there from the beginning, a drift grows with time."""
    model = replace(QUIET, zero_offset_n=0.5 * LBF_N, drift_n_per_s=0.1 * LBF_N)
    forces = [frame.force for frame in frames(model, VirtualScale(1, model).bytes_until(10 * S, at(0)))]
    assert (forces[0], forces[-1]) == (0.5, 1.5)


def test_moving_number_is_said_to_be_unstable():
    """While the load rises by more than two steps a reading the scale says unstable, then stable."""
    rising: Source = lambda at_us: min(at_us, 300_000) / 1e6 * LBF_N  # noqa: E731  # 0.1 lbf a reading
    words = [frame.status for frame in frames(QUIET, VirtualScale(1, QUIET).bytes_until(500_000, rising))]
    assert words == ["stable", "unstable", "unstable", "unstable", "stable", "stable"]


def test_polled_scale_speaks_only_when_asked_in_whole():
    """A polled scale sends nothing by itself, and answers each whole request once, in pieces or not."""
    model = replace(QUIET, request=b"?\r")
    scale = VirtualScale(1, model)
    assert scale.bytes_until(500_000, at(30)) == []
    assert scale.answer(600_000, b"?", at(30)) == []
    assert [frame.force for frame in frames(model, scale.answer(610_000, b"\r", at(30)))] == [30]
    assert len(scale.answer(700_000, b"nonsense?\r?\r", at(30))) == 2
    assert scale.answer(700_001, b"x" * 100_000, at(30)) == []
    assert VirtualScale(1, QUIET).answer(0, b"?\r", at(30)) == []


def test_impossible_scale_is_refused():
    """A scale without a rate and one with a noise below zero are refused."""
    with pytest.raises(ValueError, match="above zero"):
        replace(QUIET, rate_hz=0.0)
    with pytest.raises(ValueError, match="below zero"):
        replace(QUIET, noise_n=-1.0)


def test_a_modbus_scale_answers_any_master():
    """Any registers it has are told, others and other functions are refused, another's address is left in silence."""
    model = replace(QUIET, format=MODBUS, request=question(MODBUS))
    scale = VirtualScale(1, model)

    def told(form: ModbusFormat, before: bytes = b"") -> list[Frame | Noise]:
        decoder = ModbusDecoder(form)
        asked = decoder.request()
        early = scale.answer(0, before + asked[:3], at(30.0))
        late = scale.answer(0, asked[3:], at(30.0))
        return [event for sent in (*early, *late) for event in decoder.feed(sent.raw)]

    number_alone = replace(MODBUS, status_register=None, status={})
    assert told(MODBUS) == [Frame(30.0, "lbf", "stable")]
    assert told(number_alone, before=b"\xff") == [Frame(30.0, "lbf", None)]
    assert told(replace(number_alone, address=9)) == []
    for form, exception in ((replace(number_alone, register=2), "2"), (replace(number_alone, function=4), "1")):
        (refused,) = told(form)
        assert isinstance(refused, Noise)
        assert f"exception {exception}" in refused.why
