"""Whatever is posted as a run, a refusal leaves nothing behind."""

from __future__ import annotations

import gzip
import io
import zipfile

import pytest
from tests.sites import Site
from tests.visitors import bearer


def zipped(**files: bytes) -> bytes:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in files.items():
            archive.writestr(f"{name}.csv", content)
    return stream.getvalue()


FILES = {
    "a bomb in a bomb": gzip.compress(gzip.compress(gzip.compress(b"0" * 2**22))),
    "two runs in a zip": zipped(one=b"1,2\n", two=b"1,2\n"),
    "a zip that is cut": zipped(one=b"Volume (mL),UV (mAU)\n" * 400)[:100],
    "a program by the name of a table": b"\x7fELF" + bytes(range(256)) * 40,
    "zero bytes among the numbers": b"Volume (mL),UV (mAU)\n1,2\n3,\x004\n" * 20,
    "ten thousand columns": (b",".join([b"1.5"] * 10_000) + b"\n") * 5,
    "a line without end": b"1.5," * 200_000,
    "a header without end": b"remark,more\n" * 200_000,
    "a billion laughs": b'<!DOCTYPE l [<!ENTITY a "ha"><!ENTITY b "&a;&a;">]><AnIML>&b;</AnIML>',
    "a formula in place of numbers": b"Volume (mL),UV (mAU)\n" + b"=A1+1,=cmd|' /C calc'!A0\n" * 20,
    "nothing but marks of byte order": b"\xff\xfe" * 50,
}


@pytest.mark.parametrize("kind", FILES)
def test_a_hostile_file_is_refused_and_nothing_is_stored(site: Site, kind: str):
    credentials = bearer(site.token("operator"))
    stored = site.counts()
    answer = site.post_run(("run.csv", FILES[kind]), credentials=credentials)
    reply = answer.json()
    assert answer.status_code in (413, 422), reply
    assert reply["code"] and reply["title"] and reply["mend"]
    assert site.counts() == stored
