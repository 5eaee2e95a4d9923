"""Every JSON document is what docs/schema says (JSON Schema draft 2020-12, by jsonschema)."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator
from referencing import Registry, Resource

from restitch.cli import main

ROOT = Path(__file__).parents[2]
SCHEMAS = {p.name: json.loads(p.read_text()) for p in (ROOT / "docs" / "schema").glob("*.json")}
SMALL = ROOT / "fixtures" / "cap-front.xxx"


def validator(name: str) -> Draft202012Validator:
    registry = Registry().with_resources(
        (key, Resource.from_contents(value)) for key, value in SCHEMAS.items()
    )
    return Draft202012Validator(SCHEMAS[name], registry=registry)


@pytest.fixture
def document(monkeypatch, capsys):
    def _document(*arguments: object):
        monkeypatch.setattr(sys, "argv", ["restitch", *map(str, arguments), "--json"])
        with pytest.raises(SystemExit):
            main()
        return json.loads(capsys.readouterr().out)

    return _document


@pytest.mark.parametrize("name", sorted(SCHEMAS))
def test_schemas_are_schemas(name):
    Draft202012Validator.check_schema(SCHEMAS[name])


def test_fix_preview_compare(document, tmp_path):
    target = tmp_path / "new.xxx"
    check = validator("fix.schema.json")
    check.validate(document("fix", SMALL, target, "--fabric", "cap", "--dry-run"))
    check.validate(document("fix", SMALL, target, "--fabric", "cap"))
    check.validate(document("compare", SMALL, target))


def test_check_and_inspect(document):
    validator("check.schema.json").validate(document("check", SMALL, "--fabric", "cap"))
    validator("inspect.schema.json").validate(document("inspect", SMALL))


def test_a_wrong_document_is_refused():
    assert not validator("check.schema.json").is_valid({"schema": 2})
