from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import threading
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))
from commands import FOREIGN_STATION, HOLD, ForeignScale, run

KEYS = {
    "trace",
    "verdict",
    "reasons",
    "held_s",
    "span",
    "min_n",
    "mean_n",
    "max_n",
    "peak_n",
    "largest_gap_s",
    "guard_n",
    "conformance_probability",
    "blind_to_s",
}
HELD = "time_s,force,unit,status\n" + "".join(f"{n / 10},{30 + n % 2 / 10},lbf,\n" for n in range(12))


@pytest.fixture
def hold_file(tmp_path: Path) -> Path:
    """Write a hold of one second."""
    path = tmp_path / "hold.toml"
    path.write_text(HOLD)
    return path


def test_judge_answers_for_every_trace(capfd: pytest.CaptureFixture[str], tmp_path: Path, hold_file: Path) -> None:
    """Two traces give two answers with every key; one that is not held makes the status 1."""
    good, short = tmp_path / "good.csv", tmp_path / "short.csv"
    good.write_text(HELD)
    short.write_text(HELD.replace("0.5,30.1", "0.5,12.0"))
    held = run(capfd, "judge", good, "--hold", hold_file, "--uncertainty", "0.2 lbf", "--response", "0.1 s", "--json")
    assert held.status == 0
    assert set(held.json) == KEYS
    assert (held.json["verdict"], held.json["held_s"], held.json["span"]) == ("held", 1.0, [0.0, 1.0])
    assert held.json["guard_n"] == pytest.approx(0.2 * 4.4482216152605, abs=0.0005)
    both = run(capfd, "judge", good, short, "--hold", hold_file, "--uncertainty", "0.2 lbf", "--json")
    assert both.status == 1
    assert [each["verdict"] for each in both.lines] == ["held", "not-held"]
    assert both.lines[1]["reasons"] == ["short"]


def test_judge_without_a_known_uncertainty_proves_nothing(
    capfd: pytest.CaptureFixture[str], tmp_path: Path, hold_file: Path
) -> None:
    """Without --uncertainty a full hold is unproven, status 1, and its guard is null."""
    trace = tmp_path / "a.csv"
    trace.write_text(HELD)
    ran = run(capfd, "judge", trace, "--hold", hold_file, "--json")
    assert (ran.status, ran.json["verdict"], ran.json["reasons"]) == (1, "unproven", ["no-scale-check"])
    assert ran.json["guard_n"] is None
    assert ran.json["blind_to_s"] is None


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", ["is empty", "time_s,force,unit,status"]),
        ("time_s,force,unit,status\n", ["holds no reading"]),
        ("time_s;force;unit;status\n0;1;lbf;\n", ["semicolons"]),
        ("time_s,force,unit\n0,1,lbf\n", ["'status' is missing"]),
        ("time_s,force,unit,status,more\n0,1,lbf,,\n", ["'more'"]),
        ("time_s,force,unit,status\n0,30,lbf,\n1,30,lb,\n", ["line 3", "unit", "'lb'"]),
        ("time_s,force,unit,status\n0,,lbf,\n", ["line 2", "force", "''"]),
        ("time_s,force,unit,status\n0,nan,lbf,\n", ["line 2", "'nan'"]),
        ("time_s,force,unit,status\n0,inf,lbf,\n", ["line 2", "'inf'"]),
        ('time_s,force,unit,status\n0,"30,5",lbf,\n', ["line 2", "30,5", "point"]),
        ("time_s,force,unit,status\n0,30,5,lbf,\n", ["line 2", "5 fields", "point"]),
        ("time_s,force,unit,status\n0,1_0,lbf,\n", ["line 2", "1_0"]),
        ("time_s,force,unit,status\n0,\u0663\u0660,lbf,\n", ["line 2", "force", "expected a force"]),
        ("time_s,force,unit,status\n\uff11,30,lbf,\n", ["line 2", "time_s", "expected a time"]),
        ("time_s,force,unit,status\n0,30,lbf,steady\n", ["line 2", "status", "steady"]),
        ("time_s,force,unit,status\nx,30,lbf,\n", ["line 2", "time_s", "'x'"]),
        ("time_s,force,unit,status\n0,30,lbf,\n\n1,30,lbf,\n", ["line 3"]),
        ('time_s,force,unit,status\n0,"30,lbf,\n', ["CSV"]),
    ],
)
def test_bad_traces_are_refused_by_file_and_row(
    capfd: pytest.CaptureFixture[str], tmp_path: Path, hold_file: Path, text: str, words: list[str]
) -> None:
    """Each mistake in a trace gives status 2 and names file, row, what was found and what was expected."""
    trace = tmp_path / "bad.csv"
    trace.write_text(text)
    ran = run(capfd, "judge", trace, "--hold", hold_file)
    assert ran.status == 2
    assert ran.out == ""
    for word in ["bad.csv", *words]:
        assert word in ran.err
    assert "Traceback" not in ran.err


