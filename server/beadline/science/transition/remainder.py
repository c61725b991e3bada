"""What the fitted front left over, taken in where it is significant, and how sure all of it is."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import scipy

from beadline.science.transition.fitting import SLOPE_EXPECTED
from beadline.science.transition.front import Front
from beadline.science.transition.result import Array

_KNOT_SD = 0.35
_KIN_KNOTS = 2.0  # neighbours this far apart still tend to go the same way
_CUBIC = 3
_GAUSS_NODES, _GAUSS_WEIGHTS = np.polynomial.legendre.leggauss(4)
_BLOCK = (
    8192  # entries of a matrix up to which linear algebra starts no threads, that cost more than they save
)
_SIZES = 10.0 ** np.arange(-6.0, 0.1, 0.25)  # standard deviations tried for the left-over curve


@dataclass(frozen=True, slots=True, eq=False)
class Splines:
    """Local cubic splines that carry what the front's parts can't.

    Attributes
    ----------
    knots : ndarray
        Simple knots, dense where the front is steep [CV].
    drawn : BSpline
        The k splines, each 0 at both ends, mixed so that they answer to independent numbers of unit
        size: how large each is expected to be, and that neighbours go the same way.
    """

    knots: Array
    drawn: scipy.interpolate.BSpline

    @property
    def count(self) -> int:
        """How many splines there are."""
        return int(self.drawn.c.shape[1])

    def within(self, volume_cv: Array) -> slice:
        """Which of rising points the splines reach; elsewhere all of them are 0."""
        first, last = np.searchsorted(volume_cv, self.knots[[0, -1]], side="left").tolist()
        return slice(first, last)

    def design(self, volume_cv: Array) -> Array:
        """The mixed splines at points that they reach [n, k]."""
        return np.asarray(self.drawn(volume_cv))

    def moments(self, about_cv: float) -> Array:
        """Moments 0 to 4 of the splines' derivatives about a volume [k, 5]; exact, by Gauss's rule."""
        middle = 0.5 * (self.knots[1:] + self.knots[:-1])
        half = 0.5 * np.diff(self.knots)
        nodes = (middle[:, None] + half[:, None] * _GAUSS_NODES).ravel()
        weight = (half[:, None] * _GAUSS_WEIGHTS).ravel()
        values = self.design(nodes) * weight[:, None]
        away = nodes - about_cv
        rows = (-k * (away ** (k - 1)) @ values for k in range(1, 5))
        return np.column_stack([np.zeros(values.shape[1]), *rows])


def splines_for(front: Front, *, start_cv: float, end_cv: float, spacing_cv: float) -> Splines:
    """Lay splines over the part of the record where the front is under way."""
    sd = max(front.sd_cv, 1.5 * spacing_cv)
    centre = front.core[0]
    first = min(centre - 7 * sd, front.early[0] - 4 * sd if front.early else centre)
    last = centre + (7 * sd if not front.late else 3 * sd + 5 * np.exp(front.late[0]))
    ahead = _outward(max(centre - first, 5 * sd), sd)
    behind = _outward(max(last - centre, 5 * sd), sd)
    knots = np.concatenate((centre - ahead[::-1], centre + behind[1:]))
    knots = knots[(knots > start_cv - 3 * sd) & (knots < end_cv + 3 * sd)]
    if knots.size < 6:
        knots = np.linspace(start_cv, end_cv, 6)
    middle = knots[2:-2]
    share = np.clip(front.rise(middle) / front.height, 0.0, 1.0)
    size = np.sqrt(4 * share * (1 - share)) + 0.002
    apart = np.abs(np.subtract.outer(np.arange(size.size), np.arange(size.size))) / _KIN_KNOTS
    kin = np.linalg.cholesky((1 + apart) * np.exp(-apart) + 1e-9 * np.eye(size.size))
    return Splines(knots, _mixed(knots, size[:, None] * kin))


def _mixed(knots: Array, mix: Array) -> scipy.interpolate.BSpline:
    heights = np.zeros((mix.shape[0] + 2 * _CUBIC, mix.shape[0]))
    heights[_CUBIC:-_CUBIC] = mix  # the splines that aren't 0 at an end stay out
    ends = np.repeat(knots[[0, -1]], _CUBIC)
    padded = np.concatenate((ends[:_CUBIC], knots, ends[_CUBIC:]))
    return scipy.interpolate.BSpline(padded, heights, _CUBIC)


def _outward(reach: float, sd: float) -> Array:
    """Distances of knots from the centre: even over the core, wider far away."""
    steps = [0.0]
    while steps[-1] < reach and len(steps) < 40:
        steps.append(steps[-1] + _KNOT_SD * sd * max(1.0, steps[-1] / (5 * sd)))
    return np.array(steps)


@dataclass(frozen=True, slots=True, eq=False)
class Posterior:
    """The front with its correction, and the spread of every number in it.

    Attributes
    ----------
    front : Front
        The fitted parts the correction starts from.
    splines : Splines
        The local splines.
    shift : ndarray [p]
        Correction of level, slope, heights, part parameters, then the splines' sizes.
    spread : ndarray [p, p]
        Root of the covariance of `shift`: columns are independent directions of unit variance.
    size : float
        Standard deviation found for the left-over curve, as a fraction of the step.
    left : ndarray [n]
        What remains of the data.
    """

    front: Front
    splines: Splines
    shift: Array
    spread: Array
    size: float
    left: Array


@dataclass(frozen=True, slots=True, eq=False)
class Columns:
    """Derivatives of a curve by every number in it: the splines' only at the points that they reach.

    Attributes
    ----------
    parts : ndarray [n, p]
        By the numbers of plateaus and parts.
    local : ndarray [m, k]
        By the splines' sizes.
    inside : slice
        The m points that the splines reach.
    """

    parts: Array
    local: Array
    inside: slice

    def times(self, shift: Array) -> Array:
        """What a change of the numbers [p + k] does to the curve [n]."""
        p = self.parts.shape[1]
        change = self.parts @ shift[:p]
        change[self.inside] += self.local @ shift[p:]
        return np.asarray(change)

    def pulled(self, weight: Array) -> Array:
        """Sums over the points [p + k, m], weighted [n, m]."""
        return np.concatenate((self.parts.T @ weight, self.local.T @ weight[self.inside]))


@dataclass(frozen=True, slots=True, eq=False)
class Reduced:
    """A record boiled down to what the correction of a fitted front needs.

    Attributes
    ----------
    front, splines : Front, Splines
        What is corrected, and with what.
    columns, left, weights : Columns [n, p + k], ndarray [n], [n]
        Derivatives of the curve by every number; what the front left over; roots of the weights.
    root : ndarray
        Triangle with the same normal equations as all weighted points.
    """

    front: Front
    splines: Splines
    columns: Columns
    left: Array
    weights: Array
    root: Array


def reduced(volume_cv: Array, left: Array, front: Front, splines: Splines, *, weights: Array) -> Reduced:
    """Boil a record down; `weights` are square roots."""
    line, inside = volume_cv - front.about_cv, splines.within(volume_cv)
    parts = np.vstack((np.ones_like(line), line, front.tangents(volume_cv))).T
    columns = Columns(parts, splines.design(volume_cv[inside]), inside)
    return Reduced(front, splines, columns, left, weights, _root(columns, left, weights))


def _root(columns: Columns, left: Array, weights: Array) -> Array:
    """Triangle of the weighted points; those beyond the splines have few columns and go first."""
    p, inside = columns.parts.shape[1], columns.inside
    narrow = np.column_stack((columns.parts, left)) * weights[:, None]
    beyond = _triangle(narrow[: inside.start], narrow[inside.stop :])
    wide = np.zeros((inside.stop - inside.start + beyond.shape[0], p + columns.local.shape[1] + 1))
    wide[: beyond.shape[0], :p], wide[: beyond.shape[0], -1] = beyond[:, :p], beyond[:, -1]
    wide[beyond.shape[0] :, :p], wide[beyond.shape[0] :, -1] = narrow[inside, :p], narrow[inside, -1]
    wide[beyond.shape[0] :, p:-1] = columns.local * weights[inside, None]
    return _triangle(wide)


def settle(record: Reduced, *, noise: float) -> Posterior:
    """Correct a fitted front by what it left over.

    The left-over curve is given a prior of mean 0 whose size maximises the evidence, so that it
    vanishes when the front explains the data within their noise and follows the data when it
    doesn't. Plateaus and front are corrected in the same step, so that a front that doesn't fit
    can't bend the plateaus.

    Notes
    -----
    Linear in the front's parameters around the fit; noise is taken as white with the standard
    deviation given (the caller widens it for correlated noise).

    References
    ----------
    MacKay, Neural Computation 4 (1992) 415, for the size by evidence (from memory).
    """
    front, splines, width = record.front, record.splines, record.root.shape[1]
    p = width - 1 - splines.count
    root = _triangle(record.root, _prior_rows(front, p, width, noise))
    size = _likeliest(root[p:-1, p:-1], root[p:-1, -1], noise)
    ridge = np.zeros((width - 1 - p, width))
    ridge[:, p:-1] = np.eye(ridge.shape[0]) * noise / size
    whole = _triangle(root, ridge)
    triangle = whole[:-1, :-1].copy()
    np.fill_diagonal(triangle, np.where(np.abs(np.diag(triangle)) < 1e-12, 1e-12, np.diag(triangle)))
    inverse = scipy.linalg.lapack.dtrtri(triangle)[0]
    shift = inverse @ whole[:-1, -1]
    return Posterior(front, splines, shift, inverse * noise, size, record.left - record.columns.times(shift))


def with_rounding(
    posterior: Posterior, record: Reduced, curve: Array, *, settled_noise: float, noise: float, quantum: float
) -> Posterior:
    """Add what rounding does to a quiet record: neighbours are off together, in a sawtooth along the curve.

    Parameters
    ----------
    curve : ndarray [n]
        The fitted curve at the record's points.
    settled_noise, noise : float
        Standard deviation of one point that the posterior was settled with; what the signal itself
        swings by before it is rounded, which averages the sawtooth out.
    quantum : float
        Step of the rounding, in the unit of the curve.

    References
    ----------
    Widrow and Kollar, Quantization Noise (2008): the mean error of a rounded noisy value fades with
    exp(-2 (pi noise / quantum)^2) (from memory; checked by simulation in the tests).
    """
    left = float(np.exp(-2.0 * (np.pi * noise / quantum) ** 2))
    turns = curve / quantum
    saws = [phase - np.round(phase) for phase in (turns, turns + 0.25)]  # where it starts isn't known
    off = left * quantum / np.sqrt(2.0) * np.column_stack(saws)
    pulled = record.columns.pulled(record.weights[:, None] ** 2 * off)
    root = posterior.spread / settled_noise
    return replace(posterior, spread=np.column_stack((posterior.spread, root @ (root.T @ pulled))))


def _triangle(*rows: Array) -> Array:
    """Triangle with the same normal equations as the rows, which it takes in block by block."""
    table = np.vstack(rows)
    root, done = table[:0], 0
    while done == 0 or done < table.shape[0]:
        more = max(_BLOCK // table.shape[1] - root.shape[0], 1)
        root = np.asarray(np.linalg.qr(np.vstack((root, table[done : done + more])), mode="r"))
        done += more
    return root


def _prior_rows(front: Front, fixed: int, columns: int, noise: float) -> Array:
    """Expected slope of the plateaus, and how far parameters may move from the fit."""
    rows = np.zeros((fixed, columns))
    rows[1, 1] = noise / SLOPE_EXPECTED
    rows[1, -1] = -front.slope_per_cv * noise / SLOPE_EXPECTED
    for k in range(2 + front.heights.size, fixed):
        rows[k, k] = noise
    return rows


def _likeliest(design: Array, target: Array, noise: float) -> float:
    """Size of the left-over curve at which what was seen is most likely."""
    squares, turns = scipy.linalg.eigh(design @ design.T, check_finite=False)
    seen = (turns.T @ target) ** 2
    spread = _SIZES[:, None] ** 2 * np.maximum(squares, 0.0) + noise**2
    evidence = -0.5 * np.sum(np.log(spread) + seen / spread, axis=1)
    return float(_SIZES[int(np.argmax(evidence))])
