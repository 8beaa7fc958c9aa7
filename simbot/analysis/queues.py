"""What standing at stations and places, and for elements, has to say."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from simbot.analysis.results import Finding
from simbot.routine.trace import QueueRecord, Trace

LONG_US = 3_000_000  # at once: a wait that is worth another plan
LONG_IN_ALL_US = 10_000_000  # at one step, in parts
WHY = {
    "taken": "somebody else is at the {}, or too near it",
    "empty": "the {} is empty",
    "clearing": "the {} is being cleared",
}


def queue_findings(trace: Trace) -> Iterator[Finding]:
    """Robots that change places; and every step that stands long in all."""
    spans: dict[tuple[int, str, str], list[QueueRecord]] = {}
    for queue in trace.queues:
        if queue.why == "changed":
            text = (
                f"step {queue.step} wants the {queue.where} while the other robot stands there and wants where this "
                "one stands: both leave at once, and nothing here tells whether they pass each other"
            )
            yield _finding("places_changed", queue, text)
        elif queue.why in WHY:
            spans.setdefault((queue.line, queue.where, queue.why), []).append(queue)
    for queues in spans.values():
        lasts = [queue.to_us - queue.from_us for queue in queues]
        if max(lasts) >= LONG_US or sum(lasts) >= LONG_IN_ALL_US:
            first = queues[0]
            longest = f", {max(lasts) * 1e-6:.1f} s at the longest" if len(lasts) > 1 else ""
            end = "; it still waits when its period ends" if _cut(queues[-1], trace) else ""
            why = WHY[first.why].format(first.where)
            text = f"step {first.step} stands {sum(lasts) * 1e-6:.1f} s waiting: {why}{longest}{end}"
            found = _finding("waits_long", first, text)
            yield replace(found, late_us=sum(lasts), times=len(queues))  # told once, by the worst state


def _cut(queue: QueueRecord, trace: Trace) -> bool:
    return any(cut.at_us == queue.to_us and not cut.reset for cut in trace.cuts)


def _finding(kind: str, queue: QueueRecord, text: str) -> Finding:
    return Finding(
        kind=kind,
        step=queue.step,
        line=queue.line,
        at_us=queue.from_us,
        about=queue.why,
        text=text,
    )
