"""A small OpenID provider on loopback: discovery, authorisation code with PKCE, token, keys, and the end of a session.

Written from the standards, with none of the code that the pages log in with: OpenID Connect Core 1.0 (sections 2 and
3.1), Discovery 1.0 (section 3), RP-Initiated Logout 1.0 (section 2), RFC 6749 (section 4.1), RFC 7636 (section 4),
RFC 7515 (section 3.1) and RFC 7518 (sections 3.3 and 6.3.1).
"""

from __future__ import annotations

import base64
import hashlib
import html
import json
import secrets
import threading
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any
from urllib.parse import parse_qs, quote, unquote, urlencode, urlsplit

from cryptography.hazmat.primitives.asymmetric.padding import PKCS1v15
from cryptography.hazmat.primitives.asymmetric.rsa import RSAPrivateKey, generate_private_key
from cryptography.hazmat.primitives.hashes import SHA256

CLIENT, SECRET = "pit-pages", "secret of the pages / with signs"
LIFE_S = 600


def base64url(data: bytes) -> str:
    """Encode as RFC 7515 section 2 says: no padding."""
    return base64.urlsafe_b64encode(data).rstrip(b"=").decode()


def signed_token(key: RSAPrivateKey, claims: Mapping[str, Any]) -> str:
    """Return claims as a compact token signed with RS256."""
    parts = ({"alg": "RS256", "typ": "JWT", "kid": "one"}, claims)
    text = ".".join(base64url(json.dumps(part).encode()) for part in parts)
    return f"{text}.{base64url(key.sign(text.encode(), PKCS1v15(), SHA256()))}"


