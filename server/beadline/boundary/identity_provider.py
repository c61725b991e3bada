"""Ask the site's identity provider who somebody is: OpenID Connect, authorization code with PKCE.

What was asked is kept by the browser alone, in a cookie that is signed with a key made from the client
secret; so it holds for every server process, is no older than `TRY_LASTS` and can't be made up. Metadata and
keys are fetched for each sign-on, so that a key that the provider withdrew is never trusted.
"""

from __future__ import annotations

import hashlib
import hmac
import logging
import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any

from authlib.common.errors import AuthlibBaseError
from authlib.oidc.core import CodeIDToken
from authlib.oidc.discovery import get_well_known_url
from joserfc import jwt
from joserfc.errors import JoseError
from joserfc.jwk import KeySet, OctKey
from joserfc.jws import JWSRegistry

from beadline.kit.errors import Refusal, SignInNeeded
from beadline.settings import Settings, is_private

if TYPE_CHECKING:
    from authlib.integrations.requests_client import OAuth2Session

logger = logging.getLogger("beadline")
BACK = "/sign-in/provider/back"
TRY_LASTS = timedelta(minutes=10)
LEEWAY_S = 60  # how far the provider's clock may be from ours
PATIENCE_S = 10
ALGORITHMS = [f"{kind}{bits}" for kind in ("RS", "PS", "ES") for bits in (256, 384, 512)] + ["EdDSA"]
ENDPOINTS = ("authorization_endpoint", "token_endpoint", "jwks_uri")
AGAIN = "Start again; if it happens again, tell whoever runs this server: its log says what was wrong."


class ProviderUnavailable(Refusal):
    """The identity provider gives no answer that can be used."""

    status = 502
    code = "provider-unavailable"


@dataclass(frozen=True, slots=True)
class Asked:
    """Where a browser has to go, and the cookie that it brings back."""

    address: str
    cookie: str


@dataclass(frozen=True, slots=True)
class Told:
    """Who somebody is, as the provider says, and where this person wanted to go."""

    issuer: str
    subject: str
    name: str
    then: str


