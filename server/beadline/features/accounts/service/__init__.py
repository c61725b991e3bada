"""Make accounts, sign people in and out, and say what each may do."""

from beadline.features.accounts.service.passwords import SHORTEST as SHORTEST_PASSWORD
from beadline.features.accounts.service.passwords import temporary as temporary_password
from beadline.features.accounts.service.people import (
    change_password,
    change_role,
    everyone,
    make_user,
    person,
    reset_password,
    set_active,
)
from beadline.features.accounts.service.provider import name_at_provider, sign_on
from beadline.features.accounts.service.signing_in import (
    check_password,
    confirm,
    confirmed,
    end_all,
    end_sign_in,
    find_sign_in,
    living_sign_ins,
    not_yours,
    note_seen,
    start_sign_in,
)
from beadline.features.accounts.service.tokens import (
    living_token,
    make_api_token,
    revoke_api_token,
    tokens_of,
)

__all__ = [
    "SHORTEST_PASSWORD",
    "change_password",
    "change_role",
    "check_password",
    "confirm",
    "confirmed",
    "end_all",
    "end_sign_in",
    "everyone",
    "find_sign_in",
    "living_sign_ins",
    "living_token",
    "make_api_token",
    "make_user",
    "name_at_provider",
    "not_yours",
    "note_seen",
    "person",
    "reset_password",
    "revoke_api_token",
    "set_active",
    "sign_on",
    "start_sign_in",
    "temporary_password",
    "tokens_of",
]
