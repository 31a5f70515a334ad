"""Sealed exercises: what is hidden in them can't be read by eye, and the teacher's copy needs a passphrase.

A sealed file holds the vehicle twice. `answer` is locked with the teacher's passphrase (scrypt, then Fernet: AES in
CBC mode with an HMAC); nobody opens it without. `bench` is locked with a key that this program knows, for a bench that
runs on a student's machine must know the vehicle: it keeps eyes out, not someone who can program. Leave it out and the
exercise can only be run where the passphrase is typed, or served.
"""

from __future__ import annotations

import base64
import json
from typing import TYPE_CHECKING, Annotated, Any

from cryptography.fernet import Fernet, InvalidToken
from cryptography.hazmat.primitives.kdf.scrypt import Scrypt
from pydantic import Field, ValidationError

from wizard.circuit.map import Checked
from wizard.errors import DropwalkError
from wizard.lab.exercise import Exercise
from wizard.lab.handin import public_part
from wizard.quantities import Id

if TYPE_CHECKING:
    from collections.abc import Callable

LEAST_PASSPHRASE = 8
_SALT_BYTES = 16
# Work of the key derivation: 32 MB and about a tenth of a second for each guess. RFC 7914 names the parameters.
_SCRYPT = {"n": 2**15, "r": 8, "p": 1}
# What the bench's copy is locked with. It is no secret: it keeps the answer from whoever opens the file to read it.
_BENCH_PASSPHRASE = "the bench runs on the student's own machine"
_Token = Annotated[str, Field(max_length=200_000)]


class Sealed(Checked):
    """A sealed exercise as its file has it; `sheet` is what the student may read."""

    sealed: Id
    sheet: dict[str, Any]
    salt: Annotated[str, Field(max_length=100)]
    answer: _Token
    bench: _Token | None = None


def seal(exercise: Exercise, passphrase: str, random_bytes: Callable[[int], bytes], *, with_bench: bool) -> Sealed:
    """Lock an exercise. `random_bytes` gives the salt. Raises DropwalkError for a passphrase that is too short."""
    if len(passphrase) < LEAST_PASSPHRASE:
        raise DropwalkError(f"the passphrase is too short; use at least {LEAST_PASSPHRASE} characters")
    salt = random_bytes(_SALT_BYTES)
    whole = json.dumps(exercise.model_dump(mode="json", exclude_defaults=True)).encode()
    return Sealed(
        sealed=exercise.exercise,
        sheet=public_part(exercise),
        salt=base64.b64encode(salt).decode(),
        answer=_lock(passphrase, salt).encrypt(whole).decode(),
        bench=_lock(_BENCH_PASSPHRASE, salt).encrypt(whole).decode() if with_bench else None,
    )


def open_answer(sealed: Sealed, passphrase: str) -> Exercise:
    """The exercise, with the teacher's passphrase. Raises DropwalkError when it is the wrong one."""
    return _open(sealed, sealed.answer, passphrase, "the passphrase does not open this exercise")


def open_bench(sealed: Sealed) -> Exercise:
    """The exercise for a bench on this machine. Raises DropwalkError when it was sealed without one."""
    if sealed.bench is None:
        raise DropwalkError(
            "this exercise was sealed without a bench: it is played where the teacher serves it, or on a board"
        )
    return _open(sealed, sealed.bench, _BENCH_PASSPHRASE, "the bench in this exercise is damaged; get the file again")


def _open(sealed: Sealed, token: str, passphrase: str, otherwise: str) -> Exercise:
    try:
        whole = _lock(passphrase, base64.b64decode(sealed.salt)).decrypt(token.encode())
        exercise = Exercise.model_validate(json.loads(whole))
    except (InvalidToken, ValueError, ValidationError):
        raise DropwalkError(otherwise) from None
    shown = public_part(exercise)
    if exercise.exercise != sealed.sealed or json.loads(json.dumps(shown)) != sealed.sheet:
        raise DropwalkError("the sheet of this sealed exercise was changed; get the file again")
    return exercise


def _lock(passphrase: str, salt: bytes) -> Fernet:
    key = Scrypt(salt=salt, length=32, **_SCRYPT).derive(passphrase.encode())
    return Fernet(base64.urlsafe_b64encode(key))
