"""What a list of trusted keys and a key itself must not let through."""

from __future__ import annotations

import json
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
import record_support as support
from joserfc import jws

from fptlib.errors import RecordError
from fptlib.job.folder import Job
from fptlib.record import canonical, keys, signing, trusted_keys
from fptlib.record.keys import SMALL_ORDER, thumbprint
from fptlib.record.trusted_keys import COMPROMISED, TrustedKeys
from fptlib.record.verify import verify

KEYS = support.make_keys()
TRUSTED = support.trust(KEYS)
P = 2**255 - 19


@pytest.fixture
def job(tmp_path: Path) -> Job:
    return support.make_job(tmp_path / "job")


def test_keys_put_on_a_list_at_once_are_all_on_it(tmp_path: Path) -> None:
    code = ("import sys; from pathlib import Path; from fptlib.record import trusted_keys\n"
            "for name in sys.argv[2:]:\n"
            "    trusted_keys.add(Path(sys.argv[1]), name, name, 'witness', lambda: '')")
    names = []
    for n in range(24):
        key = keys.Key(support.OKPKey.generate_key("Ed25519"))
        path = tmp_path / f"{n}.public"
        path.write_text(json.dumps({**key.public(), "proof": key.proof()}), encoding="utf-8")
        names.append(str(path))
    firm = tmp_path / "firm.jwks"
    at_once = [subprocess.Popen([sys.executable, "-c", code, str(firm), *names[n::6]])
               for n in range(6)]
    assert [process.wait(timeout=200) for process in at_once] == [0] * 6
    assert len(TrustedKeys.read(firm).keys) == 24


def a_list(tmp_path: Path, **more: Any) -> Path:
    (entry, *_) = TRUSTED.keys
    path = tmp_path / "firm.jwks"
    path.write_text(json.dumps({"keys": [{**entry.members(), **more}]}), encoding="utf-8")
    return path


@pytest.mark.parametrize("reason", ["stolen", "Retired", "", None, 7])
def test_a_reason_that_is_not_known_withdraws_every_signature(tmp_path: Path, reason: Any) -> None:
    listed = a_list(tmp_path, revoked="2026-03-01T00:00:00Z", revoked_reason=reason)
    (entry,) = TrustedKeys.read(listed).keys
    assert entry.revoked_reason == COMPROMISED
    assert entry.refusal(datetime(2026, 1, 1, tzinfo=UTC))


@pytest.mark.parametrize("more", [
    {"revokd": "2026-03-01T00:00:00Z"}, {"expires": "2026-03-01"}, {"revoked": None},
    {"revoked": ""}, {"revoked": False}, {"revoked_reason": "retired"}])
def test_a_revocation_that_cannot_be_read_makes_no_key_good(
    tmp_path: Path, more: dict[str, Any]
) -> None:
    with pytest.raises(RecordError, match=r"firm\.jwks"):
        TrustedKeys.read(a_list(tmp_path, **more))


def test_a_member_beside_the_keys_that_is_not_known_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "firm.jwks"
    path.write_text('{"keys":[],"revoked":["x"]}', encoding="utf-8")
    with pytest.raises(RecordError, match="'revoked', which is no member"):
        TrustedKeys.read(path)


def test_a_retired_key_cannot_sign_by_stating_an_earlier_moment(job: Job) -> None:
    kid = KEYS["technician"].thumbprint
    retired = TRUSTED.revoke(kid, support.MOMENT - timedelta(days=10))
    backdated = signing.sign(support.make_payload(job), KEYS["technician"], "technician",
                             support.NAMES["technician"], support.MOMENT - timedelta(days=30))
    found = verify(backdated, retired, None)
    assert not found.good and "retired" in found.lines()[1]
    assert any("states a moment before" in line for line in verify(backdated, None, None).lines())


def test_nobody_countersigns_before_what_is_signed_was_made(job: Job) -> None:
    first = support.signed(support.make_payload(job), KEYS, ("technician",))
    with pytest.raises(RecordError, match="the clock of this computer shows"):
        signing.countersign(first, KEYS["engineer"], "engineer", support.NAMES["engineer"],
                            support.MOMENT - timedelta(hours=1))


# The group law of RFC 8032, section 5.1.4, in affine form: independent of any library.
D = -121665 * pow(121666, P - 2, P) % P


def add(a: tuple[int, int], b: tuple[int, int]) -> tuple[int, int]:
    (x1, y1), (x2, y2) = a, b
    t = D * x1 * x2 * y1 * y2
    return ((x1 * y2 + x2 * y1) * pow(1 + t, P - 2, P) % P,
            (y1 * y2 + x1 * x2) * pow(1 - t, P - 2, P) % P)


