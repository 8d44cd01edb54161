from __future__ import annotations

import pytest
from PyQt6.QtCore import Qt, QTimer
from PyQt6.QtWidgets import QApplication, QComboBox, QDialog, QLabel, QLineEdit, QPushButton, QWidget
from pytestqt.qtbot import QtBot

from station.views.dialogs import Field, Question, ask
from station.views.form import Form, dress
from station.views.palette import DARK
from station.views.window import PEDAL_KEYS
from tests.station.views.shown import Bench, key

FIELDS = (
    Field("by", "Name", required=True),
    Field("kind", "Kind", choices=("rigger", "inspector"), default="inspector"),
    Field("reason", "Reason", required=True, rows=2),
)


@pytest.fixture
def question(qtbot: QtBot) -> Question:
    """Give a question that is being asked."""
    asked = Question(None, DARK, "Release the piece", "Nobody can see set-in damage.", FIELDS, "Release")
    qtbot.addWidget(asked)
    asked.show()
    qtbot.waitExposed(asked)
    asked.activateWindow()
    qtbot.waitUntil(asked.isActiveWindow)
    return asked


def write(question: Question, name: str, text: str) -> None:
    """Fill a field as a person does."""
    edit = question.form.inputs[name]
    edit.setFocus()
    for letter in text:
        key(edit, Qt.Key.Key_A, down=True, text=letter)


def errors(question: QWidget) -> list[str]:
    """Give the errors on show."""
    return [
        label.text()
        for label in question.findChildren(QLabel)
        if label.isVisible() and label.property("role") == "error" and label.text()
    ]


def test_enter_in_a_field_of_several_rows_answers(qtbot: QtBot, question: Question) -> None:
    """Enter does what the button says from the reason too; Shift and Enter begin a new row of it."""
    write(question, "by", "a")
    write(question, "reason", "b")
    reason = question.form.inputs["reason"]
    qtbot.keyClick(reason, Qt.Key.Key_Return, Qt.KeyboardModifier.ShiftModifier)
    qtbot.keyClicks(reason, "c")
    assert question.isVisible()
    qtbot.keyClick(reason, Qt.Key.Key_Return)
    assert not question.isVisible()
    assert question.form.answers()["reason"] == "b\nc"


def test_what_was_said_of_a_field_goes_when_it_is_filled(qtbot: QtBot, question: Question) -> None:
    """A field called empty is no longer called so once something is typed into it; the others still are."""
    qtbot.keyClick(question, Qt.Key.Key_Return)
    write(question, "by", "a")
    assert errors(question) == ["This is needed, and it is empty."]
    assert question.form.inputs["by"].accessibleDescription() == ""


def test_a_message_has_one_button_and_any_way_out_of_it(qtbot: QtBot) -> None:
    """Where nothing is asked, one button goes back, by Enter as by Esc, and it gives no answer."""
    told = Question(None, DARK, "This job cannot be opened", "Something is missing.", (), "Go on")
    qtbot.addWidget(told)
    told.show()
    qtbot.waitExposed(told)
    assert [each.text() for each in told.findChildren(QPushButton) if each.isVisible()] == ["Back (Esc)"]
    qtbot.keyClick(told, Qt.Key.Key_Return)
    assert told.result() == QDialog.DialogCode.Rejected
    assert not told.isVisible()


def test_nothing_needed_may_stay_empty(qtbot: QtBot, question: Question) -> None:
    """Enter with a needed field empty says so beside it, goes there, and asks on."""
    qtbot.keyClick(question, Qt.Key.Key_Return)
    assert question.isVisible()
    assert errors(question) == ["This is needed, and it is empty."] * 2
    assert QApplication.focusWidget() is question.form.inputs["by"]
    assert question.form.inputs["by"].accessibleDescription() == "This is needed, and it is empty."
    write(question, "by", "Ansa Velling")
    qtbot.keyClick(question, Qt.Key.Key_Return)
    assert len(errors(question)) == 1
    assert QApplication.focusWidget() is question.form.inputs["reason"]


