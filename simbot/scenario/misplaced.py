"""Keys that stand a level too high: beside the block that they belong into."""

from __future__ import annotations

from simbot.scenario.errors import Fault
from simbot.scenario.parameters import Kind
from simbot.scenario.sheet import Loc, Sheet
from simbot.scenario.yaml_reader import Node

HOLDERS = ("servo", "control")  # blocks whose keys are written beside them by mistake


def put_back(sheet: Sheet, loc: Loc, kind: Kind) -> bool:
    """Tell of each such key where it belongs, and read it there if the block is there; True where one has none.

    Where a block is not written at all, what else it would need is not asked for.
    """
    node = sheet.node(loc)
    mapping = node.value if node is not None else None
    if not isinstance(mapping, dict):
        return False
    own = {parameter.key for parameter in kind.PARAMETERS} | {"kind"}
    blocks = {
        parameter.key: {inner.key for inner in parameter.block}
        for parameter in kind.PARAMETERS
        if parameter.key in HOLDERS and parameter.dimension == "block"
    }
    strays = [key for key in mapping if key not in own and any(key in inner for inner in blocks.values())]
    homeless = False
    for key in strays:
        holder = max(
            (name for name, inner in blocks.items() if key in inner),
            key=lambda name: (name in mapping, sum(stray in blocks[name] for stray in strays)),
        )
        text = sheet.text((*loc, key))
        wanted = f"{holder}: {{{key}: {'...' if text is None else text}}}"
        sheet.fail((*loc, key), Fault(f"this key belongs under `{holder}`", key, wanted), of_key=True)
        block = mapping.get(holder)
        stray: Node = mapping.pop(key)
        if block is None:
            homeless = True
        elif isinstance(block.value, dict):
            block.value.setdefault(key, stray)
    return homeless
