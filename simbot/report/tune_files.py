"""Writes what a tuning was asked to leave behind: the JSON document, the patch, the table."""

from __future__ import annotations

import sys

from simbot.report.document import to_text
from simbot.report.files import write, write_bytes
from simbot.report.patch import patch_of
from simbot.report.timer_table import table_text
from simbot.report.tune_document import tune_document
from simbot.studies.tune_results import TuneResult


def write_tuned(result: TuneResult, json_file: str | None, patch: str | None, table: str | None) -> bool:
    """Write the files that are named, `-` to stdout; whether one of them went there.

    Where the patch is to be applied, and what it leaves to the hand, goes to stderr.
    """
    if json_file is not None:
        write("--json", to_text(tune_document(result)), json_file)
    if patch is not None:
        made = patch_of(result)
        write_bytes("--patch", made.data, patch)
        where = f"; apply it in {made.root} with git apply or patch -p1" if made.root else ""
        numbers = "1 number changes" if made.changed == 1 else f"{made.changed} numbers change"
        print(f"{numbers} in {patch}{where}", file=sys.stderr)
        for line in made.by_hand:
            print(f"by hand: {line}", file=sys.stderr)
    if table is not None:
        write("--table", table_text(result), table)
    return "-" in (json_file, patch, table)
