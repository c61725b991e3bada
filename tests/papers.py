"""Documents on paper as a reader gets them."""

from __future__ import annotations

import re
from io import BytesIO

from pypdf import PdfReader
from tests.sites import Site

SHA256 = re.compile(r"SHA-256 ([0-9a-f]{64})")


def pdf_of(site: Site, path: str) -> PdfReader:
    """Ask for a document as somebody who may only look."""
    answer = site.visitor("viewer").get(path)
    assert answer.status_code == 200, answer.text[:500]
    assert answer.headers["content-type"] == "application/pdf"
    return PdfReader(BytesIO(answer.content))


def text_of(pdf: PdfReader) -> str:
    """Return all that is written on it, in one line; places where a long word may break taken out."""
    written = " ".join(page.extract_text() for page in pdf.pages).replace("\u200b", "")
    return re.sub(r"\s+", " ", written)


def hashes_of(pdf: PdfReader) -> set[str]:
    """Return the hashes at the foot of its pages."""
    found = [SHA256.findall(page.extract_text()) for page in pdf.pages]
    assert all(found), "a page bears no hash"
    return {hashes[-1] for hashes in found}