def x_of(y: int) -> int:
    """RFC 8032, section 5.1.3."""
    square = (y * y - 1) * pow(D * y * y + 1, P - 2, P) % P
    x = pow(square, (P + 3) // 8, P)
    if (x * x - square) % P:
        x = x * pow(2, (P - 1) // 4, P) % P
    assert (x * x - square) % P == 0, "no point of the curve"
    return x


@pytest.mark.parametrize("y", sorted(SMALL_ORDER))
def test_the_points_refused_are_those_of_small_order(y: int) -> None:
    point = x_of(y), y
    for _ in range(3):
        point = add(point, point)
    assert point == (0, 1)


def test_there_are_no_more_of_them() -> None:
    # Eight points in all (the cofactor of RFC 8032): x is nought for two, its sign free for six.
    assert sum(1 if x_of(y) == 0 else 2 for y in SMALL_ORDER) == 8


def weak(y: int) -> dict[str, str]:
    return {"crv": "Ed25519", "kty": "OKP", "x": canonical.to_base64(y.to_bytes(32, "little"))}


@pytest.mark.parametrize("y", [*sorted(SMALL_ORDER), P, P + 1, 1 + 2**255])
def test_a_key_that_fits_any_text_is_neither_read_nor_trusted(tmp_path: Path, job: Job, y: int
                                                              ) -> None:
    jwk = weak(y)
    outer = json.loads(support.signed(support.make_payload(job), KEYS, ("technician",)))
    header = json.loads(canonical.from_base64(outer["signatures"][0]["protected"], "header"))
    header |= {"jwk": jwk, "kid": thumbprint(jwk)}
    outer["signatures"][0]["protected"] = canonical.to_base64(canonical.encode(header))
    with pytest.raises(RecordError, match="fits any text"):
        signing.read(canonical.encode(outer))
    path = tmp_path / "firm.jwks"
    path.write_text(json.dumps({"keys": [{**jwk, "name": "A", "role": "engineer"}]}),
                    encoding="utf-8")
    with pytest.raises(RecordError, match="fits any text"):
        TrustedKeys.read(path)


@pytest.mark.parametrize("proof", ["", "of another key", "of another kind"])
def test_a_public_half_comes_onto_a_list_with_its_proof_only(tmp_path: Path, proof: str) -> None:
    key = KEYS["engineer"]
    other = jws.serialize_compact({"alg": "Ed25519"}, canonical.encode(key.public()), key.secret,
                                  algorithms=["Ed25519"])
    given = {"": "", "of another key": KEYS["witness"].proof(), "of another kind": other}[proof]
    path = tmp_path / "public"
    path.write_text(json.dumps({**key.public(), "proof": given}), encoding="utf-8")
    with pytest.raises(RecordError, match="does not show that its sender holds the key"):
        trusted_keys.add(tmp_path / "firm", str(path), "Blair Senior", "engineer", lambda: "")


def one_name(job: Job) -> bytes:
    first = signing.sign(support.make_payload(job), KEYS["technician"], "technician",
                         "Avery Field", support.MOMENT)
    return signing.countersign(first, KEYS["engineer"], "engineer", "avery  field",
                               support.MOMENT)


def test_one_name_in_two_roles_and_another_name_than_the_plans_are_remarked(job: Job) -> None:
    said = "\n".join(verify(one_name(job), None, None).lines())
    assert "note: one name, avery field, signed as technician and as engineer" in said
    assert "note: the plan names Blair Senior as engineer, not avery field" in said
    right = support.signed(support.make_payload(job), KEYS, ("technician", "engineer"))
    assert "one name" not in "\n".join(verify(right, None, None).lines())


def test_a_firm_can_forbid_that_one_name_signs_twice(job: Job, tmp_path: Path) -> None:
    TrustedKeys(TRUSTED.keys, distinct=True).write(tmp_path / "firm.jwks")
    trusted = TrustedKeys.read(tmp_path / "firm.jwks")
    assert trusted.distinct
    refused = verify(one_name(job), trusted, None).refused
    assert any("which the firm's list forbids" in reason for reason in refused)


@pytest.mark.parametrize("passphrase", ["aaaaaaaaaaaa", "abcdefghijkl", "abababababab",
                                        "Password123", "qwertyuiop"])
def test_what_anybody_tries_first_is_no_passphrase(tmp_path: Path, passphrase: str) -> None:
    with pytest.raises(RecordError, match="first that anybody tries"):
        keys.make_key(tmp_path / "key", passphrase)
    assert not (tmp_path / "key").exists()
