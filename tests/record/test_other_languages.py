"""A record verifies with a JOSE package of another language, from its public registry.

It needs node, npm and the registry, so it runs only where ``FPTLIB_TEST_NPM`` is set.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
from pathlib import Path

import pytest
import record_support as support

PROGRAM = """
import { generalVerify, importJWK, calculateJwkThumbprint } from "jose";
import { readFileSync } from "node:fs";
const record = JSON.parse(readFileSync(process.argv[2], "utf8"));
const seen = [];
for (const signature of record.signatures) {
  const one = { payload: record.payload, signatures: [signature] };
  const { payload, protectedHeader } = await generalVerify(
    one, async (header) => importJWK(header.jwk, "Ed25519"), { algorithms: ["Ed25519"] });
  const named = await calculateJwkThumbprint(protectedHeader.jwk);
  const title = JSON.parse(new TextDecoder().decode(payload)).job.title;
  seen.push([protectedHeader.role, named === protectedHeader.kid, title]);
}
console.log(JSON.stringify(seen));
"""


def test_node_verifies_a_record(tmp_path: Path) -> None:
    if not os.environ.get("FPTLIB_TEST_NPM"):
        pytest.skip("set FPTLIB_TEST_NPM to fetch a JOSE package from the npm registry")
    node, npm = shutil.which("node"), shutil.which("npm")
    if not node or not npm:
        pytest.skip("node or npm is not installed")
    (tmp_path / "package.json").write_text('{"type": "module", "private": true}')
    got = subprocess.run([npm, "install", "--no-audit", "--no-fund", "jose@^6"], cwd=tmp_path,
                         capture_output=True, timeout=120)
    if got.returncode:
        pytest.skip(f"the npm registry gave no jose: {got.stderr.decode()[-200:]}")
    record = support.signed(support.make_payload(support.make_job(tmp_path / "job")),
                            support.make_keys(), ("technician", "engineer"))
    (tmp_path / "record.json").write_bytes(record)
    (tmp_path / "verify.mjs").write_text(PROGRAM)
    command = [node, "--no-warnings", "verify.mjs", "record.json"]
    done = subprocess.run(command, cwd=tmp_path, capture_output=True, timeout=60)
    assert done.returncode == 0, done.stderr.decode()
    title = "Changeover test, invented plant"
    assert json.loads(done.stdout) == [["technician", True, title], ["engineer", True, title]]
    forged = json.loads(record)
    forged["payload"] = "e30"
    (tmp_path / "record.json").write_text(json.dumps(forged))
    assert subprocess.run(command, cwd=tmp_path, capture_output=True, timeout=60).returncode
