"""The test record: payload, signatures, verification, re-computation, pages for people.

A record is bytes plus signatures by open standards: a JSON payload in canonical form
(RFC 8785), signed as RFC 7515 general JSON serialization with Ed25519 (RFC 8037, RFC 9864),
keys named by their RFC 7638 thumbprint. Nothing here knows of widgets.

* ``payload``: everything the record states, as plain JSON types
* ``keys``, ``signing``, ``verify``, ``store``, ``named``: sign it, countersign it, check it,
  keep it, find it
* ``trusted``, ``trust``: a firm's list of trusted keys, and how it is kept
* ``page``, ``pdf``: the record for people
* ``deficiencies``, ``retest``, ``retest_job``, ``review``, ``restore``, ``exchange``,
  ``schema``: what follows
"""
