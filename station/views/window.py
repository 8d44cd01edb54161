"""The bench window: draws a frozen snapshot forty times a second, and sends what a person does.

A change of state is drawn at once, without waiting for the beat (`beat`). The window knows nothing of the trade. Keys:
Space and Return do what a tap does, Backspace goes back one step, and each other thing that can be done has the letter
that stands on its button (L says level). M turns sound and voice off and on, V shows what is read from afar alone, F11
fills the screen, Tab walks the buttons; F13 to F24 are a foot pedal that is a keyboard. A key that repeats by itself
counts once.

Nothing dies silently. Whatever is thrown while reading, drawing or answering a key goes to `on_fault`, which voids the
hold; the next snapshot then says so. Where not even that can be drawn, plain words cover the window.
"""

from __future__ import annotations

import sys
import traceback
from collections.abc import Callable, Mapping, Sequence
from operator import is_not
from types import TracebackType
from typing import Any

from PyQt6.QtCore import Qt, QTimer, pyqtSignal
from PyQt6.QtGui import QCloseEvent, QColor, QKeyEvent, QPalette, QResizeEvent
from PyQt6.QtWidgets import QLabel, QMainWindow, QWidget

from station.bench.cues import Cue
from station.bench.snapshot import (
    Card,
    CloseUp,
    Command,
    EndMarks,
    ErrorsCard,
    ListCard,
    PullsCard,
    Snapshot,
    TensionNumber,
    TraceCard,
    tap_of,
)
from station.views.arrangement import (
    Arrangement,
    CardKind,
    Content,
    Place,
    arrange,
    arrange_far,
    sentence_width,
)
from station.views.beat import Beat
from station.views.bench_line import DrawingPanel, Lying, drawing_title
from station.views.cards import CloseUpPanel, EndMarksPanel, ListPanel, Near, PullsPanel
from station.views.dialogs import Field, ask
from station.views.errors import ErrorsPanel
from station.views.lettering import load_fonts
from station.views.palette import LookName, look_named
from station.views.panel import Panel
from station.views.pulling import GaugePanel, ProgressPanel
from station.views.saying import (
    Figure,
    HeaderPanel,
    News,
    NewsPanel,
    NumberPanel,
    Said,
    SentencePanel,
    TopLine,
    UnderPanel,
    is_long,
    is_tall,
    second_from_afar,
)
from station.views.spoken import worth_saying
from station.views.steps import COMMAND_WORDS, FootBand, StepsPanel
from station.views.switches import Act, Switches
from station.views.tones import Tones
from station.views.trace import TracePanel
from station.views.voice import Voice

CUE_MS = 1600
SPEAK_AFTER_MS = 400  # a sentence that is gone sooner is not spoken
LEAST_SIZE = (1024, 640)
_FAULTS_BEFORE_GIVING_UP = 3
_M_PER_INCH = 0.0254
_STATE = ("sentence", "notice", "recorded", "commands")

PEDAL_KEYS = frozenset(getattr(Qt.Key, f"Key_F{number}") for number in range(13, 25))
COMMAND_KEYS: dict[Qt.Key, Command] = {
    getattr(Qt.Key, f"Key_{key}"): command for command, (_, key) in COMMAND_WORDS.items() if key
}
_TURN_KEYS: dict[Qt.Key, Act] = {Qt.Key.Key_M: "sound", Qt.Key.Key_V: "far"}
_CARD_KINDS: dict[type, CardKind] = {
    TraceCard: "trace",
    CloseUp: "close-up",
    EndMarks: "close-up",
    PullsCard: "pulls",
    ListCard: "list",
    ErrorsCard: "errors",
}


