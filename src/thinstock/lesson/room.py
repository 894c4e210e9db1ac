"""The class in the room: a code to join, one running question, guesses and choices. No names, no machine, no file.

Knows nothing of networks and of pages; what a guest sends is a number or the number of a choice, and a group's word
that is kept for the table alone and shown nowhere.
"""

from __future__ import annotations

import csv
import hmac
import io
import math
import re
import secrets
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from threading import Lock

from thinstock.errors import ThinstockError
from thinstock.words.phrase import phrase

GUESTS = 200
DIGITS = 6
TRIES_EACH, TRIES_ALL, PAUSE = 8, 120, 300.0
"""Wrong codes from one address, and from all, within so many seconds."""
LONGEST_WORD, LONGEST_NUMBER, LARGEST = 16, 20, 1e15
_WORD = re.compile(r"[^\W\d_]+(?: [^\W\d_]+)?")
_NUMBER = re.compile(r"[+-]?\d{1,15}(?:\.\d{1,9})?")


@dataclass(frozen=True, kw_only=True)
class Question:
    """What is asked now."""

    scene: str
    text: str
    unit: str
    choices: tuple[str, ...] = ()
    tolerance: float = 0.0


@dataclass
class _Guest:
    group: str = ""


@dataclass
class _Round:
    question: Question
    open: bool = True
    answers: dict[str, float] = field(default_factory=dict)
    right: float | None = None


class Refusal(ThinstockError):
    """A guest is told so, in one word of `lesson.room`."""


class Room:
    """Guests, their code, and the running question; safe to be used from two threads."""

    def __init__(self, *, groups: bool = True, most: int = GUESTS, clock: Callable[[], float] = time.monotonic) -> None:
        self.code = "".join(secrets.choice("0123456789") for _ in range(DIGITS))
        self.groups, self.most, self.clock = groups, most, clock
        self._guests: dict[str, _Guest] = {}
        self._wrong: list[tuple[float, str]] = []
        self._rounds: dict[str, _Round] = {}
        self._now: _Round | None = None
        self._lock = Lock()

    # -- guests --------------------------------------------------------------------------------------------------------

    def join(self, code: str, address: str) -> str:
        """A token for a guest who knows the code; wrong ones are counted by address and in all."""
        with self._lock:
            now = self.clock()
            self._wrong = [(at, who) for at, who in self._wrong if now - at < PAUSE]
            mine = sum(who == address for _, who in self._wrong)
            if mine >= TRIES_EACH or len(self._wrong) >= TRIES_ALL:
                raise Refusal("wait")
            if not hmac.compare_digest(code.encode("utf-8", "replace"), self.code.encode()):
                self._wrong.append((now, address))
                raise Refusal("code")
            if len(self._guests) >= self.most:
                raise Refusal("full")
            token = secrets.token_urlsafe(24)
            self._guests[token] = _Guest()
            return token

    def knows(self, token: str) -> bool:
        """Whether somebody was let in with this token."""
        sent = token.encode("utf-8", "replace")
        with self._lock:
            return any(hmac.compare_digest(sent, known.encode()) for known in self._guests) if token else False

    def group(self, token: str, word: str) -> bool:
        """Keep a group's word where words are taken and this is one; whether it was kept."""
        plain = " ".join(word.split())
        rude = phrase("lesson.room.refused").split()
        fine = bool(_WORD.fullmatch(plain)) and len(plain) <= LONGEST_WORD
        fine = fine and not any(part in plain.lower() for part in rude)
        with self._lock:
            if not (self.groups and fine and token in self._guests):
                return False
            self._guests[token].group = plain
            return True

    def answer(self, token: str, text: str) -> None:
        """A guess or the number of a choice; the last one counts until the answer is shown."""
        with self._lock:
            now = self._now
            if now is None or not now.open:
                raise Refusal("closed")
            if token not in self._guests:
                raise Refusal("join")
            now.answers[token] = _number(text, len(now.question.choices))

    def mine(self, token: str) -> float | None:
        """What a guest answered to the running question."""
        with self._lock:
            return None if self._now is None else self._now.answers.get(token)

    # -- the trainer ---------------------------------------------------------------------------------------------------

    def ask(self, question: Question) -> None:
        """Put a question; one that was put before keeps its answers."""
        with self._lock:
            known = self._rounds.get(question.scene)
            if known is None or known.question.choices != question.choices:
                known = self._rounds[question.scene] = _Round(question)
            elif known.right is None:
                known.question, known.open = question, True
            self._now = known

    def rest(self) -> None:
        """Nothing is asked."""
        with self._lock:
            self._now = None

    def reveal(self, right: float) -> None:
        """Take no more answers; the machine's own is known now."""
        with self._lock:
            if self._now is not None:
                self._now.open, self._now.right = False, right

    @property
    def question(self) -> tuple[Question, bool] | None:
        """The running question, and whether answers are still taken."""
        with self._lock:
            return None if self._now is None else (self._now.question, self._now.open)

    @property
    def guests(self) -> int:
        """How many were let in."""
        with self._lock:
            return len(self._guests)

    def answers(self) -> list[float]:
        """All answers to the running question, sorted; nobody is told apart."""
        with self._lock:
            return [] if self._now is None else sorted(self._now.answers.values())

    def table(self) -> str:
        """All rounds as CSV: scene, question, group, answer, the machine's answer; no names, no order of guests."""
        held = io.StringIO()
        rows = csv.writer(held)
        rows.writerow(
            [phrase(f"lesson.room.column.{name}") for name in ("scene", "question", "group", "answer", "machine")]
        )
        with self._lock:
            for one in self._rounds.values():
                told = sorted((self._guests[t].group, value) for t, value in one.answers.items() if t in self._guests)
                for group, value in told:
                    right = "" if one.right is None else f"{one.right:g}"
                    rows.writerow([one.question.scene, one.question.text, group, f"{value:g}", right])
        return held.getvalue()


def _number(text: str, choices: int) -> float:
    """The number somebody typed; a comma may stand for the point, blanks between thousands."""
    plain = re.sub(r"[\s\u00a0\u202f']", "", text).replace(",", ".") if len(text) <= LONGEST_NUMBER else ""
    if not _NUMBER.fullmatch(plain):
        raise Refusal("number")
    value = float(plain)
    if not math.isfinite(value) or abs(value) > LARGEST:
        raise Refusal("number")
    if choices and value not in range(1, choices + 1):
        raise Refusal("number")
    return value
