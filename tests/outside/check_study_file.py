"""Study files against tools that are not ours: Python's TOML reader and the jsonschema package.

    MERESTONE=target/release/merestone python tests/outside/check_study_file.py --examples examples --folder /tmp

A new study file, read by `tomllib` and turned into JSON, has to satisfy the shipped schema, and so has every example in
it when the # before it is taken away. The same holds of the entries in double brackets. Each key is then spoilt in turn: the schema has to refuse it, and the program has
to refuse the file and name the line (and for a wrong name the column) at which this script spoilt it. The SHA-256 in the
file is compared with `hashlib`'s.
"""

import argparse
import hashlib
import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
import tomllib
from pathlib import Path

import jsonschema

LINE = re.compile(r"^(#?)([a-z0-9-]+) = (.*)$")


def run(program, *args):
    return subprocess.run([program, *args], capture_output=True, text=True, check=False)


def spoilt(value):
    """Values that no reader may take for this one, as TOML."""
    if isinstance(value, bool):
        return ['"yes"', "1"]
    if isinstance(value, int | float):
        return ['"many"', "-1", "[1]"]
    if isinstance(value, list):
        return ['["somewhere"]', "7"]
    if re.match(r"^[0-9.]+", value):
        # A measure: without its unit, with a wrong one, and as a bare number.
        number = re.match(r"^[0-9.]+", value).group()
        return [f'"{number}"', f'"{number} furlongs"', number, "true"]
    return ["true", "[]", '"§"', '"1§mm"']


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--examples", required=True, type=Path)
    parser.add_argument("--folder", required=True, type=Path)
    args = parser.parse_args()
    program = str(Path(os.environ["MERESTONE"]).resolve())
    root = Path(__file__).resolve().parents[2]
    schema = json.loads((root / "src/output/schema/study.schema.json").read_text())
    jsonschema.Draft202012Validator.check_schema(schema)
    valid = jsonschema.Draft202012Validator(schema)

    folder = Path(tempfile.mkdtemp(prefix="study-file-", dir=args.folder))
    picture = folder / "picture.png"
    shutil.copy(args.examples / "still-life-hatched.png", picture)
    made = run(program, "new", str(picture), "--quiet")
    assert made.returncode == 0, made.stderr
    text = (folder / "study.toml").read_text()
    lines = text.splitlines()
    data = tomllib.loads(text)
    valid.validate(data)
    digest = hashlib.sha256(picture.read_bytes()).hexdigest()
    assert data["reference"] == {"file": "picture.png", "sha256": digest}, data["reference"]

    # Every key of the schema stands in the file, set or as an example, under its own heading, and no other does.
    found, heading = {}, None
    for number, line in enumerate(lines):
        if line.startswith("[["):
            heading = None
        elif line.startswith("#[["):
            heading = None
        elif line.startswith("["):
            heading = line.strip("[]")
            found[heading] = {}
        elif (match := LINE.match(line)) and heading:
            found[heading][match[2]] = (number, match[1] == "#", match[3])
    known = {name: set(table["properties"]) for name, table in schema["properties"].items() if table.get("type") == "object"}
    assert {name: set(keys) for name, keys in found.items()} == known, "file and schema have other keys"

    trial = folder / "trial.toml"
    sheet = folder / "out.svg"

    def refusal(changed):
        trial.write_text("\n".join(changed) + "\n")
        done = run(program, "draw", str(trial), "-o", str(sheet), "--quiet")
        assert done.returncode == 2, f"exit code {done.returncode}: {done.stderr}"
        assert done.stderr.count("\n") == 1, done.stderr
        place = re.search(r"trial\.toml, line (\d+), column (\d+): ", done.stderr)
        assert place, done.stderr
        return int(place[1]), int(place[2]), done.stderr

    # Entries in double brackets: each example on its own satisfies the schema; a key less or a key more does not.
    entries = {name: of for name, of in schema["properties"].items() if of.get("type") == "array"}
    examples = re.findall(r"(?m)^#\[\[([a-z-]+)\]\]\n((?:#[a-z-]+ = .*\n)+)", text)
    assert {name for name, _ in examples} == set(entries), "file and schema have other entries"
    plain_text = text[: text.index("\n#[[")]
    entry_faults = 0
    for name, body in examples:
        block = f"\n[[{name}]]\n" + body.replace("\n#", "\n").removeprefix("#")
        whole = tomllib.loads(plain_text + block)
        valid.validate(whole)
        line = len(plain_text.splitlines()) + 1
        for spoil in [f"{block}\nnonsense = 1\n", block.replace("[\"", "[\"§")]:
            # A name may be any text.
            if spoil == block or "groups = " in spoil and "§" in spoil:
                continue
            # A name may be anything; which groups there are only the program knows.
            names = name == "keep-alike" and "nonsense" not in spoil
            assert names or not valid.is_valid(tomllib.loads(plain_text + spoil)), f"the schema takes {spoil}"
            found_line, _, said = refusal((plain_text + spoil).splitlines())
            assert found_line > line, said
            entry_faults += 1
        for key in entries[name]["items"]["required"]:
            without = re.sub(rf"(?m)^{key} = .*\n", "", block)
            assert not valid.is_valid(tomllib.loads(plain_text + without)), f"the schema takes {name} without {key}"
            found_line, _, said = refusal((plain_text + without).splitlines())
            assert key in said and found_line >= line, said
            entry_faults += 1

    tried = refused = 0
    for heading, keys in found.items():
        for name, (number, example, value) in keys.items():
            plain = list(lines)
            plain[number] = f"{name} = {value}"
            instead = {"plainness", "line-budget", "areas"}
            for other in (instead - {name}) if name in instead else ():
                at = found["lines"][other][0]
                plain[at] = "#" + plain[at].lstrip("#")
            if (zone := name.split("-")[0]) in ("focus", "rest") and zone != name:
                at = found["focus-and-rest"][zone][0]
                plain[at] = plain[at].lstrip("#")
            whole = tomllib.loads("\n".join(plain))
            valid.validate(whole)
            tried += 1
            for bad in spoilt(whole[heading][name]):
                if name in ("credit", "date", "file", "zones") and bad.startswith('"'):
                    continue
                changed = list(plain)
                changed[number] = f"{name} = {bad}"
                spoilt_whole = tomllib.loads("\n".join(changed))
                assert not valid.is_valid(spoilt_whole), f"the schema takes {name} = {bad}"
                line, column, said = refusal(changed)
                # A place in a list may be that of an item.
                assert line == number + 1 and column >= len(name) + 4, f"{name} = {bad}: {said}"
                refused += 1
            changed = list(plain)
            changed[number] = f"{name}x = {value}"
            assert not valid.is_valid(tomllib.loads("\n".join(changed))), f"the schema takes {name}x"
            line, column, said = refusal(changed)
            assert (line, column) == (number + 1, 1), said
            assert f"did you mean {name}?" in said, said
            refused += 1
    assert not sheet.exists(), "a refused file was drawn"
    shutil.rmtree(folder)
    print(f"check_study_file: {tried} settings fit the schema, {refused} spoilt ones are refused by it and by the program; "
          f"{len(examples)} entries fit it, {entry_faults} spoilt ones are refused")


if __name__ == "__main__":
    sys.exit(main())