@dataclass
class Provider:
    """Who can log in, and what was asked; `fault` names one thing done wrong on purpose."""

    people: Mapping[str, Mapping[str, Any]]
    redirects: set[str] = field(default_factory=set)
    fault: str = ""
    address: str = ""
    ended: int = 0
    asked: list[dict[str, str]] = field(default_factory=list)
    refused: list[str] = field(default_factory=list)
    _codes: dict[str, dict[str, str]] = field(default_factory=dict)
    _key: RSAPrivateKey = field(default_factory=lambda: generate_private_key(65537, 2048))
    _other_key: RSAPrivateKey = field(default_factory=lambda: generate_private_key(65537, 2048))

    def metadata(self) -> dict[str, Any]:
        """Return the discovery document."""
        ends = ("authorization_endpoint", "authorize"), ("token_endpoint", "token"), ("jwks_uri", "keys")
        return {
            "issuer": self.address,
            **{name: f"{self.address}/{path}" for name, path in (*ends, ("end_session_endpoint", "end"))},
            "response_types_supported": ["code"],
            "subject_types_supported": ["public"],
            "id_token_signing_alg_values_supported": ["RS256"],
            "code_challenge_methods_supported": ["S256"],
            "token_endpoint_auth_methods_supported": ["client_secret_basic"],
            "scopes_supported": ["openid", "email", "profile"],
        }

    def keys(self) -> dict[str, Any]:
        """Return the public key."""
        numbers = self._key.public_key().public_numbers()
        n, e = (base64url(v.to_bytes((v.bit_length() + 7) // 8, "big")) for v in (numbers.n, numbers.e))
        return {"keys": [{"kty": "RSA", "use": "sig", "alg": "RS256", "kid": "one", "n": n, "e": e}]}

    def choice(self, asked: dict[str, str]) -> str:
        """Check a request to log in and return the page where somebody says who he is."""
        assert asked.get("client_id") == CLIENT
        assert asked.get("redirect_uri") in self.redirects
        assert asked.get("response_type") == "code"
        assert "openid" in asked.get("scope", "").split()
        assert asked.get("state")
        assert asked.get("nonce")
        assert asked.get("code_challenge_method") == "S256"
        self.asked.append(asked)
        links = "".join(
            f'<li><a href="/choose?{html.escape(urlencode({**asked, "email": email}))}">{html.escape(email)}</a></li>'
            for email in self.people
        )
        return f'<!doctype html><html lang="en"><title>Who are you?</title><h1>Who are you?</h1><ul>{links}</ul></html>'

    def code_for(self, asked: dict[str, str]) -> str:
        """Return where the browser goes on with a fresh code."""
        code = secrets.token_urlsafe(16)
        self._codes[code] = asked
        return f"{asked['redirect_uri']}?{urlencode({'code': code, 'state': asked['state']})}"

    def token(self, form: dict[str, str], authorisation: str) -> tuple[int, dict[str, Any]]:
        """Trade a code, once, for a signed identity."""
        # RFC 6749 section 2.3.1: both parts are form-encoded before they are joined
        given = base64.b64decode(authorisation.removeprefix("Basic ")).decode().split(":", 1)
        asked = self._codes.pop(form.get("code", ""), None)
        verifier = base64url(hashlib.sha256(form.get("code_verifier", "").encode()).digest())
        wrong = {
            "client": [unquote(part.replace("+", " ")) for part in given] != [CLIENT, SECRET],
            "grant": form.get("grant_type") != "authorization_code",
            "code": asked is None,
            "redirect": asked is not None and form.get("redirect_uri") != asked["redirect_uri"],
            "verifier": asked is not None and verifier != asked["code_challenge"],
        }
        self.refused += [name for name, bad in wrong.items() if bad]
        if asked is None or any(wrong.values()):
            return 400, {"error": "invalid_grant"}
        now = int(time.time()) - (10_000 if self.fault == "expired" else 0)
        claims = {
            "iss": "http://127.0.0.1:1" if self.fault == "issuer" else self.address,
            "sub": hashlib.sha256(asked["email"].encode()).hexdigest()[:16],
            "aud": "somebody-else" if self.fault == "audience" else CLIENT,
            "iat": now,
            "exp": now + LIFE_S,
            "nonce": "other" if self.fault == "nonce" else asked["nonce"],
            "email": asked["email"],
            "email_verified": True,
            **self.people[asked["email"]],
        }
        key = self._other_key if self.fault == "signature" else self._key
        token = {"id_token": signed_token(key, claims), "access_token": secrets.token_urlsafe(16)}
        return 200, {**token, "token_type": "Bearer", "expires_in": LIFE_S}


def _handler(provider: Provider) -> type[BaseHTTPRequestHandler]:
    class Handler(BaseHTTPRequestHandler):
        def log_message(self, format: str, *args: Any) -> None:
            """Say nothing."""

        def do_GET(self) -> None:
            parts = urlsplit(self.path)
            asked = {key: values[0] for key, values in parse_qs(parts.query).items()}
            if parts.path == "/.well-known/openid-configuration":
                self.answer(200, json.dumps(provider.metadata()), "application/json")
            elif parts.path == "/keys":
                self.answer(200, json.dumps(provider.keys()), "application/json")
            elif parts.path == "/authorize":
                self.answer(200, provider.choice(asked), "text/html; charset=utf-8")
            elif parts.path == "/choose":
                self.send(provider.code_for(asked))
            elif parts.path == "/end":
                assert asked["post_logout_redirect_uri"] in provider.redirects
                provider.ended += 1
                self.send(asked["post_logout_redirect_uri"])
            else:
                self.answer(204, "", "text/plain")

        def do_POST(self) -> None:
            text = self.rfile.read(int(self.headers["Content-Length"])).decode()
            form = {key: values[0] for key, values in parse_qs(text).items()}
            code, document = provider.token(form, self.headers.get("Authorization", ""))
            self.answer(code, json.dumps(document), "application/json")

        def send(self, where: str) -> None:
            self.send_response(302)
            self.send_header("Location", quote(where, safe=":/?&=%+-_.~"))
            self.end_headers()

        def answer(self, code: int, text: str, kind: str) -> None:
            data = text.encode()
            self.send_response(code)
            self.send_header("Content-Type", kind)
            self.send_header("Cache-Control", "no-store")
            self.send_header("Content-Length", str(len(data)))
            self.end_headers()
            self.wfile.write(data)

    return Handler


@contextmanager
def providing(provider: Provider) -> Iterator[Provider]:
    """Serve a provider on a free port of this computer until the block ends."""
    server = ThreadingHTTPServer(("127.0.0.1", 0), _handler(provider))
    provider.address = f"http://127.0.0.1:{server.server_port}"
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    try:
        yield provider
    finally:
        server.shutdown()
        server.server_close()
        thread.join(10)
