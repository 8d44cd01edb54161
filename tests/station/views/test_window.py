from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import replace

import pytest
from PyQt6.QtCore import QRectF, Qt, QTimer
from PyQt6.QtWidgets import QApplication, QLabel
from pytestqt.qtbot import QtBot

from drivers.events import Event, Reading, Tick
from station.at_window import AtWindow
from station.bench.snapshot import Command, Snapshot, Words, tap_of
from station.records.entries import HoldJudged
from station.views.pictures import texts_shown
from station.views.saying import second_from_afar
from station.views.steps import COMMAND_WORDS
from station.views.window import COMMAND_KEYS, PEDAL_KEYS, BenchWindow
from tests.station.bench.workbench import Workbench
from tests.station.views.gallery import GALLERY
from tests.station.views.shown import Bench, key

EVERYTHING: tuple[Command, ...] = (
    "done",
    "back",
    "level",
    "by hand",
    "override",
    "inspect",
    "sign",
    "scrap",
    "release",
)


@pytest.mark.parametrize("which", [Qt.Key.Key_Space, Qt.Key.Key_Return, Qt.Key.Key_Enter])
def test_space_and_return_do_what_a_tap_does(qtbot: QtBot, which: Qt.Key) -> None:
    """Space, Return and Enter send what a tap does: done, or level where lines are compared."""
    bench = Bench(qtbot, "marking")
    qtbot.keyClick(bench.window, which)
    assert bench.sent == ["done"]
    bench.snapshot = GALLERY["comparing"]()
    bench.draw()
    qtbot.keyClick(bench.window, which)
    assert bench.sent == ["done", "level"]


def test_where_no_tap_counts_one_is_sent_only_to_be_answered_with_why(qtbot: QtBot) -> None:
    """In a hold that runs Space sends nothing; where other things can be done it goes to the bench, which says why."""
    bench = Bench(qtbot, "pre_stretch")
    qtbot.keyClick(bench.window, Qt.Key.Key_Space)
    assert bench.sent == []
    bench.snapshot = GALLERY["over_ceiling"]()
    bench.draw()
    qtbot.keyClick(bench.window, Qt.Key.Key_Space)
    assert bench.sent == ["done"]


def test_each_command_has_its_key_and_only_while_it_is_offered(qtbot: QtBot) -> None:
    """The letter on a button sends its command while it is offered, and nothing otherwise."""
    bench = Bench(qtbot, "marking")
    bench.change(commands=EVERYTHING)
    for which, command in COMMAND_KEYS.items():
        bench.sent.clear()
        qtbot.keyClick(bench.window, which)
        assert bench.sent == ([command] if command in EVERYTHING else [])
    bench.change(commands=())
    bench.sent.clear()
    for which in COMMAND_KEYS:
        qtbot.keyClick(bench.window, which)
    assert bench.sent == []


def test_a_key_that_repeats_counts_once(qtbot: QtBot) -> None:
    """A key held down until it repeats sends its command, or its pedal's level, once."""
    bench = Bench(qtbot, "marking")
    for which in (Qt.Key.Key_Space, Qt.Key.Key_Backspace, Qt.Key.Key_F13):
        key(bench.window, which, down=True)
        for _ in range(5):
            key(bench.window, which, down=False, repeats=True)
            key(bench.window, which, down=True, repeats=True)
        key(bench.window, which, down=False)
    assert bench.sent == ["done", "back"]
    assert bench.pedal == [True, False]


@pytest.mark.parametrize("which", sorted(PEDAL_KEYS, key=int))
def test_a_pedal_that_is_a_keyboard_gives_levels(qtbot: QtBot, which: Qt.Key) -> None:
    """F13 to F24 give down and up, also while a button has the focus, and never a command."""
    bench = Bench(qtbot, "marking")
    bench.window.foot.buttons[1].setFocus(Qt.FocusReason.TabFocusReason)
    target = QApplication.focusWidget()
    assert target is bench.window.foot.buttons[1]
    key(target, which, down=True)
    key(target, which, down=False)
    assert bench.pedal == [True, False]
    assert bench.sent == []


def test_there_are_twelve_pedal_keys() -> None:
    """A keyboard pedal may send any key from F13 to F24."""
    assert len(PEDAL_KEYS) == 12


