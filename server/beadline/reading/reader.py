"""Bytes in, a trace out."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from beadline.reading import andi, animl, content, delimited, probes, workbook
from beadline.reading.errors import UnreadableFile
from beadline.reading.facts import Facts
from beadline.reading.profile import Kind, Profile
from beadline.reading.trace import Trace

_KINDS = {
    "text": "delimited text",
    "workbook": "a workbook",
    "long": "a long list of times, tags and values",
    "andi": "netCDF (ASTM E1947)",
    "animl": "AnIML",
}
_MAY_BE_LONG = ("text", "workbook")
_READERS: dict[Kind, Callable[[bytes, str, Profile | None, Facts], Trace]] = {
    "text": delimited.read,
    "workbook": workbook.read,
    "andi": andi.read,
    "animl": animl.read,
}


def read(
    file_content: bytes,
    *,
    filename: str,
    profile: Profile | None = None,
    bed_volume_m3: float | None = None,
    column_area_m2: float | None = None,
    flow_m3_s: float | None = None,
) -> Trace:
    """Read a file that a skid, a historian or a spreadsheet wrote.

    Parameters
    ----------
    file_content : bytes
        The file as it came: delimited text, XLSX, AnIML or ASTM E1947 netCDF, or a gzip or zip of one.
    filename : str
        For messages only; what the file is, is told from its bytes.
    profile : Profile, optional
        How files of this layout are read; without it everything is recognised and the reasons noted.
    bed_volume_m3 : float, optional
        Turns column volumes into volume [m^3].
    column_area_m2 : float, optional
        Cross-section of the column [m^2]; turns linear velocity into flow.
    flow_m3_s : float, optional
        Constant flow [m^3/s] for files that have time only.

    Returns
    -------
    Trace

    Raises
    ------
    UnreadableFile
        If the file can't become a trace; says what, where and how to mend it.

    Notes
    -----
    Gaps (empty cells, words such as "Bad") stay NaN; rows at one volume are averaged; nothing is smoothed.

    Examples
    --------
    >>> trace = read(b"Volume (mL);Cond (mS/cm)\\n0;1,5\\n1;2,5\\n", filename="run.csv")
    >>> trace.signals[0].quantity, trace.signals[0].values.tolist()
    ('conductivity', [1.5, 2.5])
    """
    given = Facts(flow_m3_s=flow_m3_s, bed_volume_m3=bed_volume_m3, column_area_m2=column_area_m2)
    inside, name = content.unpack(file_content, filename)
    kind = _kind(inside, name)
    fits = profile is None or profile.kind == kind or (profile.kind == "long" and kind in _MAY_BE_LONG)
    if profile is not None and not fits:
        raise UnreadableFile(
            f"The reading profile is for {_KINDS[profile.kind]}, but the file is {_KINDS[kind]}.",
            where=name,
            mend="Use the profile of this kind of file, or let the file be recognised afresh.",
            code="profile-mismatch",
        )
    trace = _READERS[kind](inside, name, profile, given)
    if profile is None:
        return probes.told_apart(trace)
    return replace(trace, started=None) if profile.start == "none" else trace


def _kind(inside: bytes, name: str) -> Kind:
    if content.is_workbook(inside):
        return "workbook"
    if inside.startswith((b"CDF\x01", b"CDF\x02", b"CDF\x05")):
        return "andi"
    content.refuse_foreign(inside, name)
    return "animl" if animl.is_xml(inside) else "text"
