"""Published vectors of the standards a record is built on, re-typed, source beside each.

Sources: RFC 8032 section 7.1, RFC 8037 appendix A, RFC 7638 section 3.1, RFC 7515 appendix
A.6, RFC 8785 section 3.2.2 and appendix B; the digests of RFC 8785's test data are those of
the cyberphone/json-canonicalization repository, commit 19d51d7f.
"""

from __future__ import annotations

import hashlib
import struct

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from joserfc import jws
from joserfc.jwk import ECKey, OKPKey, RSAKey

from fptlib.errors import RecordError
from fptlib.record import canonical
from fptlib.record.keys import Key

# RFC 8032 section 7.1: TEST 1, 2, 3 and SHA(abc). Secret key, public key, message, signature.
ED25519 = [
    ("9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
     "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
     "",
     "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e3970"
     "1cf9b46bd25bf5f0595bbe24655141438e7a100b"),
    ("4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
     "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c",
     "72",
     "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613"
     "d0f11d8c387b2eaeb4302aeeb00d291612bb0c00"),
    ("c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
     "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025",
     "af82",
     "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f760"
     "984dc6594a7c15e9716ed28dc027beceea1ec40a"),
    ("833fe62409237b9d62ec77587520911e9a759cec1d19755b7da901b96dca3d42",
     "ec172b93ad5e563bf4932c70e1245034c35467ef2efd4d64ebf819683467e2bf",
     hashlib.sha512(b"abc").hexdigest(),
     "dc2a4459e7369633a52b1bf277839a00201009a3efbf3ecb69bea2186c26b58909351fc9ac90b3ecfdfbc7c6"
     "6431e0303dca179c138ac17ad9bef1177331a704"),
]

# RFC 8037 appendix A.1 and A.2: the key of RFC 8032's TEST 1 as a JWK.
JWK_8037 = {
    "kty": "OKP", "crv": "Ed25519",
    "d": "nWGxne_9WmC6hEr0kuwsxERJxWl7MmkZcDusAxyuf2A",
    "x": "11qYAYKxCrfVS_7TyWQHOg7hcvPapiMlrwIaaPcHURo",
}
# RFC 7515 appendix A.2 and A.3: the public keys of A.6.
RSA_7515 = {
    "kty": "RSA", "e": "AQAB",
    "n": "ofgWCuLjybRlzo0tZWJjNiuSfb4p4fAkd_wWJcyQoTbji9k0l8W26mPddxHmfHQp-Vaw-4qPCJrcS2mJPMEzP1Pt"
         "0Bm4d4QlL-yRT-SFd2lZS-pCgNMsD1W_YpRPEwOWvG6b32690r2jZ47soMZo9wGzjb_7OMg0LOL-bSf63kpaSHSX"
         "ndS5z5rexMdbBYUsLA9e-KXBdQOS-UTo7WTBEMa2R2CapHg665xsmtdVMTBQY4uDZlxvb3qCo5ZwKh9kG4LT6_I5"
         "IhlJH7aGhyxXFvUK-DWNmoudF8NAco9_h9iaGNj8q2ethFkMLs91kzk2PAcDTW9gb54h4FRWyuXpoQ",
}
EC_7515 = {
    "kty": "EC", "crv": "P-256",
    "x": "f83OJ3D2xF1Bg8vub9tLe1gHMzV76e8Tus9uPHvRVEU",
    "y": "x_FEzRu9m36HLN_tue659LNpXW6pCyStikYjKIWI5a0",
}


@pytest.mark.parametrize(("secret", "public", "message", "signature"), ED25519)
def test_ed25519_of_rfc_8032(secret: str, public: str, message: str, signature: str) -> None:
    key = OKPKey.import_key({
        "kty": "OKP", "crv": "Ed25519", "d": canonical.to_base64(bytes.fromhex(secret)),
        "x": canonical.to_base64(bytes.fromhex(public)),
    })
    private = key.private_key
    assert isinstance(private, Ed25519PrivateKey)
    assert private.public_key().public_bytes_raw().hex() == public
    assert private.sign(bytes.fromhex(message)).hex() == signature
    private.public_key().verify(bytes.fromhex(signature), bytes.fromhex(message))


