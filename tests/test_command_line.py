"""The command line, as its user types it: one job from start to countersignature."""

from __future__ import annotations

import io
import json
import os
import re
import shutil
import subprocess
import sys
from contextlib import redirect_stdout
from pathlib import Path, PurePosixPath

import pytest
from jsonschema import Draft202012Validator, FormatChecker

from fptlib.cli.commands import AWAITED, main
from fptlib.job.folder import Job, now
from fptlib.job.start import pasted
from fptlib.procedure.assemble import assemble
from fptlib.procedure.steps import CHECKS, STEPS, step
from fptlib.record import keys, signing, store
from fptlib.workbook import state
from fptlib.workbook.review import hand_edits

SECRET = "a passphrase for tests"


@pytest.fixture(autouse=True)
def passphrase(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("FPTLIB_PASSPHRASE", SECRET)


@pytest.fixture(scope="module")
def signed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A sample job with a technician's signed record, its key beside it."""
    folder = tmp_path_factory.mktemp("signed")
    os.environ["FPTLIB_PASSPHRASE"] = SECRET
    assert main(["start", str(folder / "job"), "--sample", "before"]) == 0
    with redirect_stdout(io.StringIO()) as said:
        assert main(["run", str(folder / "job")]) == 0
    assert "00_plan.ipynb: ran" in said.getvalue() and "02_reset.ipynb: fail" in said.getvalue()
    assert main(["keygen", str(folder / "key")]) == 0
    arguments = ["--key", str(folder / "key"), "--name", "a technician"]
    assert main(["sign", str(folder / "job"), *arguments]) == 0
    return folder


@pytest.fixture(scope="module")
def before(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A sample job that nobody has run."""
    folder = tmp_path_factory.mktemp("before") / "job"
    assert main(["start", str(folder), "--sample", "before"]) == 0
    return folder


def test_help_lists_every_command(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit, match="0"):
        main(["--help"])
    said = capsys.readouterr().out
    assert all(name in said for name in (
        "start", "open", "run", "check", "keygen", "sign", "countersign", "verify",
        "recalculate", "export", "screen", "trust", "compare", "demo"))


@pytest.mark.parametrize("command", ["keygen", "sign", "countersign"])
def test_help_says_where_a_passphrase_may_come_from(
    command: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit, match="0"):
        main([command, "--help"])
    assert "FPTLIB_PASSPHRASE" in capsys.readouterr().out


def test_help_needs_no_heavy_package() -> None:
    script = ("import sys; from fptlib.cli.commands import main\n"
              "try:\n    main(['--help'])\nexcept SystemExit:\n    pass\n"
              "heavy = {'pandas', 'numpy', 'matplotlib', 'pyarrow', 'IPython'} & set(sys.modules)\n"
              "print('HEAVY', heavy)")
    said = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True,
                          check=True).stdout
    assert "HEAVY set()" in said


def test_nothing_is_signed_before_its_steps_were_run(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["start", str(tmp_path / "job"), "--sample", "sound"]) == 0
    assert main(["keygen", str(tmp_path / "key")]) == 0
    arguments = ["--key", str(tmp_path / "key"), "--name", "a technician"]
    assert main(["sign", str(tmp_path / "job"), *arguments]) == 1
    assert "Step 4 Lift protection: not run yet" in capsys.readouterr().err


def test_a_firms_folder_with_a_fault_leaves_no_half_made_job(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    firm = tmp_path / "firm"
    firm.mkdir()
    arguments = ["start", str(tmp_path / "job"), "--procedure", str(firm)]
    assert main(arguments) == 1
    assert "procedure.toml" in capsys.readouterr().err
    (firm / "procedure.toml").write_text("[procedure]\nname = 'x'\nedition = '1'\n")
    assert main(arguments) == 0
    assert Job(tmp_path / "job").get("job.procedure") == "x 1"


def test_a_retest_starts_from_the_signed_job_and_follows_a_firms_procedure(
    signed: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    firm = tmp_path / "firm"
    firm.mkdir()
    (firm / "procedure.toml").write_text("[procedure]\nname = 'x'\nedition = '1'\n")
    arguments = ["--retest", str(signed / "job"), "--procedure", str(firm)]
    assert main(["start", str(tmp_path / "again"), *arguments]) == 0
    job = Job(tmp_path / "again")
    assert job.get("job.procedure") == "x 1" and job.get("retest.of_job") == "INV-0001"
    assert job.get("points") == Job(signed / "job").get("points")
    assert main(["check", str(tmp_path / "again")]) == 1
    assert "Traceback" not in capsys.readouterr().err


def test_a_retest_needs_a_record_and_no_sample(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["start", str(tmp_path / "first")]) == 0
    arguments = ["start", str(tmp_path / "again"), "--retest", str(tmp_path / "first")]
    assert main(arguments) == 1
    assert "job 'first' has no record yet" in capsys.readouterr().err
    assert main([*arguments, "--sample", "sound"]) == 1
    assert "--sample and --retest cannot go together" in capsys.readouterr().err
    assert not (tmp_path / "again").exists()


def test_a_retest_is_set_beside_the_job_it_repeats(
    signed: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    again = tmp_path / "again"
    assert main(["start", str(again), "--retest", str(signed / "job")]) == 0
    shutil.copytree(signed / "job" / "trends", again / "trends", dirs_exist_ok=True)
    job = Job(again)
    job.put("findings.summary", "Nothing was corrected.")
    job.put("prerequisites", [{"text": "ready", "done": True, "by": "a technician"}])
    # Two of its workbooks run; what the others would note is noted without their kernels.
    others = {path: path.read_bytes() for path in job.workbooks_folder.glob("*.ipynb")
              if path.name not in ("00_plan.ipynb", "02_reset.ipynb")}
    for path in others:
        path.unlink()
    assert main(["run", str(again)]) == 0
    said = capsys.readouterr().out
    assert "00_plan.ipynb: ran" in said and "02_reset.ipynb: fail" in said
    assert {name: state.standing(job, step(name)).state for name in ("plan", "reset", "lift")} == {
        "plan": state.INCOMPLETE, "reset": state.DONE, "lift": state.NOT_STARTED}
    for path, content in others.items():
        path.write_bytes(content)
    test = assemble(job)
    for each in STEPS:
        state.record_run(job, each, each.judge(test) if each.judged else (), state.basis(job))
    arguments = ["--key", str(signed / "key"), "--name", "a technician"]
    assert main(["sign", str(again), *arguments]) == 0
    assert main(["compare", str(signed / "job"), str(again)]) == 1
    assert "reset.active: open: reset.active is fail" in capsys.readouterr().out
    made = (again / "record" / "0001-before-and-after.html").read_text(encoding="utf-8")
    assert "0 of 13 deficiencies are closed" in made and made.count("<img ") == 22


def test_signed_record_verifies(signed: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["verify", str(signed / "job")]) == AWAITED
    said = capsys.readouterr().out
    assert "whole and unchanged" in said and "a technician" in said


def test_a_signer_on_the_firms_list_is_vouched_for_until_the_key_is_revoked(
    signed: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    firm = str(tmp_path / "firm.jwks")
    holder = ["--name", "a technician", "--role", "technician"]
    assert main(["trust", firm, str(signed / "key"), *holder]) == 0
    kid = capsys.readouterr().out.split("key ")[1].split(":")[0]
    assert main(["verify", str(signed / "job"), "--trusted", firm]) == AWAITED
    assert "nobody vouched" not in capsys.readouterr().out
    # A thumbprint may begin with a dash, which is no option.
    assert main(["trust", "--revoke", "compromised", "--", firm, kid]) == 0
    assert main(["verify", str(signed / "job"), "--trusted", firm]) == 6
    assert "revoked" in capsys.readouterr().out


def test_a_record_is_told_whatever_became_of_its_job(
    signed: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    job = shutil.copytree(signed / "job", tmp_path / "job")
    (job / "job.toml").write_text("[job\n", encoding="utf-8")
    for named in (job, job / "record" / "0001.json"):
        assert main(["verify", str(named)]) == 5
        said = capsys.readouterr().out
        assert "technician a technician signed at" in said
        assert "CHANGED: job.toml cannot be read" in said


def test_a_new_key_tells_its_public_half(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["keygen", str(tmp_path / "key")]) == 0
    public = json.loads(capsys.readouterr().out.split("trusted keys: ")[1])
    assert set(public) == {"crv", "kty", "x", "proof"}
    assert main(["keygen", "--public", str(tmp_path / "key")]) == 0
    assert json.loads(capsys.readouterr().out.split("trusted keys: ")[1]) == public


def test_pdf_alone_verifies(signed: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["verify", str(signed / "job" / "record" / "0001.pdf")]) == AWAITED
    assert "whole and unchanged" in capsys.readouterr().out


def test_recalculation_comes_out_the_same(signed: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["recalculate", str(signed / "job")]) == 0
    assert capsys.readouterr().out.count(": same") == len(CHECKS)


def test_recalculation_of_the_pdf_alone_needs_its_trends_and_leaves_nothing(
    signed: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    alone = str(shutil.copyfile(signed / "job" / "record" / "0001.pdf", tmp_path / "alone.pdf"))
    assert main(["recalculate", alone]) == 1
    assert "lies in no job folder; name the folder of its trend files" in capsys.readouterr().err
    (tmp_path / "temporary").mkdir()
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path / "temporary"))
    assert main(["recalculate", alone, "--trends", str(signed / "job" / "trends")]) == 0
    assert capsys.readouterr().out.count(": same") == len(CHECKS)
    assert not any((tmp_path / "temporary").iterdir())


def test_every_change_is_named(signed: Path, tmp_path: Path,
                               capsys: pytest.CaptureFixture[str]) -> None:
    job = shutil.copytree(signed / "job", tmp_path / "job")
    trend = job / "trends" / "plant.csv"
    changed = bytearray(trend.read_bytes())
    changed[5000] ^= 1
    trend.write_bytes(changed)
    Job(job).put('limits."enable.dwell"', {
        "value": 5, "reason": "none", "author": "nobody", "date": "2026-01-01"})
    assert main(["verify", str(job)]) == 5
    said = capsys.readouterr().out
    assert "plant.csv" in said and "enable.dwell" in said


def test_countersigned_and_returned_for_correction(signed: Path, tmp_path: Path,
                                     capsys: pytest.CaptureFixture[str]) -> None:
    job = shutil.copytree(signed / "job", tmp_path / "job")
    assert main(["keygen", str(tmp_path / "engineer")]) == 0
    arguments = [str(job), "--key", str(tmp_path / "engineer"), "--name", "an engineer"]
    assert main(["countersign", *arguments, "--return", "retest the lift"]) == 0
    assert main(["verify", str(job)]) == 4
    said = capsys.readouterr().out
    assert "RETURNED FOR CORRECTION" in said and "retest the lift" in said
    assert (job / "record" / "0001.json").is_file() and (job / "record" / "0002.json").is_file()


def test_returned_without_a_reason_signs_nothing(
    signed: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    job = shutil.copytree(signed / "job", tmp_path / "job")
    assert main(["keygen", str(tmp_path / "engineer")]) == 0
    arguments = [str(job), "--key", str(tmp_path / "engineer"), "--name", "an engineer"]
    assert main(["countersign", *arguments, "--return", ""]) == 1
    assert "with a reason" in capsys.readouterr().err
    assert not (job / "record" / "0002.json").exists()


def test_a_record_finds_its_job_from_inside_its_folder(
    signed: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(signed / "job" / "record")
    assert main(["verify", "0001.json"]) == AWAITED
    assert "the record alone was checked" not in capsys.readouterr().out


def test_a_record_that_the_files_do_not_give_is_returned_only(
    signed: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    job = Job(shutil.copytree(signed / "job", tmp_path / "job"))
    content = signing.read((job.folder / "record" / "0001.json").read_bytes()).payload
    lift = next(row for row in content["checks"] if row["id"] == "lift.minimum")
    assert lift["verdict"] == "fail"
    lift["verdict"] = "pass"
    content["deficiencies"].clear()
    key = keys.load_key(signed / "key", SECRET)
    store.save(job, signing.sign(content, key, "technician", "a technician", now()))
    assert main(["keygen", str(tmp_path / "engineer")]) == 0
    arguments = [str(job.folder), "--key", str(tmp_path / "engineer"), "--name", "an engineer"]
    assert main(["countersign", *arguments]) == 1
    said = capsys.readouterr().err
    assert "lift.minimum, deficiencies of the record differ; return" in said
    assert main(["countersign", *arguments, "--return", "the verdicts"]) == 0


def test_countersigned(signed: Path, tmp_path: Path) -> None:
    job = shutil.copytree(signed / "job", tmp_path / "job")
    assert main(["keygen", str(tmp_path / "engineer")]) == 0
    arguments = [str(job), "--key", str(tmp_path / "engineer"), "--name", "an engineer"]
    assert main(["countersign", *arguments]) == 0


def test_check_prints_every_event(before: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", str(before), "--all"]) == 1
    said = " ".join(capsys.readouterr().out.split())
    assert "changeover 2" in said and "release or program the reset" in said and "13 fail" in said


def test_check_writes_all_of_it_as_json_of_its_own_schema(
    before: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "verdicts.json"
    assert main(["check", str(before), "--json", str(file)]) == 1
    capsys.readouterr()
    assert main(["check", "--json-schema"]) == 0
    schema = json.loads(capsys.readouterr().out)
    Draft202012Validator.check_schema(schema)
    found = json.loads(file.read_text(encoding="utf-8"))
    Draft202012Validator(schema, format_checker=FormatChecker()).validate(found)
    assert found["first"] == "2025-01-10T00:00:00-07:00" and found["row_minutes"] == 1
    lift = next(row for row in found["checks"] if row["id"] == "lift.minimum")
    assert lift["verdict"] == "fail" and lift["unit"] == "degF" and lift["events"]
    assert all(event["start"].endswith("-07:00") for event in lift["events"])
    assert [row["number"] for row in found["changeovers"]] == list(range(1, 11))
    ran = [row for row in found["changeovers"] if row["transition"]]
    assert ran and all(row["enabled"] < row["transition"] < row["end"] for row in ran)
    assert {row["severity"] for row in found["remarks"]} == {"note"}
    own = next(row for row in found["limits"] if row["name"] == "lift.offset")
    assert own["value"] == 4.5 and "this job's own value" in own["basis"]
    # What the schema does not know must not slip in.
    found["checks"][0]["more"] = 1
    assert not Draft202012Validator(schema).is_valid(found)


def test_check_shows_doubts_and_files_that_were_not_read(
    before: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    job = Job(shutil.copytree(before, tmp_path / "job"))
    (job.trends_folder / "forgotten.csv").write_text("Time,x\n", encoding="utf-8")
    (job.trends_folder / "site.json").write_text("{}", encoding="utf-8")
    job.put("points.plant_power.unusable", "the meter was changed")
    assert main(["check", str(job.folder)]) == 1
    said = capsys.readouterr().out
    assert "not read: forgotten.csv: no point of the job's map is in it" in said
    assert "site.json" not in said, "a model of the site is no trend"
    assert "unusable: plant_power" in said and "the meter was changed" in said
    assert "note: plant.csv" not in said and "limit lift.offset" not in said
    assert main(["check", str(job.folder), "--all"]) == 1
    said = capsys.readouterr().out
    assert "note: plant.csv: " in said and "limit lift.offset: 4.5 °F" in said


def test_a_check_of_nothing_is_one_sentence(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check"]) == 1
    assert capsys.readouterr().err == (
        "STOPPED: no job folder is named; write 'fptlib check JOB'\n")


@pytest.mark.parametrize(("arguments", "said"), [
    (["verify", "nowhere"], "cannot be read"),
    (["check", "nowhere"], "is not a job folder"),
    (["start", "JOB"], "not empty"),
    (["sign", "JOB", "--key", "no-key", "--name", "me"], "no-key"),
])
def test_wrong_call_is_one_sentence(
    arguments: list[str], said: str, signed: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    filled = [str(signed / "job") if a == "JOB" else a for a in arguments]
    assert main(filled) == 1
    error = capsys.readouterr().err
    assert error.startswith("STOPPED: ") and said in error and "Traceback" not in error
    assert error.count("\n") == 1


def test_hand_edit_of_an_output_is_found_by_running_again(signed: Path, tmp_path: Path) -> None:
    job = Job(shutil.copytree(signed / "job", tmp_path / "job"))
    workbook = job.workbooks_folder / "04_lift.ipynb"
    for other in set(job.workbooks_folder.glob("*.ipynb")) - {workbook}:
        other.unlink()
    text = workbook.read_text(encoding="utf-8")
    assert "the manufacturer asks for 6" in text
    workbook.write_text(text.replace("the manufacturer asks for 6", "the manufacturer asks for 2"),
                        encoding="utf-8")
    found = hand_edits(job)
    assert len(found) == 1 and "04_lift.ipynb" in found[0], found


@pytest.mark.parametrize(("folder", "expected"), [
    ("job", "job"), ("a/b-1", "a/b-1"), ("North Plant", '"North Plant"'), ("Süd", "Süd"),
    ("A & Co", '"A & Co"'),
])
def test_a_folder_is_printed_as_it_can_be_pasted(folder: str, expected: str) -> None:
    assert pasted(PurePosixPath(folder)) == expected


def test_a_folder_that_cannot_be_written_is_told_in_a_sentence(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "file").write_text("no folder", encoding="utf-8")
    assert main(["keygen", str(tmp_path / "file" / "key")]) == 1
    said = capsys.readouterr().err
    assert said.startswith("STOPPED: ") and "Traceback" not in said


def test_no_terminal_to_type_a_passphrase_in_is_told_in_a_sentence(tmp_path: Path) -> None:
    environment = {name: value for name, value in os.environ.items()
                   if name != "FPTLIB_PASSPHRASE"}
    done = subprocess.run(
        [sys.executable, "-W", "ignore", "-m", "fptlib", "keygen", str(tmp_path / "key")],
        capture_output=True, text=True, stdin=subprocess.DEVNULL, env=environment,
        start_new_session=True)
    assert done.returncode == 1
    assert "no passphrase was typed" in done.stderr and "Traceback" not in done.stderr


def test_a_reader_that_has_enough_is_no_error(before: Path) -> None:
    command = [sys.executable, "-m", "fptlib", "check", str(before), "--all"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as running:
        assert running.stdout is not None and running.stderr is not None
        running.stdout.close()
        said = running.stderr.read()
    assert said == b""


def test_every_number_is_printed_in_its_own_unit(
    before: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    main(["check", str(before), "--all"])
    said = capsys.readouterr().out.replace("\n      ", " ")
    assert re.search(r"min from the end of one to the next enable \[\d+ \+/- 1 min, limit",
                     said)
    assert re.search(r"below the reset setpoint \[\S+ \+/- \S+ °F, limit", said)
