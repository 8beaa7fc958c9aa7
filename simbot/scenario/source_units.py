"""In which unit a number in source code is: by the ending of a name, a comment, or a call of a language's own
library. Nothing is guessed: where nothing says it, the plan has to.
"""

from __future__ import annotations

import re
from fractions import Fraction

UNITS: dict[str, Fraction] = {  # in microseconds
    "s": Fraction(1_000_000),
    "ms": Fraction(1000),
    "us": Fraction(1),
    "ns": Fraction(1, 1000),
}
_WORDS = {
    "s": ("s", "sec", "secs", "second", "seconds"),
    "ms": ("ms", "msec", "msecs", "milli", "millis", "millisec", "millisecs", "millisecond", "milliseconds"),
    "us": ("us", "usec", "usecs", "micros", "microsec", "microsecond", "microseconds"),
    "ns": ("ns", "nsec", "nanos", "nanosec", "nanosecond", "nanoseconds"),
}
UNIT_OF_WORD = {word: unit for unit, words in _WORDS.items() for word in words}

# What the documentation of each language's own library says of its calls.
# Java SE API: Thread.sleep(long millis). Kotlin: the same, and kotlinx.coroutines delay(timeMillis).
# Python library reference: time.sleep(secs), asyncio.sleep(delay) in seconds. POSIX.1-2001: usleep(useconds_t).
# C++ standard [time.syn] and [time.duration.literals] name their units themselves.
LIBRARY_CALLS: dict[str, dict[str, str]] = {
    "java": {"Thread.sleep": "ms"},
    "kotlin": {"Thread.sleep": "ms", "delay": "ms"},
    "python": {"time.sleep": "s", "asyncio.sleep": "s"},
    "c": {"usleep": "us"},
    "cpp": {"usleep": "us"},
}
_WORD_ENDS = re.compile(r"[A-Z]+(?![a-z])|[A-Z]?[a-z]+|\d+")
_COMMENT_MARKS = re.compile(r"^\s*(?://+|/\*+|#+|\*)\s*|\s*\*+/\s*$")


def unit_of_name(name: str) -> str | None:
    """`CLAW_CLOSE_MS`, `openMillis`, `kLiftSeconds`: the unit in which the name ends."""
    words: list[str] = _WORD_ENDS.findall(name)
    if len(words) < 2:
        return UNIT_OF_WORD.get(name.casefold()) if len(name) > 2 else None
    return UNIT_OF_WORD.get(words[-1].casefold())


def unit_of_word(word: str) -> str | None:
    """`msec`, `TimeUnit.MILLISECONDS`, `std::chrono::seconds`: a unit by its own name."""
    return UNIT_OF_WORD.get(re.split(r"[.:]+", word)[-1].casefold())


def unit_of_comment(comment: str) -> str | None:
    """A comment that states one unit: `ms`, `[ms] claw`, `time in ms`, `350 ms`, `(seconds)`."""
    text = _COMMENT_MARKS.sub("", comment.strip()).strip()
    text = _COMMENT_MARKS.sub("", text).strip()
    found = {UNIT_OF_WORD.get(text.casefold().rstrip("."))}
    found |= {UNIT_OF_WORD.get(word.casefold()) for word in re.findall(r"[\[(]\s*([A-Za-z]+)\s*[\])]", text)}
    stated = r"(?:\bin|\bunit:?|\d)\s*(ms|s|us|ns|[A-Za-z]*sec(?:ond)?s?|[a-z]+is)\b"
    found |= {UNIT_OF_WORD.get(word.casefold()) for word in re.findall(stated, text)}
    found |= {UNIT_OF_WORD.get(word.casefold()) for word in re.findall(r"^([A-Za-z]+)\s*[,;:]", text)}
    units = found - {None}
    return units.pop() if len(units) == 1 else None


def unit_of_call(dotted: str, language: str, imports: str) -> str | None:
    """The unit of a call by its name's ending, or by its library's documentation."""
    last = re.split(r"[.:>]+", dotted)[-1]
    calls = LIBRARY_CALLS[language]
    if dotted in calls:
        return calls[dotted]
    if language == "python" and last == dotted == "sleep":
        own = re.search(r"^\s*from\s+(time|asyncio)\s+import\s[^#\n]*\bsleep\b(?!\s+as\b)", imports, re.M)
        return "s" if own else None
    return unit_of_name(last) or _unit_of_time_unit(dotted)


def _unit_of_time_unit(dotted: str) -> str | None:
    """`TimeUnit.SECONDS.sleep`: Java SE API, java.util.concurrent.TimeUnit."""
    found = re.fullmatch(r"(?:.*\.)?TimeUnit\.([A-Z]+)\.sleep", dotted)
    return UNIT_OF_WORD.get(found[1].casefold()) if found else None
