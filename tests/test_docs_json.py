"""The JSON of the pages and of the commands against the schemas in docs/schema (by jsonschema)."""

from __future__ import annotations

import json
import re
import shutil
import sys
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator
from referencing import Registry, Resource

from restitch.cli import main

ROOT = Path(__file__).parent.parent
PAGE = (ROOT / "docs" / "json.md").read_text("utf-8")
SCHEMAS = {p.name: json.loads(p.read_text()) for p in (ROOT / "docs" / "schema").glob("*.json")}
EXAMPLES = re.findall(
    r"^<!-- schema (\S+) -->\n```json\n(.*?)^```\n\n((?:^\|[^\n]*\n)+)", PAGE, re.M | re.S
)
PARTS = {"finding.schema.json", "file-result.schema.json"}
"""Schemas of parts of documents."""


def validator(name: str) -> Draft202012Validator:
    """The validator of a schema that may refer to the others."""
    registry = Registry().with_resources(
        (key, Resource.from_contents(value)) for key, value in SCHEMAS.items()
    )
    return Draft202012Validator(SCHEMAS[name], registry=registry)


@pytest.mark.parametrize(("name", "example", "table"), EXAMPLES)
def test_examples_are_what_the_schemas_say_and_explained(
    name: str, example: str, table: str
) -> None:
    validator(name).validate(json.loads(example))
    explained = set(re.findall(r"`(\w+)`", table))
    assert set(SCHEMAS[name]["properties"]) - {"schema"} <= explained


def test_every_schema_has_an_example_and_a_link() -> None:
    assert {name for name, _, _ in EXAMPLES} == set(SCHEMAS) - PARTS
    assert set(re.findall(r"\]\(schema/([\w.-]+)\)", PAGE)) == set(SCHEMAS)


@pytest.mark.parametrize(
    ("name", "arguments"),
    [
        ("folder.schema.json", ("fix", "in", "out", "--fabric", "cap", "--only", "links")),
        ("fabrics.schema.json", ("fabrics",)),
        ("fabrics.schema.json", ("fabrics", "cap")),
        ("profiles.schema.json", ("profiles", ROOT / "shared" / "cap-front.toml")),
        ("inspect.schema.json", ("inspect", ROOT / "fixtures" / "line-sampler.pes")),
    ],
)
def test_documents_are_what_the_schemas_say(
    name: str,
    arguments: tuple[object, ...],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("in").mkdir()
    shutil.copy(ROOT / "fixtures" / "cap-front.xxx", "in")
    Path("in", "cut.pes").write_bytes((ROOT / "fixtures" / "pennant.pes").read_bytes()[:300])
    monkeypatch.setattr(sys, "argv", ["restitch", *map(str, arguments), "--json"])
    with pytest.raises(SystemExit):
        main()
    validator(name).validate(json.loads(capsys.readouterr().out))
    journal = Path("out", ".restitch-journal")
    if name == "folder.schema.json":
        records = [json.loads(line.partition(" ")[2]) for line in journal.read_text().splitlines()]
        assert len(records) == 4  # two files, each begun and ended
        for record in records:
            validator("journal.schema.json").validate(record)