class IdentityProvider:
    """The provider that the settings name."""

    def __init__(self, settings: Settings) -> None:
        self.settings = settings
        self.issuer = settings.oidc_issuer
        self._secret = settings.oidc_secret
        key = hashlib.sha256(b"beadline sign-on " + self._secret.encode()).digest()
        self._cookie_key = OctKey.import_key(key)

    def ask(self, then: str, *, at: datetime) -> Asked:
        """Begin a sign-on that leads to the page `then`.

        Raises
        ------
        ProviderUnavailable
            If the provider does not tell its addresses.
        """
        with self._client() as client:
            endpoint = self._metadata(client)["authorization_endpoint"]
            state, nonce, verifier = (secrets.token_urlsafe(48) for _ in range(3))
            more = {"nonce": nonce, "code_verifier": verifier}
            if self.settings.oidc_ask_again:
                more |= {"prompt": "login", "max_age": "0"}
            address, _ = client.create_authorization_url(endpoint, state=state, **more)
        kept = {
            "state": state,
            "nonce": nonce,
            "verifier": verifier,
            "then": then,
            "iat": int(at.timestamp()),
        }
        return Asked(address, jwt.encode({"alg": "HS256"}, kept, self._cookie_key))

    def told(self, query: dict[str, str], cookie: str, *, at: datetime) -> Told:
        """Take what a browser brings back from the provider, and find out who it is.

        Raises
        ------
        SignInNeeded
            If it does not belong to what was asked, or does not hold.
        ProviderUnavailable
            If the provider does not answer.
        """
        kept = self._kept(cookie, at=at)
        if not hmac.compare_digest(query.get("state", "").encode(), kept["state"].encode()):
            raise SignInNeeded("This answer does not belong to what was asked.", mend=AGAIN)
        if query.get("iss", self.issuer) != self.issuer:
            raise SignInNeeded("This answer is from another provider.", mend=AGAIN)
        if "code" not in query:
            logger.warning("sign-on: the provider said %r", query.get("error", ""))
            raise SignInNeeded(
                "The sign-on service let nobody in.", mend="Start again, or ask those who run it."
            )
        try:
            claims = self._claims(query["code"], kept, at=at)
        except (JoseError, AuthlibBaseError, ValueError) as error:
            logger.warning("sign-on: the provider's answer does not hold: %r", str(error))
            said = "The sign-on service's answer does not hold, so nobody was signed in."
            raise SignInNeeded(said, mend=AGAIN) from error
        return Told(self.issuer, str(claims["sub"]), self._name(claims), kept["then"])

    def _claims(self, code: str, kept: dict[str, Any], *, at: datetime) -> dict[str, Any]:
        """Change the code for an identity token, and return what it says once all of it was checked."""
        with self._client() as client:
            metadata = self._metadata(client)
            try:
                token = client.fetch_token(
                    metadata["token_endpoint"],
                    code=code,
                    code_verifier=kept["verifier"],
                    grant_type="authorization_code",
                    allow_redirects=False,
                )
            except OSError as error:
                raise self._unavailable(error) from error
            keys = KeySet.import_key_set(self._fetched(client, metadata["jwks_uri"]))  # type: ignore[arg-type]
        registry = JWSRegistry(algorithms=ALGORITHMS, strict_check_header=False)
        decoded = jwt.decode(str(token.get("id_token", "")), keys, registry=registry)
        must = {
            "iss": {"essential": True, "value": self.issuer},
            "aud": {"essential": True, "value": self.settings.oidc_client_id},
            "auth_time": {"essential": self.settings.oidc_ask_again},
        }
        known = {
            "nonce": kept["nonce"],
            "client_id": self.settings.oidc_client_id,
            "access_token": token.get("access_token"),
        }
        claims = CodeIDToken(decoded.claims, decoded.header, must, known)
        claims.validate(now=int(at.timestamp()), leeway=LEEWAY_S)
        if self.settings.oidc_ask_again and claims["auth_time"] < kept["iat"] - LEEWAY_S:
            raise ValueError("the provider did not ask for the password again")
        return dict(claims)

    def _name(self, claims: dict[str, Any]) -> str:
        claim = self.settings.oidc_claim
        if claim == "email" and claims.get("email_verified") is not True:
            logger.warning("sign-on: the provider has not verified this person's e-mail address")
            return ""
        return str(claims.get(claim) or "")

    def _kept(self, cookie: str, *, at: datetime) -> dict[str, Any]:
        try:
            kept = jwt.decode(cookie, self._cookie_key, algorithms=["HS256"]).claims
        except (JoseError, ValueError) as error:
            raise SignInNeeded("No sign-on was begun in this browser.", mend="Start again.") from error
        if kept["iat"] + TRY_LASTS.total_seconds() < at.timestamp():
            raise SignInNeeded("This sign-on took too long.", mend="Start again.")
        return kept

    def _client(self) -> OAuth2Session:
        from authlib.integrations.requests_client import OAuth2Session  # it opens a socket when imported

        return OAuth2Session(
            self.settings.oidc_client_id,
            self._secret,
            scope=self.settings.oidc_scopes,
            redirect_uri=self.settings.address + BACK,
            code_challenge_method="S256",
            default_timeout=PATIENCE_S,
        )

    def _metadata(self, client: OAuth2Session) -> dict[str, Any]:
        found = self._fetched(client, get_well_known_url(self.issuer, external=True))
        if found.get("issuer") != self.issuer:
            raise self._unavailable(f"it calls itself {found.get('issuer')!r}, not {self.issuer!r}")
        for name in ENDPOINTS:
            if not is_private(str(found.get(name, ""))):
                raise self._unavailable(f"its {name} is {found.get(name)!r}, which is not https")
        return found

    def _fetched(self, client: OAuth2Session, address: str) -> dict[str, Any]:
        try:
            answer = client.get(address, withhold_token=True, allow_redirects=False)
            answer.raise_for_status()
            found = answer.json()
        except (OSError, ValueError) as error:
            raise self._unavailable(error) from error
        if not isinstance(found, dict):
            raise self._unavailable(f"{address} is no JSON object")
        return found

    def _unavailable(self, why: object) -> ProviderUnavailable:
        logger.error("sign-on: the provider %s can't be used: %s", self.issuer, why)
        return ProviderUnavailable(
            "The sign-on service does not answer as it should.",
            mend="Try again in a moment; if it lasts, ask whoever runs this server.",
        )
