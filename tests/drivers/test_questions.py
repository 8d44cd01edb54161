"""What a silent scale is asked, and what is proposed from its answers."""

from __future__ import annotations

import struct
import tomllib
from dataclasses import replace
from typing import get_args

import pytest

from drivers.modbus_rtu import ModbusFormat, WordOrder, answer, refusal
from drivers.questions import QUESTIONS, Question, propose_answers

MODBUS = [each for each in QUESTIONS.values() if isinstance(each.form, ModbusFormat)]


def form_of(asked: Question) -> ModbusFormat:
    """Give the form that a Modbus question expects."""
    assert isinstance(asked.form, ModbusFormat)
    return asked.form


@pytest.mark.parametrize("order", get_args(WordOrder))
@pytest.mark.parametrize("asked", MODBUS, ids=lambda asked: asked.name)
def test_the_word_order_is_the_one_that_gives_a_force(asked: Question, order: WordOrder) -> None:
    """The order is proposed whose numbers can be forces, with the parity and the function it was asked by."""
    heard = b"".join(answer(replace(form_of(asked), word_order=order), 29.5 + at) for at in range(5))
    found = propose_answers(asked, heard)
    assert found is not None
    assert (found.explained, found.frames) == (5, 5)
    scale = tomllib.loads(found.toml("/dev/x", 9600))["scale"]
    assert (scale["word_order"], scale["function"]) == (order, form_of(asked).function)
    assert scale.get("parity", "N") == asked.parity


def test_both_kinds_of_register_are_asked_for_with_either_parity() -> None:
    """Holding and input registers are asked for, each with even and with no parity."""
    assert {(asked.raw[1], form_of(asked).function, asked.parity) for asked in MODBUS} == {
        (3, 3, "E"),
        (3, 3, "N"),
        (4, 4, "E"),
        (4, 4, "N"),
    }


def test_what_cannot_be_told_is_said() -> None:
    """Zero is zero in every order: the first is given, and the others are named."""
    found = propose_answers(MODBUS[0], answer(form_of(MODBUS[0]), 0.0) * 5)
    assert found is not None
    assert "word order CDAB, BADC, DCBA reads possible forces too" in found.toml("/dev/x", 9600)


def test_what_explains_nothing_proposes_nothing() -> None:
    """A device that refuses, answers too seldom, or holds no force gives no description."""
    form = form_of(MODBUS[0])
    assert propose_answers(MODBUS[0], refusal(form, 2) * 5) is None
    assert propose_answers(MODBUS[0], answer(form, 29.5) * 2) is None
    (far_off,) = struct.unpack(">f", b"\x7f\x00\x00\x7f")  # in no order a force
    assert propose_answers(MODBUS[0], answer(form, far_off) * 5) is None
    assert propose_answers(QUESTIONS["SCPI: READ?"], b"ERR,1\n" * 5) is None


def test_a_text_is_asked_for_by_its_poll() -> None:
    """What reads the answers to a text names the text, to be sent again."""
    found = propose_answers(QUESTIONS["W and CR"], b"".join(b"%6.2f lb\r\n" % at for at in range(9)))
    assert found is not None
    assert tomllib.loads(found.toml("/dev/x", 9600))["scale"]["poll"] == "W\r"
