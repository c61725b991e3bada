"""A real OpenID provider on the loopback: Authlib's authorization server, with people, a form and keys.

What it promises is spoilt by a test, one thing at a time, to see whether it is noticed.
"""

from __future__ import annotations

import hmac
import json
import time
from base64 import urlsafe_b64encode
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

from authlib.oauth2.rfc6749 import AuthorizationServer, ClientMixin, OAuth2Request
from authlib.oauth2.rfc6749.grants import AuthorizationCodeGrant
from authlib.oauth2.rfc6749.requests import BasicOAuth2Payload
from authlib.oauth2.rfc6750 import BearerTokenGenerator
from authlib.oauth2.rfc7636 import CodeChallenge
from authlib.oidc.core import AuthorizationCodeMixin
from authlib.oidc.core.grants import OpenIDCode
from fastapi import FastAPI, Request, Response
from fastapi.responses import HTMLResponse, JSONResponse
from joserfc import jwt
from joserfc.jwk import RSAKey
from tests.serving import on_loopback

CLIENT_ID = "beadline-at-the-plant"
CLIENT_SECRET = "known to two servers"
NEVER = 10**9
PAGE = """<!doctype html><title>Provider</title><form method="post">
<label>Name <input name="username"></label><label>Password <input name="password" type="password"></label>
<button>Go on</button></form>"""


@dataclass
class Person:
    """Somebody at the provider."""

    subject: str
    password: str
    claims: dict[str, Any] = field(default_factory=dict)


class Client(ClientMixin):
    """The one client that the provider knows."""

    def __init__(self, back: str) -> None:
        self.back = back

    def get_client_id(self) -> str:
        return CLIENT_ID

    def get_allowed_scope(self, scope: str) -> str:
        return scope

    def check_redirect_uri(self, redirect_uri: str) -> bool:
        return redirect_uri == self.back

    def check_client_secret(self, client_secret: str) -> bool:
        return client_secret == CLIENT_SECRET

    def check_endpoint_auth_method(self, method: str, endpoint: str) -> bool:
        return method == "client_secret_basic"

    def check_response_type(self, response_type: str) -> bool:
        return response_type == "code"

    def check_grant_type(self, grant_type: str) -> bool:
        return grant_type == "authorization_code"


class Code(AuthorizationCodeMixin):
    """A code that was given out, with what it stands for."""

    def __init__(self, code: str, request: OAuth2Request) -> None:
        data = request.payload.data
        self.code, self.person, self.scope = code, request.user, request.scope
        self.redirect_uri, self.nonce = data["redirect_uri"], data.get("nonce")
        self.code_challenge = data.get("code_challenge")
        self.code_challenge_method = data.get("code_challenge_method")
        self.made_at = int(time.time())

    def get_redirect_uri(self) -> str:
        return self.redirect_uri

    def get_scope(self) -> str:
        return self.scope

    def get_nonce(self) -> str | None:
        return self.nonce

    def get_auth_time(self) -> int:
        return self.made_at


class Provider:
    """People, codes and keys of a provider; `spoilt` replaces claims, `header` the header of its tokens."""

    def __init__(self) -> None:
        self.address = ""
        self.people: dict[str, Person] = {}
        self.codes: dict[str, Code] = {}
        self.key = RSAKey.generate_key(2048, {"kid": "first", "use": "sig"})
        self.signs_with: Any = self.key
        self.spoilt: dict[str, Any] = {}
        self.header: dict[str, Any] = {}
        self.asked: list[dict[str, str]] = []  # what came to the authorization endpoint
        self.app = FastAPI()
        self._add_routes()

    def know(self, back: str) -> None:
        """Let the client have its people sent back to this address."""
        self.server = _Server(self, Client(back))

    def add(self, name: str, *, subject: str, **claims: Any) -> Person:
        """Add somebody, whose password is the name twice."""
        self.people[name] = Person(subject, name + name, {"preferred_username": name, **claims})
        return self.people[name]

    def token_of(self, claims: dict[str, Any]) -> str:
        """Sign an identity token, as spoilt as the test wants it."""
        claims = {name: value for name, value in {**claims, **self.spoilt}.items() if value is not NEVER}
        header = {"alg": "RS256", "kid": "first", **self.header}
        if header["alg"] == "none":
            return jwt.encode(header, claims, None, ["none"])
        if header["alg"] == "HS256":
            return _signed_with_what_all_know(header, claims, self.key.as_pem(private=False))
        return jwt.encode(header, claims, self.signs_with, [header["alg"]])

    def _add_routes(self) -> None:
        @self.app.get("/.well-known/openid-configuration")
        def metadata() -> dict[str, Any]:
            at = self.address
            return {"issuer": at, "authorization_endpoint": f"{at}/in", "token_endpoint": f"{at}/token"} | {
                "jwks_uri": f"{at}/keys",
                "response_types_supported": ["code"],
                "subject_types_supported": ["public"],
                "id_token_signing_alg_values_supported": ["RS256"],
            }

        @self.app.get("/keys")
        def keys() -> dict[str, Any]:
            return {"keys": [self.key.as_dict(private=False)]}

        @self.app.get("/in")
        async def form(request: Request) -> Response:
            self.asked.append(dict(request.query_params))
            self.server.get_consent_grant(await asked(request))
            return HTMLResponse(PAGE)

        @self.app.post("/in")
        async def sent(request: Request) -> Response:
            said = await request.form()
            person = self.people.get(str(said["username"]))
            let_in = person is not None and person.password == said["password"]
            again = await asked(request)
            grant = self.server.get_consent_grant(again)
            return self.server.create_authorization_response(again, person if let_in else None, grant)

        @self.app.post("/token")
        async def token(request: Request) -> Response:
            return self.server.create_token_response(await asked(request))


