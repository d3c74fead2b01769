"""Signatures of webhooks against the example of the open specification.

Source: "Standard Webhooks", specification of 2023, and the test data of its published libraries (secret, message id,
timestamp, payload and signature); the values are from memory, and a wrong one could not agree by chance: the signature
has 256 bits.
"""

from __future__ import annotations

import base64

from api.hooks.signing import new_secret, signature


def test_the_published_example_comes_out() -> None:
    secret = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"
    said = signature(secret, "msg_p5jXN8AQM9LWM0D4loKWxJek", 1614265330, b'{"test": 2432232314}')
    assert said == "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE="


def test_a_new_secret_is_as_long_as_the_specification_asks() -> None:
    key = base64.b64decode(new_secret().removeprefix("whsec_"), validate=True)
    assert 24 <= len(key) <= 64
    assert new_secret() != new_secret()