def test_tab_walks_the_buttons_and_the_focus_is_seen(qtbot: QtBot) -> None:
    """Tab goes from button to button, and the one with the focus looks different."""
    bench = Bench(qtbot, "sign_off")
    buttons = [*bench.window.foot.buttons, bench.window.switches.sound, bench.window.switches.far]
    assert [button.text() for button in buttons[:3]] == ["Sign off", "Second person", "Back"]
    plain = [button.grab().toImage() for button in buttons]
    for place, button in enumerate(buttons):
        qtbot.keyClick(QApplication.focusWidget() or bench.window, Qt.Key.Key_Tab)
        assert QApplication.focusWidget() is button
        assert button.grab().toImage() != plain[place]


def test_the_window_has_the_focus_until_tab_gives_it_away(qtbot: QtBot) -> None:
    """The window has the focus when it opens, and again once the button that had it is offered no more."""
    bench = Bench(qtbot, "marking")
    assert QApplication.focusWidget() is bench.window
    qtbot.keyClick(bench.window, Qt.Key.Key_Tab)
    assert QApplication.focusWidget() is bench.window.foot.buttons[0]
    bench.change(commands=("sign",))
    assert QApplication.focusWidget() is bench.window


def test_space_on_a_focused_button_presses_it(qtbot: QtBot) -> None:
    """Space on a button reached with Tab presses that button; afterwards Space is a tap again."""
    bench = Bench(qtbot, "marking")
    back = bench.window.foot.buttons[1]
    back.setFocus(Qt.FocusReason.TabFocusReason)
    qtbot.keyClick(back, Qt.Key.Key_Space)
    assert bench.sent == ["back"]
    assert QApplication.focusWidget() is bench.window
    qtbot.keyClick(bench.window, Qt.Key.Key_Space)
    assert bench.sent == ["back", "done"]


def test_a_clicked_button_does_not_keep_the_space_bar(qtbot: QtBot) -> None:
    """After a click on a button the space bar is still a tap."""
    bench = Bench(qtbot, "marking")
    qtbot.mouseClick(bench.window.foot.buttons[1], Qt.MouseButton.LeftButton)
    qtbot.keyClick(bench.window, Qt.Key.Key_Space)
    assert bench.sent == ["back", "done"]


@pytest.mark.parametrize("size", [(1920, 1080), (1280, 800), (1024, 640)])
def test_buttons_are_large(qtbot: QtBot, size: tuple[int, int]) -> None:
    """Every button is at least 24 pixels in both directions (WCAG 2.2, 2.5.8), at full size at least 60."""
    bench = Bench(qtbot, "many_commands", size=size)
    least = 60 if size == (1920, 1080) else 24
    for button in bench.window.foot.buttons:
        assert min(button.width(), button.height()) >= least
    for switch in (bench.window.switches.sound, bench.window.switches.far):
        assert min(switch.width(), switch.height()) >= (50 if size == (1920, 1080) else 24)


@pytest.mark.parametrize("size", [(1920, 1080), (1280, 800), (1024, 640)])
@pytest.mark.parametrize(
    "commands",
    [
        ("done", "back"),
        ("done", "back", "accept", "override", "another line"),
        ("back", "by hand", "override", "another line"),
        ("take reading", "long or short", "long?", "back", "another line"),
    ],
)
def test_every_button_shows_its_key(qtbot: QtBot, size: tuple[int, int], commands: tuple[Command, ...]) -> None:
    """However much is offered, in every size a button shows its words and its key whole, and the caution has room."""
    bench = Bench(qtbot, "marking", size=size)
    bench.change(commands=commands)
    foot = bench.window.foot
    for button, command in zip(foot.buttons, commands, strict=True):
        words, key = COMMAND_WORDS[command]
        key = "Space" if command == tap_of(commands) else key
        assert [written.text for written in button.written] == [words, key]
        for written in button.written:
            assert QRectF(button.rect()).contains(written.ink), (words, key)
    assert foot.caution.width() >= 440 * foot.caution.scale
    assert not any(written.cut for written in foot.caution.written)


def test_buttons_name_their_keys_to_those_who_hear_the_screen(qtbot: QtBot) -> None:
    """A button says what it does and which key does the same."""
    bench = Bench(qtbot, "marking")
    first = bench.window.foot.buttons[0]
    assert (first.accessibleName(), first.accessibleDescription()) == ("Done, next", "key: Space")


