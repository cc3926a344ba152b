"""Settings: defaults, file, environment, and clear errors."""

from __future__ import annotations

from pathlib import Path

import pytest

from assistant.errors import GivenError
from assistant.settings import config_directory, data_directory, load_settings


def test_defaults_need_no_file(tmp_path: Path) -> None:
    settings = load_settings({"PROBETELL_HOME": str(tmp_path)})
    assert settings.data_dir == tmp_path
    assert settings.database_url == f"sqlite:///{tmp_path.as_posix()}/casebook.sqlite"
    assert (settings.recogniser, settings.silence_seconds, settings.workshop) == ("auto", 30.0, "")


@pytest.mark.parametrize(
    ("platform", "environment", "expected"),
    [
        ("linux", {"XDG_DATA_HOME": "/x/data"}, "/x/data/probetell"),
        ("linux", {}, "~/.local/share/probetell"),
        ("darwin", {}, "~/Library/Application Support/probetell"),
        ("win32", {"LOCALAPPDATA": "/l"}, "/l/probetell"),
        ("win32", {}, "~/AppData/Local/probetell"),
    ],
)
def test_each_platform_has_its_own_place(
    platform: str, environment: dict[str, str], expected: str
) -> None:
    """XDG Base Directory Specification on Linux; the other places are common practice."""
    assert data_directory(environment, platform=platform) == Path(expected).expanduser()


def test_the_settings_file_has_a_place_of_its_own() -> None:
    given = {"XDG_CONFIG_HOME": "/x/config"}
    assert config_directory(given, platform="linux") == Path("/x/config/probetell")


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("settings.toml", 'workshop = "Harbour Street Audio"\nvoice_rate = 140\nvoice = "off"'),
        ("settings.yaml", "workshop: Harbour Street Audio\nvoice_rate: 140\nvoice: off"),
    ],
)
def test_a_file_is_read_and_the_environment_wins(tmp_path: Path, name: str, text: str) -> None:
    (tmp_path / name).write_text(text, encoding="utf-8")
    given = {"PROBETELL_HOME": str(tmp_path), "PROBETELL_VOICE_RATE": "200"}
    settings = load_settings(given)
    assert (settings.workshop, settings.voice_rate, settings.voice) == (
        "Harbour Street Audio",
        200,
        "off",
    )


def test_a_file_can_be_named(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text("silence_seconds = 12.5", encoding="utf-8")
    assert load_settings({"PROBETELL_SETTINGS": str(path)}).silence_seconds == 12.5


@pytest.mark.parametrize(
    ("environment", "named"),
    [
        ({"PROBETELL_VOICE_RATE": "fast"}, "PROBETELL_VOICE_RATE"),
        ({"PROBETELL_RECOGNISER": "psychic"}, "PROBETELL_RECOGNISER"),
        ({"PROBETELL_SILENCE_SECONDS": "-1"}, "PROBETELL_SILENCE_SECONDS"),
        ({"PROBETELL_SILENCE_SECONDS": "nan"}, "PROBETELL_SILENCE_SECONDS"),
        ({"PROBETELL_SETTINGS": "/no/such/settings.toml"}, "/no/such/settings.toml"),
    ],
)
def test_a_bad_setting_is_named_with_its_place(environment: dict[str, str], named: str) -> None:
    with pytest.raises(GivenError) as caught:
        load_settings(environment)
    assert named in caught.value.message
    assert caught.value.next_step


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("a.toml", "workshop = "),
        ("a.toml", "shoe_size = 43"),
        ("a.yaml", "[1, 2]"),
        ("a.yaml", "workshop: [unclosed"),
        ("a.yaml", "voice_rate: 9000"),
    ],
)
def test_a_bad_file_is_named(tmp_path: Path, name: str, text: str) -> None:
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    with pytest.raises(GivenError, match=name):
        load_settings({"PROBETELL_SETTINGS": str(path)})


def test_an_empty_file_and_empty_variables_are_as_none(tmp_path: Path) -> None:
    path = tmp_path / "a.yaml"
    path.write_text("", encoding="utf-8")
    settings = load_settings({"PROBETELL_SETTINGS": str(path), "PROBETELL_WORKSHOP": ""})
    assert settings.workshop == ""


def test_a_secret_is_not_printed() -> None:
    settings = load_settings({"PROBETELL_SMS_TOKEN": "not-to-be-seen"})
    assert "not-to-be-seen" not in repr(settings)
