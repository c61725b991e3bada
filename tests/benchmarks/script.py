"""What a person would do instead: a script with pandas and scipy over a folder of CSV files.

Written as such scripts are, by somebody who knows them: the files' layout is known beforehand, the derivative
of the front is smoothed and summed up, results are kept in one CSV file, charts are pictures.
"""

from __future__ import annotations

import os
from pathlib import Path

import pandas as pd
from tests.benchmarks.transition import derivative_moments

BED_ML = 1570.8
PREAMBLE = 5
VOLUME, SIGNAL, STEP = "Volume [mL]", "Conductivity [mS/cm]", "Phase"
TRANSITIONS = {"wash to strip": "Strip", "strip to rinse": "Rinse", "rinse to clean": "Clean"}
BASELINE = 20  # first cycles


def analyse(path: Path, *, bed: str, cycle: int) -> list[dict[str, object]]:
    """Read a run and return a row of results for each of its transitions."""
    run = pd.read_csv(path, skiprows=PREAMBLE)
    rows = []
    for name, step in TRANSITIONS.items():
        part = run[run[STEP] == step]
        volume = (part[VOLUME] - part[VOLUME].iloc[0]) / BED_ML
        found = derivative_moments(volume.to_numpy(), part[SIGNAL].to_numpy())
        rows.append({"bed": bed, "cycle": cycle, "transition": name, **found})
    return rows


def log_run(path: Path, results: Path, *, bed: str, cycle: int) -> None:
    """Analyse a run and add it to the file of results, on disk when done."""
    rows = pd.DataFrame(analyse(path, bed=bed, cycle=cycle))
    with results.open("a") as file:
        rows.to_csv(file, header=file.tell() == 0, index=False)
        file.flush()
        os.fsync(file.fileno())


def trend_page(results: Path, picture: Path, *, bed: str) -> None:
    """Draw the three metrics of a bed over its cycles, with limits from its first cycles."""
    from matplotlib import pyplot

    table = pd.read_csv(results)
    table = table[table.bed == bed]
    figure, panels = pyplot.subplots(3, 1, figsize=(12, 9), sharex=True)
    for panel, metric in zip(panels, ("hetp_moments", "asymmetry", "skewness"), strict=True):
        for name, one in table.groupby("transition"):
            first = one[metric].head(BASELINE)
            (line,) = panel.plot(one.cycle, one[metric], ".-", label=name)
            for side in (-3, 3):
                panel.axhline(first.mean() + side * first.std(), color=line.get_color(), linestyle=":")
        panel.set_ylabel(metric)
    panels[0].legend()
    figure.savefig(picture)
    pyplot.close(figure)


def fleet_page(results: Path, page: Path) -> None:
    """Write a table of all beds: the last cycle, and how far its worst metric is from the first cycles."""
    table = pd.read_csv(results)
    metrics = ["hetp_moments", "asymmetry", "skewness"]
    beds = table.groupby(["bed", "transition"])
    first = table[beds.cumcount() < BASELINE].groupby(["bed", "transition"])[metrics]
    away = ((beds[metrics].last() - first.mean()) / first.std()).abs().max(axis=1)
    rows = pd.DataFrame({"cycle": beds["cycle"].last(), "away": away})
    worst = rows.groupby("bed").max().sort_values("away", ascending=False)
    page.write_text(worst.to_html())


def judge(values: pd.DataFrame) -> pd.DataFrame:
    """Tell which values of a life lie beyond three standard deviations, alone or as a weighted mean."""
    first = values.head(BASELINE)
    away = (values - first.mean()) / first.std()
    smooth = away.ewm(alpha=0.2, adjust=False).mean()
    return (away.abs() > 3) | (smooth.abs() > 3 * (0.2 / 1.8) ** 0.5)