def test_thumbprint_of_rfc_8037() -> None:
    key = Key(OKPKey.import_key(JWK_8037))
    assert key.thumbprint == "kPrK_qmxVWaYVA9wwBF6Iuo3vVzz7TxHCTwXBygrS4k"
    assert canonical.from_base64(key.thumbprint, "it").hex() == (
        "90facafea9b1556698540f70c0117a22ea37bd5cf3ed3c47093c1707282b4b89")
    assert canonical.encode(key.public()) == (
        b'{"crv":"Ed25519","kty":"OKP","x":"11qYAYKxCrfVS_7TyWQHOg7hcvPapiMlrwIaaPcHURo"}')


def test_signature_of_rfc_8037() -> None:
    """Appendix A.4, a compact serialization with the older name of the algorithm."""
    token = (
        "eyJhbGciOiJFZERTQSJ9.RXhhbXBsZSBvZiBFZDI1NTE5IHNpZ25pbmc.hgyY0il_MGCjP0JzlnLWG1PPOt7-09"
        "PGcvMg3AIbQR6dWbhijcNR4ki4iylGjg5BhVsPt9g7sVvpAr_MuM0KAg"
    )
    key = Key(OKPKey.import_key(JWK_8037)).secret.private_key
    assert isinstance(key, Ed25519PrivateKey)
    head, signature = token.rsplit(".", 1)
    assert canonical.to_base64(key.sign(head.encode())) == signature
    assert canonical.from_base64(head.split(".")[1], "it") == b"Example of Ed25519 signing"


def test_general_serialization_of_rfc_7515() -> None:
    """Appendix A.6: both signatures verify; its key names stand in unprotected headers."""
    payload = ("eyJpc3MiOiJqb2UiLA0KICJleHAiOjEzMDA4MTkzODAsDQogImh0dHA6Ly9leGFt"
               "cGxlLmNvbS9pc19yb290Ijp0cnVlfQ")
    rsa = {"protected": "eyJhbGciOiJSUzI1NiJ9", "header": {"kid": "2010-12-29"}, "signature":
           "cC4hiUPoj9Eetdgtv3hF80EGrhuB__dzERat0XF9g2VtQgr9PJbu3XOiZj5RZmh7AAuHIm4Bh-0Qc_lF5YKt"
           "_O8W2Fp5jujGbds9uJdbF9CUAr7t1dnZcAcQjbKBYNX4BAynRFdiuB--f_nZLgrnbyTyWzO75vRK5h6xBArL"
           "IARNPvkSjtQBMHlb1L07Qe7K0GarZRmB_eSN9383LcOLn6_dO--xi12jzDwusC-eOkHWEsqtFZESc6BfI7no"
           "OPqvhJ1phCnvWh6IeYI2w9QOYEUipUTI8np6LbgGY9Fs98rqVt5AXLIhWkWywlVmtVrBp0igcN_IoypGlUPQ"
           "Ge77Rw"}
    ec = {"protected": "eyJhbGciOiJFUzI1NiJ9",
          "header": {"kid": "e9bc097a-ce51-4036-9562-d2ade882db0d"}, "signature":
          "DtEhU3ljbEg8L38VWAfUAqOyKAM6-Xx-F4GawxaepmXFCgfTjDxw5djxLa8ISlSApmWQxfKTUJqPP3-Kg6NU1Q"}
    for entry, key in ((rsa, RSAKey.import_key(RSA_7515)), (ec, ECKey.import_key(EC_7515))):
        found = jws.deserialize_json(
            {"payload": payload, "signatures": [entry]}, key, algorithms=["RS256", "ES256"])
        assert found.payload.startswith(b'{"iss":"joe"')