class BenchWindow(QMainWindow):
    """The window at the bench.

    `read` gives the snapshot to show; `send` takes what a person did with key or mouse; `on_pedal` takes the level of
    a pedal that is a keyboard (True: down). `px_per_m` is how many pixels of this screen a metre is long; without it
    the screen is asked. `mirrored` lays the bench with the canopy at the left. `far` opens it as seen from afar.
    """

    closed = pyqtSignal()

    def __init__(
        self,
        look: LookName,
        read: Callable[[], Snapshot],
        send: Callable[[Command], None],
        on_pedal: Callable[[bool], None] | None = None,
        on_fault: Callable[[BaseException], None] | None = None,
        *,
        mirrored: bool = False,
        px_per_m: float | None = None,
        muted: bool = False,
        far: bool = False,
        voice: Voice | None = None,
    ) -> None:
        super().__init__()
        load_fonts()
        self.look = look_named(look)
        self.tones = Tones(muted=muted)
        self.voice = voice if voice is not None else Voice()
        self.voice.muted = muted
        self.far = far
        self._read, self._send, self._on_pedal, self._on_fault = read, send, on_pedal, on_fault
        self._mirrored, self._px_per_m = mirrored, px_per_m
        self._snapshot: Snapshot | None = None
        self._spoken: Snapshot | None = None
        self._arranged: tuple[int, int, bool, Content] | None = None
        self._arrangement = arrange(1920, 1080, Content())
        self._cue: Cue | None = None
        self._widest = ""
        self._faults = 0
        self._hook_before = sys.excepthook
        self.setWindowTitle("fidbench")
        self.setMinimumSize(*LEAST_SIZE)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setFocus()  # not the first button: Space is a tap
        whole = QWidget(self)
        colours = whole.palette()
        colours.setColor(QPalette.ColorRole.Window, QColor(self.look.ground))
        whole.setPalette(colours)
        whole.setAutoFillBackground(True)
        self.setCentralWidget(whole)
        self._make_panels(whole)
        self._last_words = QLabel(whole)
        self._last_words.setWordWrap(True)
        self._last_words.setMargin(60)
        self._last_words.setStyleSheet(f"background: {self.look.ground}; color: {self.look.ink}; font: bold 44px B612;")
        self._last_words.hide()
        self._cue_ends, self._speak_soon = QTimer(self), QTimer(self)
        for timer, ends in ((self._cue_ends, self._end_cue), (self._speak_soon, self._speak)):
            timer.setSingleShot(True)
            timer.timeout.connect(ends)
        self._beat = Beat(self.frame, self._look_at_what_came, self)
        self.wake = self._beat.wake  # shows at once what changed; may be called from any thread
        sys.excepthook = self._uncaught

    def _make_panels(self, whole: QWidget) -> None:
        look, fault = self.look, self._failed
        self.header = HeaderPanel("line, canopy and instruments", look, fault, whole)
        self.sentence = SentencePanel("what to do now", look, fault, whole)
        self.number = NumberPanel("the number", look, fault, whole)
        self.gauge = GaugePanel("pull", look, fault, whole)
        self.progress = ProgressPanel("time held", look, fault, whole)
        self.under = UnderPanel("more about it", look, fault, whole)
        self.news = NewsPanel("what happened", look, fault, whole)
        self.drawing = DrawingPanel("the line on the bench", look, fault, whole)
        self.steps = StepsPanel("steps", look, fault, whole)
        self.trace = TracePanel("trace", look, fault, whole)
        self.close_up = CloseUpPanel("close up", look, fault, whole)
        self.end_marks = EndMarksPanel("marks on the running end", look, fault, whole)
        self.pulls = PullsPanel("both pulls", look, fault, whole)
        self.short_list = ListPanel("list", look, fault, whole)
        self.errors = ErrorsPanel("errors of the scale", look, fault, whole)
        self.foot = FootBand(look, fault, self._sent, whole)
        self.switches = Switches(look, fault, self._turn, whole)
        self.foot.then = (self.switches.sound, self.switches.far)
        self._cards: tuple[Panel[Any], ...] = (
            self.trace,
            self.close_up,
            self.end_marks,
            self.pulls,
            self.short_list,
            self.errors,
        )
        self._rows: dict[Place, Panel[Any]] = {
            "header": self.header,
            "sentence": self.sentence,
            "number": self.number,
            "gauge": self.gauge,
            "progress": self.progress,
            "under": self.under,
            "news": self.news,
            "drawing": self.drawing,
            "steps": self.steps,
        }

    def start(self) -> None:
        """Begin to draw, forty times a second."""
        self._beat.start()

    def stop(self) -> None:
        """Stop drawing."""
        self._beat.stop()

    @property
    def snapshot(self) -> Snapshot | None:
        """Give what is shown."""
        return self._snapshot

    @property
    def last_words(self) -> str:
        """Give the plain words that cover the window where the bench cannot be drawn; empty as long as it can."""
        return "" if self._last_words.isHidden() else self._last_words.text()

    def frame(self) -> None:
        """Read the snapshot and draw what has changed."""
        self._draw(is_not)

    def _look_at_what_came(self) -> None:
        """Read the snapshot between two beats; draw it where it says something else."""
        self._draw(_says_something_else)

    def _draw(self, is_due: Callable[[Snapshot | None, Snapshot], bool]) -> None:
        try:
            snapshot = self._read()
            if self._last_words.isHidden() and is_due(self._snapshot, snapshot):
                self._show(snapshot)
        except Exception as fault:  # whatever it is, the hold is void and a person must be told
            self._failed(fault)

    def cue(self, cue: Cue) -> str | None:
        """Sound a tone and show its sign. Give, once, why this machine has no sound."""
        self._cue = cue
        self._cue_ends.start(CUE_MS)
        if self._snapshot is not None:
            self.sentence.present(Said(self._snapshot.sentence, cue))
        return self.tones.play(cue)

    def ask(self, title: str, text: str, fields: Sequence[Field], answer: str = "Done") -> Mapping[str, str] | None:
        """Ask for what only a keyboard may say; give the answers, or None where the person leaves it."""
        return ask(self, self.look, title, text, fields, answer)

    def _end_cue(self) -> None:
        self._cue = None
        if self._snapshot is not None:
            self.sentence.present(Said(self._snapshot.sentence, None))

    def _show(self, snapshot: Snapshot) -> None:
        self._snapshot = snapshot
        self._arrange(snapshot)
        self.header.present(TopLine(snapshot.header, self._sound()))
        self.sentence.present(Said(snapshot.sentence, self._cue))
        if snapshot.has_figure:
            self._widest = _widest(snapshot, self._widest)
            second = second_from_afar(snapshot) if self.far else snapshot.second
            self.number.present(Figure(snapshot.number, second, snapshot.arrow, self._widest, self._mirrored))
        if snapshot.gauge is not None:
            self.gauge.present(snapshot.gauge)
        if snapshot.progress is not None:
            self.progress.present(snapshot.progress)
        self.under.present(snapshot.under)
        self.news.present(News(snapshot.notice, snapshot.recorded, drawing_title(snapshot.drawing)))
        if snapshot.drawing is not None:
            self.drawing.present(Lying(snapshot.drawing, self._mirrored))
        self.steps.present(snapshot.steps)
        self.foot.present(snapshot.caution, snapshot.commands)
        self.switches.sound.show_state(is_on=not self.tones.muted)
        if worth_saying(self._spoken, snapshot) and not self._speak_soon.isActive():
            self._speak_soon.start(0 if snapshot.sentence.tone == "stop" else SPEAK_AFTER_MS)

    def _speak(self) -> None:
        """Say what is shown now, if it is still new."""
        if self._snapshot is not None:
            self.voice.say(worth_saying(self._spoken, self._snapshot))
            self._spoken = self._snapshot

    def _present_card(self, card: Card) -> Panel[Any]:
        """Hand a card to the panel that shows its kind, and give that panel."""
        match card:
            case TraceCard():
                self.trace.present(card)
                return self.trace
            case CloseUp():
                self.close_up.present(Near(card, self._screen_px_per_m(), self._mirrored))
                return self.close_up
            case EndMarks():
                self.end_marks.present(card)
                return self.end_marks
            case PullsCard():
                self.pulls.present(card)
                return self.pulls
            case ListCard():
                self.short_list.present(card)
                return self.short_list
            case ErrorsCard():
                self.errors.present(card)
                return self.errors

    def _screen_px_per_m(self) -> float | None:
        """Give the screen's pixels in a metre, where it says something that can be true."""
        if self._px_per_m is not None:
            return self._px_per_m
        screen = self.screen()
        dots_per_inch = screen.physicalDotsPerInchX() if screen is not None else 0.0
        return dots_per_inch / _M_PER_INCH if 50 <= dots_per_inch <= 400 else None

    def _arrange(self, snapshot: Snapshot) -> None:
        whole = self.centralWidget()
        assert whole is not None  # noqa: S101 set when the window was made
        width, height = whole.width(), whole.height()
        content = Content(
            number=snapshot.has_figure,
            tall_number=is_tall(snapshot.number),
            long_sentence=is_long(snapshot.sentence, *sentence_width(width, height, self.far)),
            gauge=snapshot.gauge is not None,
            progress=snapshot.progress is not None,
            under=bool(snapshot.under),
            card=_CARD_KINDS[type(snapshot.card)] if snapshot.card is not None else None,
            drawing=snapshot.drawing is not None,
        )
        if self._arranged != (width, height, self.far, content):
            self._arranged = (width, height, self.far, content)
            self._arrangement = (arrange_far if self.far else arrange)(width, height, content)
            self._place(self._arrangement)
        shown: Panel[Any] | None = None
        if snapshot.card is not None and self._arrangement.card is not None:
            shown = self._present_card(snapshot.card)
            shown.place(self._arrangement.card, self._arrangement.scale)
        for panel in self._cards:
            panel.setVisible(panel is shown)

    def _place(self, arranged: Arrangement) -> None:
        for place, panel in self._rows.items():
            box = arranged.boxes.get(place)
            panel.setVisible(box is not None)
            if box is not None:
                panel.place(box, arranged.scale_at(place))
        foot, switches = arranged.boxes.get("foot"), arranged.boxes["switches"]
        self.foot.setVisible(foot is not None)
        if foot is not None:
            self.foot.setGeometry(foot.x, foot.y, foot.width, foot.height)
            self.foot.arrange(arranged.scale)
        self.switches.setGeometry(switches.x, switches.y, switches.width, switches.height)
        self.switches.arrange(arranged.scale, is_ruled=not self.far)
        whole = self.centralWidget()
        if whole is not None:
            self._last_words.setGeometry(whole.rect())

    def _sent(self, command: Command) -> None:
        """Send what a person did, and take the focus back, so that the next Space is a tap again."""
        self.setFocus()
        try:
            self._send(command)
        except Exception as fault:  # whatever it is, the hold is void and a person must be told
            self._failed(fault)
        self.wake()

    def _failed(self, fault: BaseException) -> None:
        """Tell whoever judges; where faults follow each other, cover the window with plain words."""
        self._faults += 1
        traceback.print_exception(fault)
        if self._on_fault is not None:
            try:
                self._on_fault(fault)
            except Exception as another:  # the last that can be done is to say both
                traceback.print_exception(another)
                self._faults = _FAULTS_BEFORE_GIVING_UP
        if self._faults >= _FAULTS_BEFORE_GIVING_UP or self._on_fault is None:
            self._say_last_words(fault)

    def _say_last_words(self, fault: BaseException) -> None:
        self._last_words.setText(
            "The program failed and cannot draw the bench. A hold that was running is void: ease off.\n\n"
            "What has been recorded is safe. Close this window and open the job again.\n\n"
            f"What failed: {type(fault).__name__}: {fault}"
        )
        self._last_words.setAccessibleName(self._last_words.text())
        whole = self.centralWidget()
        if whole is not None:
            self._last_words.setGeometry(whole.rect())
        self._last_words.show()
        self._last_words.raise_()

    def _uncaught(self, kind: type[BaseException], fault: BaseException, trace: TracebackType | None) -> None:
        """Take what nobody caught, which Qt would otherwise end the program for."""
        if issubclass(kind, Exception):
            self._failed(fault)
        elif issubclass(kind, KeyboardInterrupt):
            self.close()
        else:
            self._hook_before(kind, fault, trace)

    def keyPressEvent(self, event: QKeyEvent | None) -> None:  # noqa: N802 Qt's name
        """Do what a key asks for."""
        if event is None or event.isAutoRepeat():
            return
        key = Qt.Key(event.key())
        if key in PEDAL_KEYS:
            self._pedal(down=True)
        elif key in (Qt.Key.Key_Space, Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self._offer(None)
        elif key in COMMAND_KEYS:
            self._offer(COMMAND_KEYS[key])
        elif key in _TURN_KEYS:
            self._turn(_TURN_KEYS[key])
        elif key == Qt.Key.Key_F11:
            self.setWindowState(self.windowState() ^ Qt.WindowState.WindowFullScreen)
        else:
            super().keyPressEvent(event)

    def keyReleaseEvent(self, event: QKeyEvent | None) -> None:  # noqa: N802 Qt's name
        """Let a pedal that is a key go."""
        if event is None or event.isAutoRepeat():
            return
        if Qt.Key(event.key()) in PEDAL_KEYS:
            self._pedal(down=False)
        else:
            super().keyReleaseEvent(event)

    def _pedal(self, *, down: bool) -> None:
        if self._on_pedal is None:
            return
        try:
            self._on_pedal(down)
        except Exception as fault:  # whatever it is, the hold is void and a person must be told
            self._failed(fault)

    def _offer(self, command: Command | None) -> None:
        """Send a command if it is offered now; without one, what a tap does.

        Where other things can be done and a tap counts for nothing, it is sent all the same, and answered with why.
        """
        offered = self._snapshot.commands if self._snapshot is not None else ()
        if command is None and offered:
            self._sent(tap_of(offered) or "done")
        elif command in offered:
            self._sent(command)

    def _sound(self) -> str:
        """Say what became of tones and voice, where one is missing or both are off."""
        if self.tones.muted:
            return "sound off"
        missing = (self.tones.silent_because is not None, self.voice.silent_because is not None)
        return {(True, True): "no sound", (False, True): "no voice", (True, False): "no tones"}.get(missing, "")

    def _turn(self, act: Act) -> None:
        """Turn the sound off or on, or go to the view from afar and back; Space is then a tap again."""
        self.setFocus()
        if act == "sound":
            self.tones.muted = self.voice.muted = not self.tones.muted
        else:
            self.far = not self.far
            self.switches.far.show_state(is_on=self.far)
        if self._snapshot is not None:
            snapshot, self._snapshot = self._snapshot, None
            self._show(snapshot)

    def resizeEvent(self, event: QResizeEvent | None) -> None:  # noqa: N802 Qt's name
        """Lay everything out anew."""
        super().resizeEvent(event)
        if self._snapshot is not None:
            self._arrange(self._snapshot)

    def closeEvent(self, event: QCloseEvent | None) -> None:  # noqa: N802 Qt's name
        """Stop drawing, fall silent, and give back the place where uncaught faults are told."""
        self._beat.stop()
        self._cue_ends.stop()
        self._speak_soon.stop()
        self.tones.stop()
        self.voice.stop()
        if sys.excepthook == self._uncaught:
            sys.excepthook = self._hook_before
        self.closed.emit()
        super().closeEvent(event)


def _says_something_else(before: Snapshot | None, now: Snapshot) -> bool:
    """Tell whether a state has changed, and not just a figure, a trace or a clock that runs on."""
    return before is None or any(getattr(before, name) != getattr(now, name) for name in _STATE)


def _widest(snapshot: Snapshot, before: str) -> str:
    """Give the widest number this scale can show, so that the unit stands still; the one before without a reading."""
    if snapshot.gauge is None or not isinstance(snapshot.number, TensionNumber):
        return ""
    _, _, decimals = snapshot.number.text.partition(".")
    if not any(letter.isdigit() for letter in snapshot.number.text):
        return before or f"{snapshot.gauge.top:.1f}"
    return f"{snapshot.gauge.top:.{len(decimals)}f}"