def test_spaces_alone_are_no_answer(qtbot: QtBot, question: Question) -> None:
    """A needed field with nothing but spaces is empty."""
    write(question, "by", "   ")
    qtbot.keyClick(question, Qt.Key.Key_Return)
    assert len(errors(question)) == 2


def test_the_answers_are_given_by_key(qtbot: QtBot, question: Question) -> None:
    """Once all needed fields are filled Enter ends the question, and the answers are those typed and chosen."""
    write(question, "by", "Ansa Velling")
    write(question, "reason", "looked at, no damage")
    qtbot.keyClick(question, Qt.Key.Key_Return)
    assert question.result() == QDialog.DialogCode.Accepted
    assert question.form.answers() == {"by": "Ansa Velling", "kind": "inspector", "reason": "looked at, no damage"}


def test_escape_leaves_it(qtbot: QtBot, question: Question) -> None:
    """Esc ends the question without an answer; where something was typed, only when it is pressed once more."""
    write(question, "by", "Ansa Velling")
    qtbot.keyClick(question, Qt.Key.Key_Escape)
    assert question.isVisible()
    assert "lose what you typed" in question.leave_button.text()
    qtbot.keyClick(question, Qt.Key.Key_Escape)
    assert question.result() == QDialog.DialogCode.Rejected
    assert not question.isVisible()


def test_the_foot_answers_nothing(question: Question) -> None:
    """The keys of a foot pedal change nothing, and Enter that repeats by itself is no second answer."""
    write(question, "by", "Ansa Velling")
    write(question, "reason", "looked at")
    before = question.form.answers()
    for which in PEDAL_KEYS:
        key(question, which, down=True)
        key(question, which, down=False)
    key(question, Qt.Key.Key_Return, down=True, repeats=True)
    assert question.isVisible()
    assert question.form.answers() == before


def test_labels_name_their_fields(question: Question) -> None:
    """Each field says its label, and that it is needed, to those who hear the screen."""
    names = [edit.accessibleName() for edit in question.form.inputs.values()]
    assert names == ["Name (needed)", "Kind", "Reason (needed)"]


def test_a_problem_with_no_such_field_is_a_mistake(question: Question) -> None:
    """An error for a field that is not there is refused, not lost."""
    with pytest.raises(KeyError, match="nobody"):
        question.form.say({"nobody": "is here"})


def test_the_window_asks_and_gives_the_answers(qtbot: QtBot) -> None:
    """Asked through the window, the answers come back; left, nothing does; the pedal is not heard meanwhile."""
    bench = Bench(qtbot, "sign_off")

    def fill() -> None:
        question = QApplication.activeModalWidget()
        assert isinstance(question, Question)
        name = question.form.inputs["by"]
        assert isinstance(name, QLineEdit)
        name.setText("Ansa Velling")
        key(question, Qt.Key.Key_F13, down=True)
        question.answer_button.click()

    QTimer.singleShot(50, fill)
    assert bench.window.ask("Sign off", "", FIELDS[:1], "Sign") == {"by": "Ansa Velling"}
    assert bench.pedal == []
    QTimer.singleShot(50, lambda: QApplication.activeModalWidget().close())  # type: ignore[union-attr]  # it is open
    assert ask(bench.window, DARK, "Sign off", "", FIELDS[:1]) is None


def test_an_open_choice_stands_in_its_look(qtbot: QtBot) -> None:
    """The list of a choice opens under its box, in the dark look with no light edge of the system's own."""
    form = Form([Field("port", "Port", choices=("the first", "the second"))])
    form.setStyleSheet(dress(DARK))
    qtbot.addWidget(form)
    form.show()
    box = form.inputs["port"]
    assert isinstance(box, QComboBox)
    box.showPopup()
    opened = box.view().window()
    image = opened.grab().toImage()
    shades = [image.pixelColor(image.width() // 2, y).lightness() for y in range(image.height())]
    assert max(shades[:2] + shades[-2:]) < 200
    assert opened.mapToGlobal(opened.rect().topLeft()).y() >= box.mapToGlobal(box.rect().bottomLeft()).y()
    box.hidePopup()