def test_names_follow_what_is_painted(qtbot: QtBot) -> None:
    """The name that a screen reader reads out is the sentence and the number as they stand, and changes with them."""
    bench = Bench(qtbot, "topped_up")

    def names() -> set[str]:
        return {label.accessibleName() for label in bench.window.findChildren(QLabel) if label.isVisible()}

    assert {"Pre-stretch, 12 s to go"} <= names()
    assert any(name.startswith("28.9 lbf") for name in names())
    bench.change(sentence=Words("Hold it there"), number=replace(bench.snapshot.number, text="31.2"))
    assert {"Hold it there"} <= names()
    assert any(name.startswith("31.2 lbf") for name in names())
    assert not any("28.9" in name for name in names() if name.endswith("lbf"))


def test_sound_is_turned_off_and_on_in_view(qtbot: QtBot) -> None:
    """M turns the sound off, which the top line says, and on again."""
    bench = Bench(qtbot, "marking")
    qtbot.keyClick(bench.window, Qt.Key.Key_M)
    bench.draw()
    assert bench.window.tones.muted
    assert "sound off" in {shown.written.text for shown in texts_shown(bench.window)}
    qtbot.keyClick(bench.window, Qt.Key.Key_M)
    bench.draw()
    assert "sound off" not in {shown.written.text for shown in texts_shown(bench.window)}


def test_from_afar_a_length_is_no_bare_figure() -> None:
    """From afar a length to cut says what it is longer than, and a mark whether its pull is there."""
    desk = Workbench()
    desk.work_to("A: cut")
    assert [words.text for words in second_from_afar(desk.seen())] == ["longer than the old line's", "finished length"]
    desk.work_to("B into A: mark")
    desk.pull(10.0, 2.0)
    past, toward, pull = second_from_afar(desk.seen())
    assert (past.tone, toward.text) == ("plain", "toward the canopy")
    assert pull == Words("pull 10.0 lbf: good", "good")


def test_v_and_its_button_go_to_the_view_from_afar_and_back(qtbot: QtBot) -> None:
    """V leaves sentence, number, time held and drawing, larger; its button brings the bench back; Space stays a tap."""
    bench = Bench(qtbot, "marking")
    window = bench.window
    before = window.number.scale
    qtbot.keyClick(window, Qt.Key.Key_V)
    assert window.far
    assert window.number.scale > 1.2 * before
    assert not any(part.isVisible() for part in (window.header, window.steps, window.foot, window.gauge, window.news))
    assert window.switches.far.accessibleName() == "view from the bench"
    qtbot.keyClick(window, Qt.Key.Key_Space)
    assert bench.sent == ["done"]
    qtbot.mouseClick(window.switches.far, Qt.MouseButton.LeftButton)
    assert not window.far
    assert window.number.scale == before
    assert window.header.isVisible()
    assert window.steps.isVisible()
    qtbot.mouseClick(window.switches.sound, Qt.MouseButton.LeftButton)
    assert window.tones.muted
    qtbot.keyClick(window, Qt.Key.Key_Space)
    assert bench.sent == ["done", "done"]


def test_f11_fills_the_screen_and_gives_it_back(qtbot: QtBot) -> None:
    """F11 fills the screen, and F11 again does not."""
    bench = Bench(qtbot, "marking")
    qtbot.keyClick(bench.window, Qt.Key.Key_F11)
    assert bench.window.isFullScreen()
    qtbot.keyClick(bench.window, Qt.Key.Key_F11)
    assert not bench.window.isFullScreen()


def test_only_what_changed_is_painted_again(qtbot: QtBot) -> None:
    """A frame with a new pull paints number and gauge again, and leaves drawing, steps, top line and caution alone."""
    bench = Bench(qtbot, "topped_up")
    window = bench.window
    still = (window.drawing, window.steps, window.header, window.foot.caution, window.sentence, window.trace)
    moving = (window.number, window.gauge)
    before = {panel: panel.written for panel in (*still, *moving)}
    assert bench.snapshot.gauge is not None
    bench.change(
        number=replace(bench.snapshot.number, text="28.4"),
        gauge=replace(bench.snapshot.gauge, tension=28.4),
        card=bench.card(),
    )
    for panel in still:
        assert panel.written is before[panel], panel.accessibleName()
    for panel in moving:
        assert panel.written is not before[panel], panel.accessibleName()


