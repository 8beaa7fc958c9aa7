"""What standing at stations and places, and for elements, has to say."""

from __future__ import annotations

from collections.abc import Iterator

from simbot.analysis.results import Finding
from simbot.routine.trace import QueueRecord, Trace


def queue_findings(trace: Trace) -> Iterator[Finding]:
    """Robots that change places."""
    for queue in trace.queues:
        if queue.why == "changed":
            text = (
                f"step {queue.step} wants the {queue.where} while the other robot stands there and wants where this "
                "one stands: both leave at once, and nothing here tells whether they pass each other"
            )
            yield _finding("places_changed", queue, text)


def _finding(kind: str, queue: QueueRecord, text: str) -> Finding:
    return Finding(
        kind=kind,
        step=queue.step,
        line=queue.line,
        at_us=queue.from_us,
        mechanism=None,
        cause_line=None,
        cause_step=None,
        late_us=None,
        outcome=None,
        text=text,
        fails=False,
    )
