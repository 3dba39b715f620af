"""The one stream of a page: readings, what others recorded, the simulated dispenser.

It looks at what was heard last and keeps nothing, so it can run for days; a slow screen
misses readings and never gets old ones.
"""

import asyncio
import json
from collections.abc import AsyncIterator
from dataclasses import dataclass, field

from pydantic import TypeAdapter
from starlette.concurrency import run_in_threadpool

from gaugewright.app.live_values import LiveReading
from gaugewright.app.yard import RigHere, Yard
from gaugewright.errors import JournalError
from gaugewright.words import ENGLISH, Speech
from gaugewright.workbench.streams import Streams

LOOK_EVERY_S = 0.05
LEAST_APART_S = 0.1
"""A reading is sent at most this often. [s]"""
MOST_APART_S = 1.0
"""Without anything new the age is sent this often. [s]"""
LOOK_AT_BOOK_EVERY_S = 2.0
"""Another program may write to the same database. [s]"""
MOST_STREAMS = 40

_TO_JSON = TypeAdapter(LiveReading)


@dataclass(slots=True)
class _Sent:
    """What this screen was told last."""

    seq: dict[str, tuple[int, bool, float]] = field(default_factory=dict)
    number: int = 0
    rig: tuple[bool, float] | None = None
    looked_s: float = 0.0
    told_s: float = 0.0


async def live_events(
    yard: Yard, job: str, streams: Streams, speech: Speech = ENGLISH
) -> AsyncIterator[bytes]:
    """Give the events of one page until the server stops or the page is gone."""
    loop = asyncio.get_running_loop()
    sent = _Sent(number=await run_in_threadpool(_number, yard, job))
    streams.count += 1
    try:
        yield b"retry: 1000\n\n"
        while not streams.is_closing():
            for event in _due(yard, job, sent, loop.time(), speech):
                yield event
            if loop.time() - sent.looked_s >= LOOK_AT_BOOK_EVERY_S:
                sent.looked_s = loop.time()
                number = await run_in_threadpool(_number, yard, job)
                yard.last_numbers[job] = max(yard.last_numbers.get(job, 0), number)
            await asyncio.sleep(LOOK_EVERY_S)
        yield _event("bye", "{}")
    finally:
        streams.count -= 1


def _number(yard: Yard, job: str) -> int:
    """Return the last entry of a job; that last known where the book does not answer."""
    try:
        return yard.book.store.tip(job).number
    except JournalError:
        return yard.last_numbers.get(job, 0)


def _due(yard: Yard, job: str, sent: _Sent, now_s: float, speech: Speech) -> list[bytes]:
    events = []
    for live in yard.desk.of_job(job):
        shown = live.snapshot()
        seq, was_live, at_s = sent.seq.get(shown.tank_id, (-1, False, -MOST_APART_S))
        is_new = shown.seq != seq or shown.is_live != was_live
        apart_s = LEAST_APART_S if is_new else MOST_APART_S
        # Half a look early: a reading that comes every 0.1 s is sent every 0.1 s.
        if now_s - at_s >= apart_s - LOOK_EVERY_S / 2:
            sent.seq[shown.tank_id] = (shown.seq, shown.is_live, now_s)
            events.append(_event("reading", _TO_JSON.dump_json(speech.all_of(shown)).decode()))
    number = yard.last_numbers.get(job, 0)
    if number > sent.number:
        sent.number = number
        events.append(_event("job", json.dumps({"job": job, "number": number})))
    if yard.rig is not None and yard.rig.job == job:
        rig = _rig(yard.rig)
        if rig != sent.rig:
            sent.rig = rig
            text = json.dumps({"is_pouring": rig[0], "shown_l": rig[1]})
            events.append(_event("rig", text))
    if now_s - sent.told_s >= MOST_APART_S:
        # A job without an instrument would be silent, and silence means a line that is down.
        sent.told_s = now_s
        events.append(_event("ping", json.dumps({"number": sent.number})))
    return events


def _rig(here: RigHere) -> tuple[bool, float]:
    rig = here.running.rig
    return rig.is_pouring, round(rig.shown_l, 1)


def _event(name: str, data: str) -> bytes:
    return f"event: {name}\ndata: {data}\n\n".encode()
