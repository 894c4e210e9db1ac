"""The wet end kept by what it is given: where the dryer alone has moved, former, vacuum and press did the same before.

A part of the wet end is shown only what it may hang on; what it did is kept by the value of all that, so what is kept
can never be of another stock, setting or speed. Only runs of one case inside `keeping` keep anything. Parts that
dryer results come back to (the circuits) are none of these.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Hashable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from threading import Lock
from typing import Any, NamedTuple

from thinstock.formula.label import ValueWatch, recorder, watching
from thinstock.machine.keys import Hidden, NoKey, key_of, key_of_fields, names_of
from thinstock.machine.part import Done, Part
from thinstock.machine.press import PressSection
from thinstock.machine.pumps import Settled, settled
from thinstock.machine.vacuum import VacuumSection
from thinstock.machine.web import Around, Web, changed

BEHIND = frozenset(
    {"site", "evenness", "grammage_cv_across", "moisture_deviation", "hold", "chained", "among", "passed"}
)
"""What is for the parts behind the press."""
HIDDEN = {
    "loop": BEHIND | {"pressing", "press_felt", "press_partner", "headers"},
    "vacuum": BEHIND,
    "press": BEHIND,
}
"""The parts that are kept, by their place in the line, and what each is not shown."""
_HIDDEN = Hidden()


class _Kept(NamedTuple):
    """What a part did, what it was shown, and the ranges that were left in it."""

    made: Any
    shown: Around
    heard: ValueWatch


class WetEnds:
    """What wet ends did last, by what they were given: a cache and nothing else."""

    MOST = 48

    def __init__(self) -> None:
        self._held: OrderedDict[Hashable, _Kept] = OrderedDict()
        self._lock = Lock()

    def clear(self) -> None:
        """Forget everything."""
        with self._lock:
            self._held.clear()

    def run(self, name: str, part: Part, web: Web, around: Around) -> tuple[Web, Done]:
        """What a part does, from what is kept where it did the same before."""
        shown = _shown(name, around)
        kept = self._of((name, part, web), shown, lambda: part.run(web, shown))
        out, done = kept.made
        return out, _as_of(done, kept.shown, around)

    def settled(self, vacuum: VacuumSection, press: PressSection, web: Web, around: Around) -> Settled:
        """The vacua that the pumps hold, in the same way."""
        shown = _shown("press", around)
        kept = self._of(("pumps", vacuum, press, web), shown, lambda: settled(vacuum, press, web, shown))
        found: Settled = kept.made
        return found._replace(around=around.with_(headers=found.around.headers))

    def _of(self, given: tuple[Any, ...], shown: Around, make: Any) -> _Kept:
        key = (key_of(given), key_of_fields(shown))
        with self._lock:
            found = self._held.get(key)
            if found is not None:
                self._held.move_to_end(key)
        if found is None:
            with watching(ValueWatch()) as heard:
                found = _Kept(make(), shown, heard)
            with self._lock:
                self._held[key] = found
                while len(self._held) > self.MOST:
                    self._held.popitem(last=False)
        listening = recorder()
        if isinstance(listening, ValueWatch):
            for left, values in found.heard.outside.items():
                listening.outside.setdefault(left, []).extend(values)
            listening.bounds.update(found.heard.bounds)
        return found


_keeping: ContextVar[WetEnds | None] = ContextVar("thinstock_wet_ends", default=None)


@contextmanager
def keeping(ends: WetEnds) -> Iterator[None]:
    """Keep here what the wet ends of all runs of one case inside do."""
    token = _keeping.set(ends)
    try:
        yield
    finally:
        _keeping.reset(token)


def run_part(name: str, part: Part, web: Web, around: Around) -> tuple[Web, Done]:
    """What a part does, from what is kept where that may be."""
    ends = _ends(around)
    if ends is not None and name in HIDDEN:
        try:
            return ends.run(name, part, web, around)
        except NoKey:
            pass
    return part.run(web, around)


def run_pumps(vacuum: VacuumSection, press: PressSection, web: Web, around: Around) -> Settled:
    """The vacua that the pumps hold, from what is kept where that may be."""
    ends = _ends(around)
    if ends is not None:
        try:
            return ends.settled(vacuum, press, web, around)
        except NoKey:
            pass
    return settled(vacuum, press, web, around)


def _ends(around: Around) -> WetEnds | None:
    """What keeps this run's wet end; nothing where cases run or a worksheet wants to hear every formula."""
    listening = recorder()
    heard = listening is None or isinstance(listening, ValueWatch)
    return _keeping.get() if around.single and heard else None


def _shown(name: str, around: Around) -> Around:
    """What a part is shown of what is around it; of the demand, the loop sees the wire's."""
    hidden: dict[str, object] = dict.fromkeys(HIDDEN[name], _HIDDEN)
    if name == "loop":
        own = around.demand
        hidden["demand"] = own._replace(**{field: _HIDDEN for field in own._fields if field != "wire"})  # type: ignore[arg-type]
    return around.with_(**hidden)


def _as_of(done: Done, shown: Around, around: Around) -> Done:
    """What was done, in a run with these things around it; what follows from it is worked out anew."""
    own = {name: value for name, value in done.around.__dict__.items() if value is not shown.__dict__[name]}
    fields = {one: done.__dict__[one] for one in names_of(type(done))}  # type: ignore[arg-type]
    inside = {name: _as_of(value, shown, around) for name, value in fields.items() if isinstance(value, Done)}
    new = object.__new__(type(done))
    new.__dict__.update(fields | inside | {"around": changed(around, own)})
    return new