def test_a_bad_trace_outranks_a_good_one(capfd: pytest.CaptureFixture[str], tmp_path: Path, hold_file: Path) -> None:
    """The good trace is still answered, and the status is 2."""
    trace = tmp_path / "a.csv"
    trace.write_text(HELD)
    ran = run(capfd, "judge", tmp_path / "none.csv", trace, "--hold", hold_file, "--uncertainty", "0 lbf", "--json")
    assert ran.status == 2
    assert ran.json["verdict"] == "held"
    assert "none.csv: cannot be read" in ran.err


@pytest.mark.parametrize(
    "text",
    [
        "\ufeff" + HELD,
        HELD.replace("\n", "\r\n"),
        HELD + "\n\n",
        HELD.replace("time_s,force,unit,status", '"time_s",force,unit,status').replace('"', ""),
    ],
)
def test_marks_of_other_programs_are_accepted(
    capfd: pytest.CaptureFixture[str], tmp_path: Path, hold_file: Path, text: str
) -> None:
    """A byte-order mark, CRLF and blank lines at the end change nothing."""
    trace = tmp_path / "a.csv"
    trace.write_bytes(text.encode())
    assert run(capfd, "judge", trace, "--hold", hold_file, "--uncertainty", "0.2 lbf").status == 0


def test_a_time_going_back_is_a_verdict(capfd: pytest.CaptureFixture[str], tmp_path: Path, hold_file: Path) -> None:
    """Stamps that do not rise are judged void, not refused."""
    trace = tmp_path / "a.csv"
    trace.write_text(HELD + "0.05,30,lbf,\n")
    ran = run(capfd, "judge", trace, "--hold", hold_file, "--uncertainty", "0.2 lbf", "--json")
    assert (ran.status, ran.json["verdict"], ran.json["reasons"]) == (1, "void", ["clock"])


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (('low = "28 lbf"', 'low = "46 lbf"'), ["low", "46 lbf", "45 lbf"]),
        (('ceiling = "60 lbf"', 'ceiling = "40 lbf"'), ["ceiling", "40 lbf", "45 lbf"]),
        (('duration = "1 s"', 'duration = "0 s"'), ["duration", "0 s"]),
        (('duration = "1 s"', 'duration = "-1 s"'), ["duration", "-1 s"]),
        (('target = "30 lbf"', 'target = "30"'), ["target", "'30'", "30 lbf"]),
        (('target = "30 lbf"', "target = 30"), ["target", "30", "quotes"]),
        (('target = "30 lbf"', 'target = "30 lb"'), ["target", "write 30 lbf"]),
        (('target = "30 lbf"', 'tarjet = "30 lbf"'), ["unknown key", "'tarjet'", "'target'"]),
        (('ceiling = "60 lbf"', 'ceiling = "60 lbf"\nmax_gapp = "0.2 s"'), ["max_gapp", "max_gap"]),
        (('ceiling = "60 lbf"', 'ceiling = "60 lbf"\nmax_gap = "2 s"'), ["max_gap", "2 s", "1 s"]),
        (('ceiling = "60 lbf"', ""), ["ceiling", "rated_strength"]),
        (('ceiling = "60 lbf"', 'ceiling = "60 lbf"\nzero_limit = "28 lbf"'), ["zero_limit", "28 lbf"]),
        (
            ('ceiling = "60 lbf"', 'ceiling = "60 lbf"\nzero_limit = "-1 lbf"'),
            ["zero_limit", "−1 lbf", "or more"],
        ),
        (('ceiling = "60 lbf"', 'ceiling = "60 lbf"\ndecision = "gaurded"'), ["decision", "gaurded", "guarded"]),
        (('ceiling = "60 lbf"', 'ceiling = "60 lbf'), ["not valid TOML"]),
        (("[hold]", "[hodl]"), ["hold"]),
        (('target = "30 lbf"', 'target = "10 %"'), ["target", "rated"]),
        (('ceiling = "60 lbf"', 'ceilling = "60 lbf"'), ["ceilling", "ceiling"]),
        (
            ('ceiling = "60 lbf"', 'ceiling = "60 lbf"\nrated_strength = "50 lbf"'),
            ["ceiling", "60 lbf", "50 lbf"],
        ),
    ],
)
def test_bad_hold_files_are_refused_by_key(
    capfd: pytest.CaptureFixture[str], tmp_path: Path, hold_file: Path, change: tuple[str, str], words: list[str]
) -> None:
    """Each mistake in a hold file gives status 2 and names file and key with both figures."""
    hold_file.write_text(HOLD.replace(*change))
    trace = tmp_path / "a.csv"
    trace.write_text(HELD)
    ran = run(capfd, "judge", trace, "--hold", hold_file)
    assert ran.status == 2
    for word in ["hold.toml", *words]:
        assert word in ran.err
    assert "Traceback" not in ran.err