def test_the_unit_stands_still_while_the_number_grows(qtbot: QtBot) -> None:
    """The unit beside the tension stays where it is from 0.0 to the top of the scale, and without a reading."""
    bench = Bench(qtbot, "pre_stretch")
    places = set()
    for text in ("0.0", "9.9", "10.0", "59.9", "--"):
        bench.change(number=replace(bench.snapshot.number, text=text))
        places.add(next(each.ink.left() for each in texts_shown(bench.window) if each.written.text == "lbf"))
    assert len(places) == 1


def test_a_tone_has_a_sign_beside_the_sentence(qtbot: QtBot) -> None:
    """A tone's sign is painted at once, without a sound too, and goes away by itself."""
    bench = Bench(qtbot, "complete", muted=True)
    sentence = bench.window.sentence
    bare = sentence.grab().toImage()
    bench.window.cue("time complete")
    shown = sentence.grab().toImage()
    assert shown != bare
    assert "time complete" in sentence.said
    bench.window.cue("broken")
    assert sentence.grab().toImage() not in (bare, shown)
    qtbot.waitUntil(lambda: "(" not in sentence.said, timeout=4000)
    assert sentence.grab().toImage() == bare


def fail(*_: object) -> Snapshot:
    """Fail, whatever is asked."""
    raise RuntimeError("out of order")


def failing(times: int, snapshot: Snapshot) -> tuple[list[BaseException], list[int], BenchWindow]:
    """Give a window whose snapshot cannot be read the first few times."""
    faults: list[BaseException] = []
    reads: list[int] = []

    def read() -> Snapshot:
        reads.append(1)
        if len(reads) <= times:
            raise RuntimeError(f"fault {len(reads)}")
        return snapshot

    return faults, reads, BenchWindow("dark", read, lambda _: None, on_fault=faults.append)


def test_one_fault_voids_and_the_window_goes_on(qtbot: QtBot) -> None:
    """What is thrown while reading goes to `on_fault` once, and the next frame shows what the bench then says."""
    faults, _, window = failing(1, GALLERY["program_fault"]())
    qtbot.addWidget(window)
    window.show()
    window.frame()
    assert [str(fault) for fault in faults] == ["fault 1"]
    window.frame()
    assert "program failed" in window.number.said
    assert window.last_words == ""


def test_faults_that_go_on_cover_the_window_with_plain_words(qtbot: QtBot) -> None:
    """Where nothing can be drawn, plain words say that the hold is void and what to do, and reading goes on."""
    faults, reads, window = failing(3, GALLERY["pre_stretch"]())
    qtbot.addWidget(window)
    window.show()
    for _ in range(5):
        window.frame()
    assert len(faults) == 3
    assert len(reads) == 5
    assert "is void: ease off" in window.last_words
    assert "fault 3" in window.last_words


def test_a_fault_while_painting_is_told(qtbot: QtBot) -> None:
    """What is thrown while a panel paints goes to `on_fault`."""
    bench = Bench(qtbot, "pre_stretch")
    assert bench.snapshot.gauge is not None
    bench.change(gauge=replace(bench.snapshot.gauge, top=0.0))
    assert [type(fault) for fault in bench.faults] == [ZeroDivisionError]


def test_a_fault_while_answering_a_key_is_told(qtbot: QtBot) -> None:
    """What is thrown while a command is carried out goes to `on_fault`."""
    bench = Bench(qtbot, "marking", on_pedal=fail, send=fail)
    qtbot.keyClick(bench.window, Qt.Key.Key_Space)
    key(bench.window, Qt.Key.Key_F13, down=True)
    assert [type(fault) for fault in bench.faults] == [RuntimeError, RuntimeError]


def test_what_nobody_caught_is_told(qtbot: QtBot) -> None:
    """What is thrown in any slot while the window is open goes to `on_fault`; closing gives the old teller back."""
    before = sys.excepthook
    bench = Bench(qtbot, "marking")
    QTimer.singleShot(0, fail)
    qtbot.waitUntil(lambda: bool(bench.faults), timeout=2000)
    assert str(bench.faults[0]) == "out of order"
    bench.window.close()
    assert sys.excepthook is before


def test_without_anyone_to_tell_the_window_says_it_itself(qtbot: QtBot, capsys: pytest.CaptureFixture[str]) -> None:
    """With no `on_fault` a fault is printed whole and the window says that the hold is void."""
    window = BenchWindow("dark", fail, lambda _: None)
    qtbot.addWidget(window)
    window.show()
    window.frame()
    assert "RuntimeError: out of order" in capsys.readouterr().err
    assert "void" in window.last_words


