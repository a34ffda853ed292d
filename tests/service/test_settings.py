"""Settings come from the environment; a wrong one is named."""

from __future__ import annotations

from pathlib import Path

import pytest

from service.settings import Settings, SettingsError, read_settings, variable


def test_every_setting_says_what_it_is_for() -> None:
    assert [name for name, field in Settings.model_fields.items() if not field.description] == []


def test_the_default_is_a_file_in_the_working_directory() -> None:
    assert read_settings().database_url == "sqlite:///lineworthy.sqlite3"


def test_values_come_from_the_environment(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("LINEWORTHY_PORT", "9000")
    monkeypatch.setenv("LINEWORTHY_DATABASE_URL", "postgresql+psycopg://shop@db/lineworthy")
    settings = read_settings()
    assert settings.port == 9000
    assert settings.database_url == "postgresql+psycopg://shop@db/lineworthy"
    assert read_settings(port=1).port == 1


@pytest.mark.parametrize(
    ("name", "value", "said"),
    [
        ("LINEWORTHY_PORT", "eighty", "LINEWORTHY_PORT"),
        ("LINEWORTHY_PORT", "70000", "found '70000'"),
        ("LINEWORTHY_SNAPSHOT_POLL_SECONDS", "nan", "LINEWORTHY_SNAPSHOT_POLL_SECONDS"),
        ("LINEWORTHY_BOOK_DIRECTORY", "/no/such/directory", "is not a directory"),
        ("LINEWORTHY_CIRCUIT_DIRECTORY", "/no/such/directory", "is not a directory"),
        ("LINEWORTHY_DATABASE_URL", "mysql://shop@db/x", "names the driver `mysql`"),
        ("LINEWORTHY_DATABASE_URL", "shop.sqlite3", "is not the URL of a database"),
        ("LINEWORTHY_DATABASE_URL", "sqlite://", "names no file"),
        ("LINEWORTHY_DATABSE_URL", "x", "did you mean LINEWORTHY_DATABASE_URL?"),
        ("LINEWORTHY_ITEM_LIMIT", "100000", "LINEWORTHY_ITEM_LIMIT"),
    ],
)
def test_a_wrong_value_is_named(
    monkeypatch: pytest.MonkeyPatch, name: str, value: str, said: str
) -> None:
    monkeypatch.setenv(name, value)
    with pytest.raises(SettingsError) as refused:
        read_settings()
    assert said in str(refused.value)


def test_all_wrong_values_are_named_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("LINEWORTHY_PORT", "eighty")
    monkeypatch.setenv("LINEWORTHY_HOTS", "x")
    with pytest.raises(SettingsError) as refused:
        read_settings()
    assert "LINEWORTHY_PORT" in str(refused.value)
    assert "LINEWORTHY_HOTS" in str(refused.value)


@pytest.mark.parametrize("url", ["mysql://shop:hush@db/x", "postgresql+psycopg://shop:hush@db/x"])
def test_a_password_is_never_shown(monkeypatch: pytest.MonkeyPatch, url: str) -> None:
    monkeypatch.setenv("LINEWORTHY_DATABASE_URL", url)
    try:
        shown = repr(read_settings())
    except SettingsError as refused:
        shown = str(refused)
    assert "hush" not in shown


@pytest.mark.parametrize("name", ["book_directory", "circuit_directory"])
def test_an_own_directory_is_taken(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    monkeypatch.setenv(variable(name), str(tmp_path))
    assert getattr(read_settings(), name) == tmp_path
