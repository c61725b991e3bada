"""Accounts: who gets in, who is locked out, and what each role may do."""

from __future__ import annotations

from datetime import timedelta

import pytest
from sqlalchemy.orm import Session
from tests.visitors import HIRED, PASSWORD, token_of

from beadline.features.accounts import service as accounts
from beadline.features.accounts.schemas import deeds_of
from beadline.features.records import queries as record_queries
from beadline.kit import clock
from beadline.kit.errors import Conflict, Invalid, SignInNeeded, TooMany
from beadline.store.tables import User

People = dict[str, User]
NOW = clock.now()
IDLE = timedelta(hours=12)


def check(session: Session, password: str = PASSWORD, *, name: str = "operator", minutes: int = 0):
    at = NOW + timedelta(minutes=minutes)
    return accounts.check_password(session, name=name, password=password, at=at)


def test_the_right_password_signs_in_whatever_the_letters_case_of_the_name(session: Session):
    user = check(session, name=" Operator ")
    assert user is not None
    assert user.role == "operator"


def test_a_wrong_password_or_an_unknown_name_does_not(session: Session):
    assert check(session, "a heron stands in the reed") is None
    assert check(session, name="nobody") is None


def test_passwords_are_stored_as_slow_hashes(people: People):
    hashes = {user.password_hash for user in people.values()}
    assert len(hashes) == len(people)  # salted: the same password, another hash
    assert all(stored.startswith("$argon2id$") for stored in hashes)


def test_five_failures_lock_the_account_even_for_the_right_password(session: Session):
    for _ in range(5):
        assert check(session, "wrong" * 3) is None
    with pytest.raises(TooMany, match="Too many failed tries"):
        check(session)


def test_a_lock_is_recorded_and_ends_after_a_quarter_of_an_hour(session: Session):
    for _ in range(5):
        check(session, "wrong" * 3)
    last = list(record_queries.in_order(session))[-1]
    assert (last.did, last.user_name) == ("lock", "beadline")
    with pytest.raises(TooMany):
        check(session, minutes=14)
    assert check(session, minutes=16) is not None


def test_four_failures_then_the_right_password_start_the_count_anew(session: Session):
    for _ in range(2):
        for _ in range(4):
            check(session, "wrong" * 3)
        assert check(session) is not None


def test_an_account_that_is_not_active_is_not_let_in(session: Session, people: People):
    token = token_of(session, people["operator"])
    people["operator"].active = False
    assert check(session) is None
    with pytest.raises(SignInNeeded, match="not valid"):
        accounts.living_token(session, token, at=NOW)


@pytest.mark.parametrize(
    ("wrong", "where"),
    [
        ({"password": "elevenchars"}, "password"),
        ({"role": "owner"}, "role"),
        ({"name": ""}, "name"),
        ({"name": "two words"}, "name"),
        ({"name": "x" * 65}, "name"),
        ({"name": "<b>bold</b>"}, "name"),
    ],
)
def test_an_account_that_can_not_be_is_refused(session: Session, wrong: dict[str, str], where: str):
    given = {"name": "ruth", "full_name": "Ruth", "role": "viewer", "password": PASSWORD}
    with pytest.raises(Invalid) as raised:
        accounts.make_user(session, **(given | wrong), by=None, at=NOW)
    assert raised.value.where == where
    assert raised.value.mend


def test_a_password_of_fifteen_characters_is_long_enough(session: Session):
    given = {"name": "ruth", "full_name": "Ruth", "role": "viewer", "password": "fifteen letters"}
    assert accounts.make_user(session, **given, by=None, at=NOW).id


def test_a_name_is_given_once(session: Session):
    with pytest.raises(Conflict, match="already an account named OPERATOR"):
        accounts.make_user(
            session, name="OPERATOR", full_name="", role="viewer", password=PASSWORD, by=None, at=NOW
        )


def test_a_token_stands_for_its_person_until_it_expires(session: Session, people: People):
    token = accounts.make_api_token(session, people["operator"], name="skid", days=30, at=NOW)
    found = accounts.living_token(session, token, at=NOW + timedelta(days=29)).user
    assert found is people["operator"]
    with pytest.raises(SignInNeeded):
        accounts.living_token(session, token, at=NOW + timedelta(days=31))


def test_a_revoked_token_is_refused(session: Session, people: People):
    token = token_of(session, people["operator"])
    found = accounts.living_token(session, token, at=NOW)
    accounts.revoke_api_token(session, people["operator"], found.id, at=NOW)
    with pytest.raises(SignInNeeded):
        accounts.living_token(session, token, at=NOW)


def test_neither_tokens_nor_sign_ins_are_stored_readably(session: Session, people: People):
    token = token_of(session, people["operator"])
    sign_in = accounts.start_sign_in(session, people["operator"], at=NOW)
    for secret in (token, sign_in.token):
        for table in ("api_tokens", "sign_ins", "records"):
            rows = session.connection().exec_driver_sql(f"select * from {table}").all()
            assert secret not in str(rows)


def test_a_browser_is_signed_out_by_its_person_or_by_idling(session: Session, people: People):
    made = accounts.start_sign_in(session, people["viewer"], at=NOW)
    session.flush()
    assert accounts.find_sign_in(session, made.token, at=NOW + timedelta(hours=11), idle=IDLE)
    assert accounts.find_sign_in(session, made.token, at=NOW + timedelta(hours=13), idle=IDLE) is None
    accounts.note_seen(session, made.token, at=NOW + timedelta(hours=11))
    assert accounts.find_sign_in(session, made.token, at=NOW + timedelta(hours=13), idle=IDLE)
    accounts.end_sign_in(session, made.token, at=NOW)
    assert accounts.find_sign_in(session, made.token, at=NOW, idle=IDLE) is None


def test_a_browser_that_is_never_idle_is_signed_out_after_a_week(session: Session, people: People):
    made = accounts.start_sign_in(session, people["viewer"], at=NOW)
    session.flush()
    for day, there in ((6, True), (8, False)):
        at = NOW + timedelta(days=day)
        accounts.note_seen(session, made.token, at=at)
        assert (accounts.find_sign_in(session, made.token, at=at, idle=IDLE) is not None) == there


def test_making_an_account_is_recorded(session: Session, people: People):
    accounts.make_user(
        session,
        name="ruth",
        full_name="Ruth",
        role="viewer",
        password=PASSWORD,
        by=people["administrator"],
        at=HIRED,
    )
    last = list(record_queries.in_order(session))[-1]
    assert (last.user_name, last.did, last.thing) == ("administrator", "make", "account")
    assert PASSWORD not in last.said


@pytest.mark.parametrize(
    ("role", "may", "may_not"),
    [
        ("viewer", {"look"}, {"log a run", "acknowledge", "change library", "manage people"}),
        ("operator", {"look", "log a run", "acknowledge"}, {"change library", "set baseline"}),
        ("engineer", {"log a run", "change library", "set baseline"}, {"manage people"}),
        ("quality", {"look", "acknowledge", "set baseline"}, {"log a run", "correct runs", "change library"}),
        ("administrator", {"look", "manage people"}, {"log a run", "acknowledge"}),
        ("stranger", set(), {"look"}),
    ],
)
def test_roles_part_those_who_run_from_those_who_judge(role: str, may: set[str], may_not: set[str]):
    deeds = deeds_of(role)
    assert may <= deeds
    assert not may_not & deeds
