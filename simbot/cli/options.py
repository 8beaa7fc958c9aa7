"""Arguments and options that several commands take."""

from pathlib import Path
from typing import Annotated

import typer

PlanFile = Annotated[Path, typer.Argument(metavar="PLAN", help="The plan file (YAML).", show_default=False)]
Settings = Annotated[
    list[str] | None,
    typer.Option(
        "--set",
        metavar="KEY=VALUE",
        help="Replace a value of the files, as in robot.mass='11 kg'. May be given again.",
        show_default=False,
    ),
]
JsonFile = Annotated[
    str | None,
    typer.Option(
        "--json", metavar="FILE", help="Write the JSON document there; - for stdout.", show_default=False
    ),
]
CsvFile = Annotated[
    str | None,
    typer.Option(
        "--csv", metavar="FILE", help="Write the numbers there, one a row; - for stdout.", show_default=False
    ),
]
BatteryState = Annotated[
    str | None,
    typer.Option(
        "--battery",
        metavar="STATE",
        help="Battery state whose bars are drawn; mid-event unless said. The tables keep all.",
        show_default=False,
    ),
]
Seed = Annotated[
    int, typer.Option("--seed", metavar="S", help="Of the luck: the same seed, the same matches.")
]
BatteryStates = Annotated[
    str | None,
    typer.Option(
        "--battery",
        metavar="STATES",
        help="Battery of the matches, as in fresh:3,mid-event:5,tired:2; mid-event unless said.",
        show_default=False,
    ),
]
Workers = Annotated[
    int | None,
    typer.Option("--workers", metavar="N", help="Processes; one a core unless said.", show_default=False),
]
Cluster = Annotated[
    str | None,
    typer.Option(
        "--cluster",
        metavar="ADDRESS",
        help="Play on the workers of a dask scheduler, as in tcp://host:8786; one that you trust.",
        show_default=False,
    ),
]
Strict = Annotated[
    bool, typer.Option("--strict", help="Exit with 3 where a state fails, or a rule or a part gives way.")
]
StudiesFolder = Annotated[
    Path | None,
    typer.Option(
        "--studies",
        metavar="DIR",
        help="Folder with the JSON documents of match, compare, worth, sweep and fit to draw too.",
        show_default=False,
    ),
]