# RFC 8785 section 3.2.2 and the repository's test data: value and SHA-256 of its output.
CANONICAL = [
    ({"numbers": [333333333.33333329, 1e30, 4.50, 2e-3, 1e-27],
      "string": "\u20ac$\u000f\u000aA'\u0042\u0022\u005c\\\"/", "literals": [None, True, False]},
     "2d5e01a318d0f0879ab568c4be289c8b1f64ef8921a53c6277d5e069978baacb"),
    ([56, {"d": True, "10": None, "1": []}],
     "099601b171cafed97c333f8878d68e7f8c8f795412adb34b2fdcf0e7c7beac42"),
    ({"peach": "This sorting order", "p\u00e9ch\u00e9": "is wrong according to French",
      "p\u00eache": "but canonicalization MUST", "sin": "ignore locale"},
     "d99d0ebdcb0033cb858cfa830ae46bc0fb3309413b271f1da828c89901a27ed5"),
    ({"1": {"f": {"f": "hi", "F": 5}, "\n": 56.0}, "10": {}, "": "empty", "a": {},
      "111": [{"e": "yes", "E": "no"}], "A": {}},
     "605f65004ec2db7692522a0852c22f1c989e036d547e88963d1a3143cf3195d5"),
    ({"Unnormalized Unicode": "A\u030a"},
     "0d99aad92a125196ff887876643fd3206786a84ddce2cee52ba4ad256d2381d3"),
    ({"\u20ac": "Euro Sign", "\r": "Carriage Return", "\n": "Newline", "1": "One",
      "\u0080": "Control\u007f", "\U0001f602": "Smiley",
      "\u00f6": "Latin Small Letter O With Diaeresis",
      "\ufb33": "Hebrew Letter Dalet With Dagesh", "</script>": "Browser Challenge"},
     "6af595a9aa80110b964b4de3f82a05fa6ae7423005019bacfa2620dddc4e94d1"),
]


@pytest.mark.parametrize(("value", "digest"), CANONICAL)
def test_canonical_form_of_rfc_8785(value: object, digest: str) -> None:
    data = canonical.encode(value)
    assert canonical.digest(data) == digest
    assert canonical.encode(canonical.decode(data, "it")) == data


# RFC 8785 appendix B: the bits of a double and how it is written.
DOUBLES = """\
0000000000000000 0
8000000000000000 0
0000000000000001 5e-324
8000000000000001 -5e-324
7fefffffffffffff 1.7976931348623157e+308
ffefffffffffffff -1.7976931348623157e+308
4340000000000000 9007199254740992
c340000000000000 -9007199254740992
4430000000000000 295147905179352830000
44b52d02c7e14af5 9.999999999999997e+22
44b52d02c7e14af6 1e+23
44b52d02c7e14af7 1.0000000000000001e+23
444b1ae4d6e2ef4e 999999999999999700000
444b1ae4d6e2ef4f 999999999999999900000
444b1ae4d6e2ef50 1e+21
3eb0c6f7a0b5ed8c 9.999999999999997e-7
3eb0c6f7a0b5ed8d 0.000001
41b3de4355555553 333333333.3333332
41b3de4355555554 333333333.33333325
41b3de4355555555 333333333.3333333
41b3de4355555556 333333333.3333334
41b3de4355555557 333333333.33333343
becbf647612f3696 -0.0000033333333333333333
43143ff3c1cb0959 1424953923781206.2"""


@pytest.mark.parametrize("row", DOUBLES.splitlines())
def test_numbers_of_rfc_8785(row: str) -> None:
    bits, written = row.split()
    assert canonical.encode(struct.unpack(">d", bytes.fromhex(bits))[0]) == written.encode()


@pytest.mark.parametrize("bits", ["7fffffffffffffff", "7ff0000000000000"])
def test_what_is_no_number_has_no_form(bits: str) -> None:
    with pytest.raises(RecordError):
        canonical.encode(struct.unpack(">d", bytes.fromhex(bits))[0])


@pytest.mark.parametrize("data", [b'{"a":1,"a":1}', b"NaN", b"[1,]", b'"\xff"', b"[" * 100_000])
def test_unreadable_json_is_told_in_a_sentence(data: bytes) -> None:
    with pytest.raises(RecordError, match="the thing"):
        canonical.parse(data, "the thing")


@pytest.mark.parametrize("data", [b'{"b":1,"a":2}', b"[1.0]", b"[1, 2]", b'"\\u0041"', b"1e2"])
def test_another_way_to_write_the_same_is_refused(data: bytes) -> None:
    with pytest.raises(RecordError, match="canonical"):
        canonical.decode(data, "the thing")


@pytest.mark.parametrize("text", ["YQ==", "YR", "Y Q", "YQ\n", "+/", "Y", 7, None, "é"])
def test_another_way_to_write_base64_is_refused(text: object) -> None:
    with pytest.raises(RecordError):
        canonical.from_base64(text, "the thing")
