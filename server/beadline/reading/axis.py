"""The volume axis: as written, joined where it starts anew, or integrated from flow over time."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from beadline.reading import clocks
from beadline.reading.errors import UnreadableFile
from beadline.reading.trace import Floats
from beadline.reading.wording import counted, shown

_COARSE = 0.2  # part of the rows with the time of the row before, from which on a clock is too coarse
_LONG = 3.0  # usual intervals, from which on rows were left out while nothing changed
_FEWEST = 3  # rows between one start of the axis and the next
Rows = np.ndarray[tuple[int], np.dtype[np.int64]]


@dataclass(frozen=True, slots=True)
class Axis:
    """A volume or time for each row, never falling.

    Attributes
    ----------
    values : ndarray
        In the axis' unit, from its own start.
    joined : int
        How often it started anew and was joined.
    """

    values: Floats
    joined: int


def joined(
    values: Floats,
    *,
    starts: Sequence[int] | None,
    name: str,
    lines: Rows,
    where: object,
    show: Callable[[float], str] = "{:g}".format,
) -> Axis:
    """Return an axis that never falls; where a step starts it anew, the steps are joined.

    Parameters
    ----------
    values : ndarray
        As written; no NaN.
    starts : sequence of int or None
        Rows where steps start; None if the file does not say.
    name, lines, where
        The axis' name, the line of each row, and the words for a place in the file, for messages.
    show : callable
        Writes a value of the axis.

    Raises
    ------
    UnreadableFile
        If it falls elsewhere, or never moves.
    """
    _refuse_short_or_still(values, name, lines, where)
    falls = np.flatnonzero(np.diff(values) < 0) + 1
    if not len(falls):
        return Axis(values, 0)
    offsets = np.zeros(len(values))
    begin, begun, carried = float(values[0]), 0, 0.0
    resets = set(starts or ())
    for row in falls:
        before, now = float(values[row - 1]), float(values[row])
        span = max(float(np.max(values[:row])) - min(begin, 0.0), 1e-300)
        at_start = starts is None or bool(resets & {row - 1, row, row + 1})
        if not at_start or row - begun < _FEWEST or now - min(begin, 0.0) > 0.05 * span:
            raise _falls(name, show(before), show(now), _place(where, lines, int(row), name))
        carried += before - min(now, 0.0)
        offsets[row:] = carried
        begin, begun = now, int(row)
    return Axis(values + offsets, len(falls))


def _refuse_short_or_still(values: Floats, name: str, lines: Rows, where: object) -> None:
    if len(values) < 2:
        raise UnreadableFile(
            f"There is {'one row' if len(values) == 1 else 'no row'} of numbers; a trace needs two at least.",
            where=_place(where, lines, 0, name) if len(values) else "whole file",
            mend="Export the whole run with its signals.",
            code="too-few-points",
        )
    if not np.ptp(values) > 0:
        raise UnreadableFile(
            f"The axis stands at {values[0]:g} on every row.",
            where=_place(where, lines, 0, name),
            mend="Check that the flow meter or totaliser was logged, or choose "
            "another axis in the reading profile.",
            code="still-axis",
        )


def _falls(name: str, before: str, now: str, where: str) -> UnreadableFile:
    return UnreadableFile(
        f"{shown(name)} falls from {before} to {now} in the middle of a step.",
        where=where,
        mend="Check whether two runs are in one file or rows are out of order; "
        "export one run in the order of logging, by a clock that was not set back.",
        code="falling-axis",
    )


def _place(where: object, lines: Rows, row: int, name: str) -> str:
    return where(int(lines[row]), name) if callable(where) else f"row {row + 1} of {shown(name)}"


def unwrapped(times_s: Floats, notes: list[str]) -> Floats:
    """Let a clock run on past midnight, and say so."""
    out, turns = clocks.unwrap(times_s)
    if turns:
        notes.append(f"The clock passed midnight {counted(turns, 'time')}; the time runs on.")
    return out


def spread(times_s: Floats, name: str, notes: list[str]) -> Floats:
    """Spread rows that bear the same time evenly up to the next one, where a coarse clock is the rule."""
    new = np.concatenate([[True], np.diff(times_s) != 0])
    if np.isnan(times_s).any() or int((~new).sum()) <= _COARSE * len(times_s):
        return times_s
    first = np.flatnonzero(new)
    if len(first) < _FEWEST:
        return times_s
    usual = float(np.median(np.diff(times_s[first])))
    many = np.diff(np.append(first, len(times_s)))
    room = np.minimum(np.append(np.diff(times_s[first]), usual), usual)
    within = np.arange(len(times_s)) - np.repeat(first, many)
    notes.append(
        f"{name} gives several rows the same time ({counted(len(first), 'time')} on {len(times_s)} rows); "
        "the rows were spread evenly up to the next one."
    )
    out: Floats = times_s + within * np.repeat(room / many, many)
    return out


def integrated(time_s: Floats, flow_m3_s: Floats, notes: list[str]) -> Floats:
    """Return the volume that a flow has passed by each time [m^3], by the trapezoid rule.

    Raises
    ------
    UnreadableFile
        If no flow was recorded at all.
    """
    known = np.isfinite(flow_m3_s)
    if not known.any() or not np.any(flow_m3_s[known] != 0):
        raise UnreadableFile(
            "The flow column holds no flow, so that there is no volume to put the signals on.",
            where="flow column",
            mend="Export the volume, or the flow that was measured.",
            code="no-flow",
        )
    if not known.all():
        flow_m3_s = _filled(time_s, flow_m3_s, known, notes)
    if (flow_m3_s < 0).any():
        notes.append("Flow below zero was taken as flow the other way through the column; its size counts.")
    size, lasted = np.abs(flow_m3_s), np.diff(time_s)
    mean = 0.5 * (size[1:] + size[:-1])
    long = (lasted > _LONG * np.median(lasted)) & (np.abs(np.diff(size)) > 0.1 * size.max())
    if long.any():
        notes.append(
            f"The flow differs before and after {counted(int(long.sum()), 'gap')} between the rows; "
            "it was taken to stay as it was until the later row."
        )
        mean = np.where(long, size[:-1], mean)
    return np.concatenate([[0.0], np.cumsum(mean * lasted)])


def _filled(
    time_s: Floats, flow_m3_s: Floats, known: np.ndarray[tuple[int], np.dtype[np.bool_]], notes: list[str]
) -> Floats:
    """Return the flow on every row: on straight lines over a few gaps, held if only changes were logged."""
    missing = counted(int((~known).sum()), "row")
    if 2 * int(known.sum()) > len(known):
        notes.append(f"Flow is missing on {missing}; it was taken on a straight line between its neighbours.")
        return np.interp(time_s, time_s[known], flow_m3_s[known])
    notes.append(
        f"Flow is missing on {missing}, most of all; it was taken to stay until the next one is written."
    )
    last = np.maximum.accumulate(np.where(known, np.arange(len(known)), int(np.argmax(known))))
    return flow_m3_s[last]


def merged(volume: Floats, values: Sequence[Floats]) -> tuple[Floats, list[Floats], int]:
    """Return rows of one volume made one, values averaged over those that are known, and how many went."""
    new = np.concatenate([[True], np.diff(volume) > 0])
    if new.all():
        return volume, list(values), 0
    first = np.flatnonzero(new)
    out = []
    for column in values:
        known = np.isfinite(column)
        total = np.add.reduceat(np.where(known, column, 0.0), first)
        count = np.add.reduceat(known.astype(float), first)
        out.append(np.divide(total, count, out=np.full(len(first), np.nan), where=count > 0))
    return volume[first], out, int(len(volume) - len(first))
