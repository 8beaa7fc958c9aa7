"""Keys written short: `lift.drum` for `robot.mechanisms.lift.drum_diameter`, where that is clear.

The parts of a short key stand in the full one in their order; the last part is the full one's last by its beginning,
or, where none begins so, `mass` for one that ends with it: `lift.mass` for `moving_mass`.
A number in a list may be left out at the end: `moving_mass` means `moving_mass.0`, where there is one.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from simbot.scenario.errors import Fault, nearest
from simbot.scenario.sheet import listed

NUMBERED = re.compile(r"(\.\d+)+$")  # places in lists at the end of a key
MOST = 12  # keys that a message lists


def keys_meant(written: str, keys: Sequence[str]) -> list[str]:
    """Those of the keys that are meant: the one written in full; those that end with what is written; those with its
    parts, the last one whole; or its beginning; or `mass` for one of its own."""
    if written in keys:
        return [written]
    fitting = [key for key in keys if key_fits(written, key)]
    fitting = fitting or [key for key in keys if _fits_as_mass(written, key)]
    whole = [key for key in fitting if written.rpartition(".")[2] in key.split(".")[-2:]]
    return [key for key in whole if key.endswith(f".{written}")] or whole or fitting


def key_fits(written: str, key: str) -> bool:
    """Whether a short key can mean a full one."""
    given, path = written.split("."), key.split(".")
    end = path[:-1] if path[-1].isdigit() and not given[-1].isdigit() else path
    if not given[-1] or not end[-1].startswith(given[-1]):
        return False
    return _in_order(given[:-1], end[:-1])


def _fits_as_mass(written: str, key: str) -> bool:
    """Whether a short key for a mass can mean a full one: of what moves, of a load."""
    short, full = NUMBERED.sub("", written), NUMBERED.sub("", key)
    (*front, last), (*before, end) = short.split("."), full.split(".")
    places = written.removeprefix(short)
    if last != "mass" or not end.endswith("_mass"):
        return False
    return places in ("", key.removeprefix(full)) and _in_order(front, before)


def one_list(keys: Sequence[str]) -> bool:
    """Whether some keys are the items of one list."""
    return len(keys) > 1 and len({NUMBERED.sub("", key) for key in keys}) == 1


def several(written: str, keys: Sequence[str]) -> Fault:
    """What is wrong with a key that means several, with all of them or how to come to the others."""
    wanted = listed(keys, MOST)
    if len(keys) > MOST:
        wanted += f" (more of the path tells one, as in {_shortest(keys)})"
    return Fault("several numbers are meant by that", written, wanted)


def _shortest(keys: Sequence[str]) -> str:
    """The end of the last key that means it alone, longer than its last part."""
    parts = keys[-1].split(".")
    ends = (".".join(parts[-count:]) for count in range(2, len(parts)))
    return next((end for end in ends if len(keys_meant(end, keys)) == 1), keys[-1])


def no_such(text: str, written: str, keys: Sequence[str], own: str = "", wanted: str = "") -> Fault:
    """What is wrong with a key that means none: the nearest, or, where that means several itself, which ones."""
    near = nearest_key(written, keys, own)
    meant = [] if near is None else keys_meant(near, keys)
    meant = [key for key in meant if own and key.startswith(own)] or meant
    if len(meant) > 1:
        return Fault(text, written, several(written, meant).wanted)
    return Fault(text, written, wanted, near)


def nearest_key(written: str, keys: Sequence[str], own: str = "") -> str | None:
    """The end of a key, with as many names, that looks most like it; ends are held against it in full and cut.

    `own`: keys that begin so come first.
    """
    *front, last = written.casefold().replace(" ", ".").split(".")
    own_first = sorted(keys, key=lambda key: not (own and key.startswith(own)))
    guesses: dict[str, str] = {}
    for key in own_first:
        *before, end = NUMBERED.sub("", key).split(".")
        places = _places(front, before)
        if places is not None:
            for word in (end, *end.split("_"), end[: len(last)]):
                guesses.setdefault(word, ".".join([*places, end]))
    found = nearest(last, guesses)
    if found is not None:
        return guesses[found]
    guesses = {}
    for key in own_first:
        *before, end = [part for part in key.split(".") if not part.isdigit()][-len(front) - 1 :]
        for word in (end, end[: len(last)]):
            guesses.setdefault(".".join([*before, word]), ".".join([*before, end]))
    found = nearest(".".join([*front, last]), guesses)
    return None if found is None else guesses[found]


def _places(parts: Sequence[str], path: Sequence[str]) -> list[str] | None:
    """The parts as a path has them, in their order; None: it has not all."""
    rest = iter(path)
    found = [next((each for each in rest if each.casefold() == part), None) for part in parts]
    whole = [each for each in found if each is not None]
    return whole if len(whole) == len(parts) else None


def _in_order(parts: Sequence[str], path: Sequence[str]) -> bool:
    rest = iter(path)
    return all(part in rest for part in parts)