def _signed_with_what_all_know(header: dict[str, Any], claims: dict[str, Any], key: bytes) -> str:
    """Sign by hand, since the library refuses a public key as a shared secret."""
    parts = [urlsafe_b64encode(json.dumps(part).encode()).rstrip(b"=") for part in (header, claims)]
    signature = hmac.new(key, b".".join(parts), "sha256").digest()
    return b".".join([*parts, urlsafe_b64encode(signature).rstrip(b"=")]).decode()


class _Request(OAuth2Request):
    def __init__(self, request: Request, form: dict[str, str]) -> None:
        super().__init__(request.method, str(request.url), headers=request.headers)
        self.payload = BasicOAuth2Payload(dict(request.query_params) | form)
        self._args, self._form = dict(request.query_params), form

    @property
    def args(self) -> dict[str, str]:
        return self._args

    @property
    def form(self) -> dict[str, str]:
        return self._form


async def asked(request: Request) -> OAuth2Request:
    """What came, in the words of the library."""
    return _Request(request, {name: str(value) for name, value in (await request.form()).items()})


class _Server(AuthorizationServer):
    def __init__(self, provider: Provider, client: Client) -> None:
        super().__init__()
        self.client = client
        self.register_grant(_grant_of(provider), [_code_of(provider), CodeChallenge(required=True)])
        self.register_token_generator("default", BearerTokenGenerator(lambda **_: f"access {time.time()}"))

    def query_client(self, client_id: str) -> Client | None:
        return self.client if client_id == CLIENT_ID else None

    def save_token(self, token: dict[str, Any], request: OAuth2Request) -> None:
        pass  # nothing is asked with it

    def create_oauth2_request(self, request: OAuth2Request) -> OAuth2Request:
        return request

    def send_signal(self, name: str, *args: Any, **kwargs: Any) -> None:
        pass

    def handle_response(self, status: int, body: Any, headers: Any) -> Response:
        if isinstance(body, dict):
            return JSONResponse(body, status, dict(headers))
        return Response(body, status, dict(headers))


def _grant_of(provider: Provider) -> type[AuthorizationCodeGrant]:
    class Grant(AuthorizationCodeGrant):
        TOKEN_ENDPOINT_AUTH_METHODS = ["client_secret_basic"]

        def save_authorization_code(self, code: str, request: OAuth2Request) -> None:
            provider.codes[code] = Code(code, request)

        def query_authorization_code(self, code: str, client: Client) -> Code | None:
            return provider.codes.get(code)

        def delete_authorization_code(self, authorization_code: Code) -> None:
            del provider.codes[authorization_code.code]

        def authenticate_user(self, authorization_code: Code) -> Person:
            return authorization_code.person

    return Grant


def _code_of(provider: Provider) -> OpenIDCode:
    class Extension(OpenIDCode):
        def exists_nonce(self, nonce: str, request: OAuth2Request) -> bool:
            return any(code.nonce == nonce for code in provider.codes.values())

        def get_client_claims(self, client: Client) -> dict[str, Any]:
            return {"iss": provider.address, "aud": [CLIENT_ID]}

        def encode_id_token(self, token: dict[str, Any], request: OAuth2Request) -> str:
            claims = self.get_compatible_claims(request)
            claims |= self.get_authorization_code_claims(request.authorization_code)
            person: Person = request.user
            return provider.token_of({**claims, "sub": person.subject, **person.claims})

    return Extension(require_nonce=True)


@contextmanager
def running() -> Iterator[Provider]:
    """Run a provider on the loopback."""
    provider = Provider()
    with on_loopback(provider.app) as address:
        provider.address = address
        yield provider