def test_the_window_draws_by_itself_until_it_is_closed(qtbot: QtBot) -> None:
    """Once started the window reads again and again; closed, it reads no more and says that it was closed."""
    reads: list[int] = []
    snapshot = GALLERY["marking"]()

    def read() -> Snapshot:
        reads.append(1)
        return snapshot

    window = BenchWindow("light", read, lambda _: None)
    qtbot.addWidget(window)
    window.show()
    window.start()
    qtbot.waitUntil(lambda: len(reads) > 3, timeout=4000)
    with qtbot.waitSignal(window.closed, timeout=2000):
        window.close()
    count = len(reads)
    qtbot.wait(120)
    assert len(reads) == count


class Failing:
    """A hold under way at its window, one place of which can be made to fail."""

    def __init__(self, qtbot: QtBot) -> None:
        self.desk = Workbench()
        self.desk.work_to("A: pre-stretch")
        self.desk.pull(0.0, 1.0)
        self.desk.pull(31.0, 12.0)
        self.came: list[Event] = []
        self.at_window = AtWindow(self.desk.bench, self.events, "dark")
        self.window = self.at_window.window
        qtbot.addWidget(self.window)
        self.window.resize(1280, 800)
        self.window.show()
        self.pull()

    def events(self) -> list[Event]:
        """Give what came since it was last asked."""
        came, self.came = self.came, []
        return came

    def pull(self) -> None:
        """Go on pulling well for a second, and draw."""
        for _ in range(80):
            self.desk.at_us += 12_500
            self.came.append(Reading(self.desk.at_us, 31.0, "lbf", None, self.desk.at_us))
        self.came.append(Tick(self.desk.at_us))
        self.window.frame()
        QApplication.processEvents()


def in_paint(bench: Failing, patch: pytest.MonkeyPatch) -> None:
    """Fail once while the number is painted."""
    patch.setattr(bench.window.number, "draw", fail)
    bench.window.number.repaint()
    patch.undo()


def in_layout(bench: Failing, patch: pytest.MonkeyPatch) -> None:
    """Fail once while the window is laid out."""
    patch.setattr("station.views.window.arrange", fail)
    bench.window._arranged = None
    bench.pull()
    patch.undo()


def in_timer(bench: Failing, patch: pytest.MonkeyPatch) -> None:
    """Fail once while the timer reads."""
    patch.setattr(bench.at_window.showing, "snapshot", fail)
    bench.pull()
    patch.undo()


def in_command(bench: Failing, patch: pytest.MonkeyPatch) -> None:
    """Fail once while a command is carried out."""
    patch.setattr("station.at_window.carry_out", fail)
    bench.window._sent("done")
    patch.undo()


def in_slot(_: Failing, __: pytest.MonkeyPatch) -> None:
    """Fail once in a slot that nobody guards."""
    QTimer.singleShot(0, fail)
    QApplication.processEvents()


def in_resize(bench: Failing, patch: pytest.MonkeyPatch) -> None:
    """Fail once while the window changes its size."""
    patch.setattr("station.views.window.arrange", fail)
    bench.window.resize(1300, 820)
    QApplication.processEvents()
    patch.undo()


def in_tone(bench: Failing, patch: pytest.MonkeyPatch) -> None:
    """Fail once while a tone is sounded."""
    patch.setattr(bench.window.tones, "play", fail)
    bench.desk.at_us += 12_500
    bench.came.append(Reading(bench.desk.at_us, 20.0, "lbf", None, bench.desk.at_us))
    bench.pull()
    patch.undo()


@pytest.mark.parametrize("where", [in_paint, in_layout, in_timer, in_command, in_slot, in_resize, in_tone])
def test_whatever_throws_voids_the_hold_and_says_so(
    qtbot: QtBot,
    monkeypatch: pytest.MonkeyPatch,
    where: Callable[[Failing, pytest.MonkeyPatch], None],
) -> None:
    """Wherever the window throws, the hold under way is filed as void, the screen says so, and the window goes on."""
    bench = Failing(qtbot)
    where(bench, monkeypatch)
    bench.pull()
    judged = [entry for entry in bench.desk.entries if isinstance(entry, HoldJudged)]
    assert [(entry.judgement["verdict"], entry.program_fault) for entry in judged] == [("void", True)]
    assert bench.window.sentence.said.startswith("Ease off")
    assert "Void: the program failed" in bench.window.number.said
    assert bench.window.last_words == ""
    assert bench.window.isVisible()
