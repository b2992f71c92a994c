"""No part of a password is ever said, however a URL is written; TLS beyond this machine."""

from __future__ import annotations

import pytest
from sqlalchemy.engine import make_url

from diagnose.errors import Unavailable
from diagnose.store import postgres
from diagnose.store.address import read_address
from diagnose.store.casebook import open_casebook

SECRETS = ("zeroth", "first1", "secnd2", "third3")
SIGNS = ("@", "/", "#", "?", "%", ":", "[", "]", " ", "@@", "//", "@/", "%zz", "\\", ";", "\n", "=")
FORMS = (
    "postgresql://me:{}@127.0.0.1:1/cases",
    "postgresql://me:{}@127.0.0.1:1",
    "postgresql://me:{}@/cases",
    "postgresql://me:{}",
    "postgresql://:{}@127.0.0.1:1/cases",
    "postgresql://{}@127.0.0.1:1/cases",
    "postgresql:/me:{}@127.0.0.1:1/cases",
    "postgres://me:{}@127.0.0.1:1/cases",
    "postgresql+psycopg://me:{}@127.0.0.1:1/cases",
    "postgresql+nothing://me:{}@127.0.0.1:1/cases",
    "postgresql://me:{}@127.0.0.1:port/cases",
    "postgresql://127.0.0.1:1/cases?user=me&password={}",
    "postgresql://127.0.0.1:1/cases?passwrod={}",
    "postgresql://me:x@127.0.0.1:1/cases?sslmode={}",
    "me:{}@127.0.0.1:1/cases",
    "mysql://me:{}@127.0.0.1/cases",
    "sqlite://me:{}@127.0.0.1/cases",
)


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("sign", SIGNS)
def test_no_part_of_a_password_is_said(form: str, sign: str) -> None:
    url = form.format(sign.join(SECRETS))
    with pytest.raises(Unavailable) as caught:
        open_casebook(url)
    error: BaseException | None = caught.value
    assert not [secret for secret in SECRETS if secret in str(error)]


@pytest.mark.parametrize("secret", ["p@ss", "a/b", "#x", "50%", "a:b", "q?", "[x]", " "])
def test_the_message_says_how_to_write_a_password_and_that_is_read(secret: str) -> None:
    from urllib.parse import quote

    url = f"postgresql://me:{quote(secret, safe='')}@db.local/cases"
    assert read_address(url).password == secret
    with pytest.raises(Unavailable, match="write @ as %40"):
        read_address("postgresql://me:p@ss@db.local/cases")


@pytest.mark.parametrize(
    ("url", "mode"),
    [
        ("postgresql://me@db.local/cases", "require"),
        ("postgresql://me@10.0.0.7/cases", "require"),
        ("postgresql://me@[2001:db8::1]/cases", "require"),
        ("postgresql:///cases?host=db.local", "require"),
        ("postgresql:///cases?host=/run/postgresql&host=db.local", "require"),
        ("postgresql:///cases?service=ours", "require"),
        ("postgresql://me@db.local/cases?sslmode=disable", None),
        ("postgresql://me@db.local/cases?sslmode=verify-full", None),
        ("postgresql://me@localhost/cases", None),
        ("postgresql://me@127.0.0.1/cases", None),
        ("postgresql://me@[::1]/cases", None),
        ("postgresql:///cases", None),
        ("postgresql:///cases?host=/run/postgresql", None),
    ],
)
def test_tls_is_wanted_beyond_this_machine_unless_the_url_says_otherwise(
    url: str, mode: str | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in ("PGHOST", "PGHOSTADDR", "PGSERVICE", "PGSSLMODE"):
        monkeypatch.delenv(name, raising=False)
    assert postgres.options(make_url(url), 3.0).get("sslmode") == mode