def test_shares_of_the_rated_strength(capfd: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """The round reserve's hold is a tenth of the rated strength, which the option gives."""
    trace = tmp_path / "a.csv"
    trace.write_text("time_s,force,unit,status\n0,40,lbf,\n900,40,lbf,\n")
    hold = Path("config/holds/round-reserve.toml")
    refused = run(capfd, "judge", trace, "--hold", hold)
    assert (refused.status, "rated strength" in refused.err) == (2, True)
    judged = run(capfd, "judge", trace, "--hold", hold, "--rated-strength", "400 lbf", "--json")
    assert judged.json["reasons"] == ["short"]
    none = run(capfd, "judge", trace, "--hold", hold, "--rated-strength", "0 lbf")
    assert (none.status, "'--rated-strength'" in none.err or "--rated-strength:" in none.err) == (2, True)
    assert "round-reserve.toml" not in none.err


# ------------------------------------------------------------------ on real ports


def station_file(tmp_path: Path) -> Path:
    """Write the station file of the scale of another make."""
    path = tmp_path / "station.toml"
    path.write_text(FOREIGN_STATION.format(url=tmp_path / "scale") + HOLD)
    return path


def test_a_foreign_scale_is_read_from_a_station_file_alone(capfd: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """A scale in a frame format of its own is judged held and filed; the events come in order."""
    with ForeignScale(tmp_path / "scale"):
        ran = run(capfd, "hold", "--station", station_file(tmp_path), "--archive", tmp_path / "a.sqlite", "--json")
    assert ran.status == 0, ran.err
    events = [line["event"] for line in ran.lines]
    assert events[0] == "link-up"
    assert events[-3:] == ["in-band", "complete", "verdict"] or events[-2:] == ["complete", "verdict"]
    assert ran.lines[-1]["verdict"] == "held"
    assert set(ran.lines[-1]) == (KEYS - {"trace"}) | {"event", "at_s"}
    assert all("at_s" in line for line in ran.lines)
    checked = run(capfd, "records", "verify", "--archive", tmp_path / "a.sqlite", "--json")
    assert (checked.status, checked.json["holds"], checked.json["damaged"]) == (0, 1, [])


def test_too_light_a_pull_times_out_not_held(capfd: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """A pull below the band is not held when the time is up."""
    with ForeignScale(tmp_path / "scale", lbf=22.0):
        ran = run(capfd, "hold", "--station", station_file(tmp_path), "--timeout", "1.5 s", "--json")
    assert (ran.status, ran.lines[-1]["reasons"]) == (1, ["never-in-band"])


def test_a_hold_named_on_the_line_outranks_what_the_station_says(
    capfd: pytest.CaptureFixture[str], tmp_path: Path, hold_file: Path
) -> None:
    """A station's hold that lacks the rated strength or passes the scale's capacity is no matter where another is."""
    for change in (('target = "30 lbf"', 'target = "10 %"'), ('ceiling = "60 lbf"', 'ceiling = "900 lbf"')):
        station = station_file(tmp_path)
        station.write_text(station.read_text().replace(*change))
        assert run(capfd, "hold", "--station", station, "--timeout", "0.2 s").status == 2
        ran = run(capfd, "hold", "--station", station, "--hold", hold_file, "--timeout", "0.2 s")
        assert (ran.status, "no frame" in ran.err) == (3, True)


def test_no_scale_is_status_3(capfd: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """Where no frame ever comes there is no verdict: status 3, and what to look at."""
    ran = run(capfd, "hold", "--station", station_file(tmp_path), "--timeout", "0.5 s", "--json")
    assert ran.status == 3
    assert all(line["event"] == "link-lost" for line in ran.lines)
    assert "no frame" in ran.err


def test_garbage_alone_is_status_3(capfd: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """Bytes that are no frame are no reading: status 3."""
    station = station_file(tmp_path)
    station.write_text(station.read_text().replace('units = { "p"', 'units = { "q"'))
    with ForeignScale(tmp_path / "scale"):
        assert run(capfd, "hold", "--station", station, "--timeout", "1 s", "--json").status == 3


def test_unplugged_in_mid_hold_and_back(capfd: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """The span ends with the cable; the link comes back by itself, and a later full span is held."""
    station = station_file(tmp_path)
    station.write_text(station.read_text().replace('duration = "1 s"', 'duration = "2 s"'))
    with ForeignScale(tmp_path / "scale") as scale:
        cable = threading.Timer(1.2, scale.unplug_and_back, [0.5])
        cable.start()
        ran = run(capfd, "hold", "--station", station, "--archive", tmp_path / "a.sqlite", "--json")
        cable.join()
    events = [line["event"] for line in ran.lines]
    assert ran.status == 0, ran.out + ran.err
    assert events.index("link-lost") < events.index("broken")
    assert events.count("link-up") == 2
    broken = next(line for line in ran.lines if line["event"] == "broken")
    assert broken["why"] == "gap"
    assert ran.lines[-1]["verdict"] == "held"


def test_a_verdict_that_was_shown_survives_kill(tmp_path: Path) -> None:
    """The process is killed the moment the verdict is read from its output; the archive has it, whole."""
    words = ["hold", "--station", station_file(tmp_path), "--archive", tmp_path / "a.sqlite", "--json"]
    command = [sys.executable, "-c", "from station.cli import main; main()", *map(str, words)]
    with (
        ForeignScale(tmp_path / "scale"),
        subprocess.Popen(command, stdout=subprocess.PIPE, text=True, stderr=subprocess.DEVNULL) as process,
    ):
        assert process.stdout is not None
        for line in process.stdout:
            if json.loads(line)["event"] == "verdict":
                os.kill(process.pid, signal.SIGKILL)
                break
        process.wait()
    command[3:] = ["records", "verify", "--archive", str(tmp_path / "a.sqlite"), "--json"]
    checked = json.loads(subprocess.run(command, capture_output=True, text=True, check=True).stdout)
    assert (checked["holds"], checked["damaged"]) == (1, [])


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (('capacity = "100 lbf"', 'capacity = "50 lbf"'), ["ceiling", "60 lbf", "50 lbf"]),
        (('format = "text"', 'format = "txt"'), ["format", "'txt'", "text"]),
        (("{{value}}".replace("{{", "{").replace("}}", "}"), "{valeu}"), ["valeu", "value"]),
        (('end = "\\r"\n', ""), ["end"]),
        (('uncertainty_until = "2099-01-01"\n', ""), ["uncertainty_until"]),
        (('uncertainty_until = "2099-01-01"', 'uncertainty_until = "next year"'), ["uncertainty_until", "next year"]),
        (("[station]\nname", "[station]\nnaem"), ["name"]),
        (('period = "0.01 s"', 'perriod = "0.01 s"'), ["perriod", "period"]),
        (('period = "0.01 s"', "baud = 9600.5"), ["baud", "9600.5"]),
        (('"p" = "lbf"', '"p" = "pounds"'), ["pounds", "lbf"]),
    ],
)
def test_bad_station_files_are_refused_by_key(
    capfd: pytest.CaptureFixture[str], tmp_path: Path, change: tuple[str, str], words: list[str]
) -> None:
    """Each mistake in a station file gives status 2 and names file and key."""
    station = station_file(tmp_path)
    text = station.read_text()
    assert change[0] in text
    station.write_text(text.replace(*change))
    ran = run(capfd, "hold", "--station", station)
    assert ran.status == 2
    for word in ["station.toml", *words]:
        assert word in ran.err


def test_stopping_by_keyboard_judges_and_files_what_was_read(tmp_path: Path) -> None:
    """Ctrl-C in mid-hold closes the trace: the verdict is told, and the archive has it."""
    station = station_file(tmp_path)
    station.write_text(station.read_text().replace('duration = "1 s"', 'duration = "60 s"'))
    words = ["hold", "--station", station, "--archive", tmp_path / "a.sqlite", "--json"]
    command = [sys.executable, "-c", "from station.cli import main; main()", *map(str, words)]
    told = []
    with ForeignScale(tmp_path / "scale"), subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        for line in process.stdout:
            told.append(json.loads(line))
            if told[-1]["event"] == "in-band":
                process.send_signal(signal.SIGINT)
        assert process.wait() == 1
    assert (told[-1]["event"], told[-1]["reasons"]) == ("verdict", ["short"])
    command[3:] = ["records", "verify", "--archive", str(tmp_path / "a.sqlite"), "--json"]
    checked = json.loads(subprocess.run(command, capture_output=True, text=True, check=True).stdout)
    assert checked["holds"] == 1


def test_a_response_below_zero_is_refused(capfd: pytest.CaptureFixture[str], tmp_path: Path, hold_file: Path) -> None:
    """No scale answers before it is asked."""
    trace = tmp_path / "a.csv"
    trace.write_text(HELD)
    assert run(capfd, "judge", trace, "--hold", hold_file, "--response", "-1 s").status == 2


def test_an_uncertainty_out_of_date_is_unknown(capfd: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """A typed uncertainty past its day proves nothing."""
    station = station_file(tmp_path)
    station.write_text(station.read_text().replace("2099-01-01", "2020-01-01"))
    with ForeignScale(tmp_path / "scale"):
        ran = run(capfd, "hold", "--station", station, "--json")
    assert (ran.status, ran.lines[-1]["reasons"]) == (1, ["no-scale-check"])


@pytest.mark.parametrize(
    "words", [["jugde"], ["judge"], ["hold"], ["judge", "a.csv", "--hold", "b.toml", "--uncertainty", "2"]]
)
def test_wrong_usage_is_status_2(capfd: pytest.CaptureFixture[str], words: list[str]) -> None:
    """A misspelt command, a missing argument and a bare number are usage faults: status 2."""
    assert run(capfd, *words).status == 2


def test_a_hold_is_signed_with_the_key_that_is_named(capfd: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """--key signs what is filed; a file that is no key, none at all, and a key without an archive are told first."""
    pytest.importorskip("cryptography", reason="signing needs the extra sign")
    station, archive, key = tmp_path / "station.toml", tmp_path / "a.sqlite", tmp_path / "bench.key"
    station.write_text(FOREIGN_STATION.format(url=tmp_path / "scale") + HOLD)
    at = ("hold", "--station", station)
    alone = run(capfd, *at, "--key", key)
    assert (alone.status, "name the archive with --archive" in alone.err) == (2, True)
    missing = run(capfd, *at, "--archive", archive, "--key", key)
    assert (missing.status, "bench.key" in missing.err, "Traceback" in missing.err) == (2, True, False)
    public = run(capfd, "records", "key", key, "--json").json["public"]
    with ForeignScale(tmp_path / "scale"):
        ran = run(capfd, *at, "--archive", archive, "--key", key, "--timeout", "3 s", "--json")
    assert ran.lines[-1]["event"] == "verdict"
    verified = run(capfd, "records", "verify", "--archive", archive, "--key", public, "--json")
    assert verified.status == 0
    assert verified.json["keys"] == {public: verified.json["entries"]}
