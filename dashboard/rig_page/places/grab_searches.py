"""Works out the best places of grabs in threads: it takes up to a minute, and stops once nobody wants it."""

from __future__ import annotations

import threading
import time
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Protocol

from analysis.prediction.grab_places import GrabPlaces, SearchStoppedError, grab_places
from analysis.rig.rig import Rig

SEARCHING = (
    "Being worked out; with several grabs it takes up to a minute. The answer comes by itself."
)
FAILED = "Not known: the search ended by a fault of this program."
THREAD = "grabs"  # name of the threads
MOST_KEPT = 12  # memory only: answers that are kept
MOST_WANTED = 12  # memory only: searches that wait
AT_ONCE = 2  # searches at a time that somebody wants; chosen by us: the desk must go on answering
# a search that no page has asked for this long is stopped; chosen by us: an open page asks every 1.5 s, and a
# busy machine or a page in the background asks later
ABANDONED_S = 20.0


class Edited(Protocol):
    """The draft that a search is made for."""

    @property
    def text(self) -> str:
        """Of the rig file, as it is now."""


@dataclass(frozen=True)
class GrabAnswer:
    """What is known of the places of a rig's grabs."""

    places: GrabPlaces | None  # None: not yet, or never
    why: str = ""  # why there are none; "" where there are


@dataclass(eq=False)
class _Search:
    """One rig whose places are wanted."""

    text: str  # of the rig file
    rig: Rig  # the same, read
    asked_s: float  # when a page asked last, on the clock of the searches
    drafts: list[Edited] = field(default_factory=list)  # of which rig files it is the text


class GrabSearches:
    """Works out the places of grabs, a thread for each rig.  Safe for several threads.

    A search stops within the time of one job, mostly some hundredths of a second, when the draft that it is for has another
    text, or when no page has asked for it for ABANDONED_S.  At most AT_ONCE go on at a time, those that are
    stopping not counted; the others wait, the one that was asked last is next.
    clock: of ABANDONED_S, s.
    """

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._lock = threading.Lock()
        self._answers: OrderedDict[str, GrabAnswer] = OrderedDict()  # by the text of the rig file
        self._running: list[_Search] = []
        self._waiting: list[_Search] = []  # the one that was asked last is the last
        self.finished = (
            0  # searches that ended or were stopped; a page looks again where it has risen
        )

    @property
    def running(self) -> int:
        """Number of searches that go on, those that are stopping among them."""
        with self._lock:
            return len(self._running)

    def ask(self, text: str, rig: Rig, draft: Edited | None = None) -> GrabAnswer:
        """The places, or that they are being worked out.

        text: of the rig file; draft: whose text it is, None where it can't change.
        """
        with self._lock:
            if text in self._answers:
                self._answers.move_to_end(text)
                return self._answers[text]
            self._waiting = [one for one in self._waiting if self._wanted(one)]
            search = self._find(text)
            if search is None:
                search = _Search(text=text, rig=rig, asked_s=self._clock())
                self._waiting = [*self._waiting, search][-MOST_WANTED:]
            elif search in self._waiting:
                self._waiting.remove(search)
                self._waiting.append(search)
            search.asked_s = self._clock()
            if draft is not None and draft not in search.drafts:
                search.drafts.append(draft)
            self._begin()
            return GrabAnswer(None, SEARCHING)

    def still_wanted(self, text: str) -> None:
        """A page still waits for the places of the rig with this text."""
        with self._lock:
            search = self._find(text)
            if search is not None:
                search.asked_s = self._clock()

    def _find(self, text: str) -> _Search | None:
        """The search for this text that somebody wants."""
        every = (*self._running, *self._waiting)
        return next((one for one in every if one.text == text and self._wanted(one)), None)

    def _wanted(self, search: _Search) -> bool:
        """Whether a page may still wait for this search."""
        if self._clock() - search.asked_s > ABANDONED_S:
            return False
        return not search.drafts or any(one.text == search.text for one in search.drafts)

    def _begin(self) -> None:
        """Begin what waits, as far as it may go on now; the lock is held."""
        while self._waiting and sum(map(self._wanted, self._running)) < AT_ONCE:
            search = self._waiting.pop()
            if self._wanted(search):
                self._running.append(search)
                threading.Thread(
                    target=self._work, args=(search,), name=THREAD, daemon=True
                ).start()

    def _work(self, search: _Search) -> None:
        """Work out one rig, then begin what waits."""
        answer: GrabAnswer | None
        try:
            answer = GrabAnswer(grab_places(search.rig, lambda: self._wanted(search)))
        except SearchStoppedError:
            answer = None
        except Exception:  # any fault of ours: the page must not wait for ever
            answer = GrabAnswer(None, FAILED)
        with self._lock:
            self._running.remove(search)
            if answer is not None:
                self._answers[search.text] = answer
                while len(self._answers) > MOST_KEPT:
                    self._answers.popitem(last=False)
            self.finished += 1
            self._begin()


@dataclass(frozen=True)
class DraftSearches:
    """The searches for one draft."""

    searches: GrabSearches  # of all drafts
    draft: Edited | None = None  # None: its text can't change

    @property
    def finished(self) -> int:
        """Searches that ended or were stopped."""
        return self.searches.finished

    def ask(self, text: str, rig: Rig) -> GrabAnswer:
        """The places for a text of the draft, or that they are being worked out."""
        return self.searches.ask(text, rig, self.draft)
